//! Density of fermenting beer: what is left of the extract, and the ethanol made from the rest.

use crate::error::{Error, Result};

use super::ethanol::EthanolAt;
use super::extract::{SG_HIGH, check_sg, fraction_from_sg};
use super::solve::root;
use super::sucrose::SucroseAt;
use super::water;

/// Extract used per ethanol made, kg/kg (Balling).
const EXTRACT_PER_ETHANOL: f64 = 2.0665;
/// Mass lost as carbon dioxide and yeast per ethanol made, kg/kg (Balling).
const LOSS_PER_ETHANOL: f64 = 1.0665;
/// Lowest and highest temperature of beer, C: cold rests lie a little below zero.
pub(crate) const TEMP_C: (f64, f64) = (-3.0, 40.0);

/// Density of beer at its temperature, kg/m3, from its SG 20/20 and the original gravity.
///
/// # Model
/// Two equations give the ethanol mass fraction A and the real extract E at 20 C:
/// Balling (as in ASBC Beer-6, EBC 9.4), `OE = (2.0665 A + E)/(1 + 1.0665 A)`, and Tabarie (as in ASBC Beer-5),
/// `SG = SG_ethanol(A) + SG_sucrose(E) - 1`. The same sum then holds at any temperature:
/// `rho(T) = rho_w(T) [ratio_ethanol(A, T) + ratio_sucrose(E, T) - 1]`, ratios to water of the same formula (OIML R 22;
/// ICUMSA SPS-4). So at 20 C the density is SG times that of water, whatever the composition.
///
/// An SG above the original gravity is unfermented sucrose of that SG; one below full fermentation of all extract is
/// continued with negative E, so that a doubtful reading still has a density. Wort is not pure sucrose (at 12 °P its
/// expansion agrees within 0.15 kg/m3 from 5 to 30 C), and dissolved carbon dioxide and bubbles are left out.
///
/// # Errors
/// [`Error::Domain`] for SG outside 0.95 to 1.20, an original gravity outside 1.00 to 1.20, a temperature outside -3 to
/// 40 C.
pub fn beer_density_kg_m3(sg: f64, original_sg: f64, temp_c: f64) -> Result<f64> {
    let sg = check_sg("the density of beer", sg)?;
    let t = check_temp(temp_c)?;
    let mix = Mix::of(sg, original_sg)?;
    Ok(water::density(t) * At::new(t).ratio(mix))
}

/// Density of a sucrose bath at its temperature, kg/m3, from its SG 20/20; SG 1 is water.
///
/// `rho_w(T)` times the ratio to water of the ICUMSA formula, so that at 20 C it is SG times the density of water.
///
/// # Errors
/// [`Error::Domain`] for SG outside 0.95 to 1.20 or a temperature outside -3 to 40 C.
pub(crate) fn sucrose_bath_density_kg_m3(sg: f64, temp_c: f64) -> Result<f64> {
    let sg = check_sg("the density of a bath", sg)?;
    let t = check_temp(temp_c)?;
    Ok(water::density(t) * SucroseAt::new(t).ratio(fraction_from_sg(sg)?).0)
}

pub(crate) fn check_temp(temp_c: f64) -> Result<f64> {
    Error::check_domain("the density of beer and baths", "temperature", "C", temp_c, TEMP_C.0, TEMP_C.1)
}

/// Mass fractions of ethanol and of real extract.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Mix {
    pub(crate) ethanol: f64,
    pub(crate) extract: f64,
}

impl Mix {
    /// A sucrose solution.
    pub(crate) fn unfermented(sg: f64) -> Result<Self> {
        Ok(Self { ethanol: 0.0, extract: fraction_from_sg(sg)? })
    }

