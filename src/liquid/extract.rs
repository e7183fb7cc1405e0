//! SG and mass percent of extract.

use crate::error::{Error, Result};

use super::solve::root;
use super::sucrose::SucroseAt;

/// Lowest SG 20/20 that the scales take: below the driest cider.
pub(crate) const SG_LOW: f64 = 0.95;
/// Highest SG 20/20 that the scales take.
pub(crate) const SG_HIGH: f64 = 1.20;

/// `sg` if it lies within the scales.
pub(crate) fn check_sg(formula: &'static str, sg: f64) -> Result<f64> {
    Error::check_domain(formula, "SG 20/20", "", sg, SG_LOW, SG_HIGH)
}

/// Mass percent of extract (degree Plato) from SG 20/20, the ratio of true densities.
///
/// The sucrose solution that has this SG by ICUMSA SPS-4 (see [`super::sucrose_density_kg_m3`]), by root finding.
/// Below SG 1 the same polynomial is continued to negative fractions: *apparent* extract of a dry liquid is a
/// convention and has no solution that shows it. Brewing tables are ratios of weights in air, which lie 0.00005 higher at
/// 1.040 and 0.00012 at 1.100. Other published fits differ by 0.01 to 0.04 °P.
///
/// # Errors
/// [`Error::Domain`] outside SG 0.95 to 1.20.
pub(crate) fn plato_from_sg(sg: f64) -> Result<f64> {
    let sg = check_sg("the extract scale", sg)?;
    fraction_from_sg(sg).map(|w| 100.0 * w)
}

/// SG 20/20 from mass percent of extract (degree Plato): the inverse of `plato_from_sg`, closed.
///
/// # Errors
/// [`Error::Domain`] where the SG would lie outside 0.95 to 1.20 (about -13.6 to 44.1 °P).
pub fn sg_from_plato(plato: f64) -> Result<f64> {
    let formula = "the extract scale";
    let plato = Error::check_domain(formula, "extract", "°P", plato, -15.0, 45.0)?;
    let sg = SucroseAt::new(20.0).ratio(plato / 100.0).0;
    // One part in 1e12 for the rounding of an end that was converted there and back.
    Error::check_domain(formula, "SG 20/20", "", sg, SG_LOW - 1e-12, SG_HIGH + 1e-12)
}

/// Mass fraction of sucrose with this SG 20/20, within the scales.
pub(crate) fn fraction_from_sg(sg: f64) -> Result<f64> {
    let at_20 = SucroseAt::new(20.0);
    root("extract from SG", (-0.2, 0.5), 2.4 * (sg - 1.0), |w| {
        let (ratio, slope) = at_20.ratio(w);
        (ratio - sg, slope)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ends_of_the_scale_come_back() {
        for sg in [SG_LOW, 1.0, SG_HIGH] {
            let plato = plato_from_sg(sg).unwrap();
            assert!((sg_from_plato(plato).unwrap() - sg).abs() < 1e-14, "{sg}: {plato}");
        }
    }

    #[test]
    fn outside_the_scale_is_refused() {
        for sg in [0.949, 1.201, f64::NAN, f64::NEG_INFINITY] {
            assert!(plato_from_sg(sg).is_err());
        }
        for plato in [-15.1, -13.7, 44.2, 1e9, f64::NAN] {
            assert!(sg_from_plato(plato).is_err(), "{plato}");
        }
    }
}
