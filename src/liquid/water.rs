//! Density of water.

use crate::error::{Error, Result};

/// Density of water at 20 C, kg/m3, by [`water_density_kg_m3`]: the denominator of SG 20/20.
pub const WATER_20C_KG_M3: f64 = density(20.0);

/// Density of air-free water at 101.325 kPa, kg/m3.
///
/// `rho = a5 [1 - (t + a1)^2 (t + a2) / (a3 (t + a4))]`, t in C (ITS-90), stated for 0 to 40 C.
/// Source: Tanaka, Girard, Davis, Peuto, Bignell, Metrologia 38 (2001) 301-309, the form that the CIPM recommends;
/// stated uncertainty below 0.001 kg/m3 (k = 2; from memory). Air dissolved to saturation lowers it by less than
/// 0.005 kg/m3, which is left out: 5e-6 in SG.
///
/// # Errors
/// [`Error::Domain`] outside 0 to 40 C.
pub fn water_density_kg_m3(temp_c: f64) -> Result<f64> {
    Error::check_domain("the density of water", "temperature", "C", temp_c, 0.0, 40.0).map(density)
}

/// The same formula without the check of its range. Down to -3 C it meets supercooled water within 0.01 kg/m3
/// (handbook values from memory); chilled beer is still liquid there.
pub(crate) const fn density(temp_c: f64) -> f64 {
    let near = temp_c - 3.983_035;
    999.974_950 * (1.0 - near * near * (temp_c + 301.797) / (522_528.9 * (temp_c + 69.348_81)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_constant_is_the_formula_at_20_c() {
        assert!((water_density_kg_m3(20.0).unwrap() - WATER_20C_KG_M3).abs() < 1e-12);
    }

    #[test]
    fn outside_its_range_the_formula_is_refused() {
        for temp_c in [-0.1, 40.1, f64::NAN, f64::INFINITY] {
            assert!(matches!(water_density_kg_m3(temp_c), Err(Error::Domain { .. })), "{temp_c}");
        }
    }
}