    /// What a beer of this SG and original gravity is made of; see [`beer_density_kg_m3`].
    pub(crate) fn of(sg: f64, original_sg: f64) -> Result<Self> {
        let wort = Wort::new(original_sg)?;
        if sg > original_sg {
            return Self::unfermented(sg);
        }
        let at_20 = At::new(20.0);
        let ethanol = root("the composition of beer", Wort::ETHANOL, original_sg - sg, |a| wort.ratio(&at_20, a, sg))?;
        Ok(wort.mix(ethanol.max(0.0)))
    }
}

/// A wort by its extract: Balling's line from ethanol made to extract left.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wort {
    extract: f64,
}

impl Wort {
    /// Ethanol mass fractions that bracket every SG of the scale, with room for rounding below zero.
    const ETHANOL: (f64, f64) = (-0.01, 0.4);

    pub(crate) fn new(original_sg: f64) -> Result<Self> {
        let og = Error::check_domain("the density of beer", "original gravity", "SG", original_sg, 1.0, SG_HIGH)?;
        Ok(Self { extract: fraction_from_sg(og)? })
    }

    fn slope(self) -> f64 {
        LOSS_PER_ETHANOL * self.extract - EXTRACT_PER_ETHANOL
    }

    fn mix(self, ethanol: f64) -> Mix {
        Mix { ethanol, extract: self.extract + ethanol * self.slope() }
    }

    /// SG 20/20 when every bit of extract is fermented.
    pub(crate) fn dry_sg(self) -> f64 {
        At::new(20.0).ratio(self.mix(-self.extract / self.slope()))
    }

    /// Ratio to water less `wanted`, and its slope in the ethanol mass fraction.
    fn ratio(self, at: &At, ethanol: f64, wanted: f64) -> (f64, f64) {
        let (by_ethanol, ethanol_slope) = at.ethanol.ratio(ethanol);
        let (by_extract, extract_slope) = at.sucrose.ratio(self.mix(ethanol).extract);
        (by_ethanol + by_extract - 1.0 - wanted, ethanol_slope + self.slope() * extract_slope)
    }
}

/// Both density formulas at one temperature.
#[derive(Debug, Clone, Copy)]
pub(crate) struct At {
    ethanol: EthanolAt,
    sucrose: SucroseAt,
}

impl At {
    pub(crate) fn new(temp_c: f64) -> Self {
        Self { ethanol: EthanolAt::new(temp_c), sucrose: SucroseAt::new(temp_c) }
    }

    /// Density over that of water at the same temperature, by Tabarie's sum.
    pub(crate) fn ratio(&self, mix: Mix) -> f64 {
        self.ethanol.ratio(mix.ethanol).0 + self.sucrose.ratio(mix.extract).0 - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_20_c_density_is_sg_times_water_whatever_the_composition() {
        for (sg, og) in [(0.95, 1.0), (0.95, 1.2), (0.996, 1.05), (1.012, 1.05), (1.05, 1.05), (1.07, 1.05), (1.2, 1.2)]
        {
            let density = beer_density_kg_m3(sg, og, 20.0).unwrap();
            assert!((density / super::water::WATER_20C_KG_M3 - sg).abs() < 1e-14, "{sg} {og}: {density}");
        }
    }

    #[test]
    fn a_water_bath_is_water() {
        for t in [0.0, 4.0, 20.0, 40.0] {
            let water = super::water::water_density_kg_m3(t).unwrap();
            assert!((sucrose_bath_density_kg_m3(1.0, t).unwrap() - water).abs() < 1e-12);
        }
    }

    #[test]
    fn outside_the_range_is_refused() {
        for (sg, og, t) in [
            (0.949, 1.05, 20.0),
            (1.201, 1.05, 20.0),
            (1.01, 0.999, 20.0),
            (1.01, 1.201, 20.0),
            (1.01, 1.05, -3.1),
            (1.01, 1.05, 40.1),
            (f64::NAN, 1.05, 20.0),
            (1.01, f64::NAN, 20.0),
        ] {
            assert!(matches!(beer_density_kg_m3(sg, og, t), Err(Error::Domain { .. })), "{sg} {og} {t}");
        }
    }
}
