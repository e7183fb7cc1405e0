//! Raw readings of a hydrometer and a refractometer brought to SG 20/20.

use crate::error::{Error, Result};

use super::beer_table::BeerDensity;
use super::extract::{check_sg, plato_from_sg, sg_from_plato};
use super::water;

assumed! {
    /// Volume expansion of a hydrometer's soda-lime glass. Source: ISO 649, from memory.
    const HYDROMETER_GLASS_PER_K: f64 = 25e-6, "per K";
    /// Reading of a refractometer in wort over its extract: colloids and maltose bend light a little more than sucrose. 1.00
    /// to 1.04 are quoted.
    const WORT_FACTOR: f64 = 1.02, "times";
    /// Percent Brix that one percent of ethanol by mass adds to a refractometer's reading: slopes 0.00063 and 0.00147 of the
    /// refractive index at 589 nm, 20 C, for ethanol and for sucrose up to 10 % by mass. Source: handbook tables, from memory.
    const BRIX_PER_ETHANOL: f64 = 0.43, "%";
}

/// SG 20/20 from a hydrometer's reading in wort or a sugar solution off its scale's temperature.
///
/// A hydrometer marked for SG Ts/Ts displaces its own mass; its volume grows with glass, so the liquid's density is
/// `rho(T) = R rho_w(Ts)/(1 + gamma (T - Ts))`, gamma = 25e-6 (soda-lime glass, ISO 649; from memory), and SG 20/20 follows
/// as that of a sucrose solution. For fermenting or finished beer use [`hydrometer_sg_in_beer`].
///
/// # Errors
/// [`Error::Domain`] for a reading outside 0.95 to 1.20, a sample outside 0 to 40 C, a scale outside 10 to 30 C.
pub(crate) fn hydrometer_sg(raw_sg: f64, sample_temp_c: f64, scale_temp_c: f64) -> Result<f64> {
    BeerDensity::unfermented()?.sg(density_read(raw_sg, sample_temp_c, scale_temp_c)?, sample_temp_c)
}

/// The same in a liquid that holds alcohol: SG 20/20 by [`super::beer_density_kg_m3`] with the original gravity.
pub(crate) fn hydrometer_sg_in_beer(
    raw_sg: f64,
    original_sg: f64,
    sample_temp_c: f64,
    scale_temp_c: f64,
) -> Result<f64> {
    BeerDensity::new(original_sg)?.sg(density_read(raw_sg, sample_temp_c, scale_temp_c)?, sample_temp_c)
}

fn density_read(raw_sg: f64, sample_temp_c: f64, scale_temp_c: f64) -> Result<f64> {
    let formula = "the hydrometer's correction";
    let raw = check_sg(formula, raw_sg)?;
    let t = Error::check_domain(formula, "temperature of the sample", "C", sample_temp_c, 0.0, 40.0)?;
    let scale = Error::check_domain(formula, "temperature of the scale", "C", scale_temp_c, 10.0, 30.0)?;
    Ok(raw * water::density(scale) / (1.0 + *HYDROMETER_GLASS_PER_K * (t - scale)))
}

/// SG 20/20 of a fermenting liquid from a refractometer's reading (mass percent sucrose) and the original gravity.
///
/// Refraction adds: `B/f = RE + b A`, with the wort factor `f` 1.02 and `b` 0.43. With Balling's equation (see
/// [`super::beer_density_kg_m3`]) `A = (OE - B/f)/(2.0665 - 0.010665 OE - b)`, and Tabarie's sum gives the SG. The
/// reading is taken as corrected for temperature by the instrument. Its error is large, an SD of
/// some 0.002 SG: 0.2 % Brix of reading, 0.02 of the wort factor and of the ethanol term together (from memory, no
/// source). A reading at or above that of the wort is unfermented: SG from `B/f`.
///
/// # Errors
/// [`Error::Domain`] for a reading below that of the same wort with all its extract fermented or above 44 %, or an original
/// gravity outside 1.001 to 1.20.
pub(crate) fn refractometer_sg(raw_brix: f64, original_sg: f64) -> Result<f64> {
    let formula = "the refractometer's correction";
    let og = Error::check_domain(formula, "original gravity", "SG", original_sg, 1.001, super::extract::SG_HIGH)?;
    let original = plato_from_sg(og)?;
    let loss = 2.0665 - 0.010665 * original;
    let dry_brix = *WORT_FACTOR * *BRIX_PER_ETHANOL * original / loss;
    let brix = Error::check_domain(formula, "reading", "% Brix", raw_brix, dry_brix, 44.0)?;
    if brix / *WORT_FACTOR >= original {
        return sg_from_plato(brix / *WORT_FACTOR);
    }
    let ethanol = (original - brix / *WORT_FACTOR) / (loss - *BRIX_PER_ETHANOL);
    let mix = super::beer::Mix { ethanol: ethanol / 100.0, extract: (original - loss * ethanol) / 100.0 };
    Ok(super::beer::At::new(20.0).ratio(mix))
}
