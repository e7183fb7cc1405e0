//! Density of sucrose solutions.

use crate::error::{Error, Result};

use super::solve::polynomial;

/// `SUGAR[j][i]` multiplies `((t - 20)/100)^j w^(i+1)`.
const SUGAR: [&[f64]; 5] = [
    &[385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890],
    &[-46.2720, -7.1720, 1.1597, 5.1126, 17.5254],
    &[59.7712, 7.2491, 12.3630, -35.4791],
    &[-47.2207, -21.6977, 27.6301],
    &[18.3184, 12.3081],
];

/// Density of a solution of sucrose in water, kg/m3; `mass_fraction` is kg sucrose per kg solution.
///
/// `rho(w, t) = rho_w(t) + sum over j of ((t - 20)/100)^j sum over i of c[j][i] w^i`, with the water of Bettin and
/// Spieweck (PTB-Mitteilungen 100 (1990) 195), 0.003 to 0.004 kg/m3 below [`super::water_density_kg_m3`].
/// Source: ICUMSA Specification and Standard SPS-4 (Bettin, Emmerich, Spieweck, Toth, Zuckerindustrie 123 (1998)
/// 341-348). Stated for 0 to 85 % by mass and 0 to 80 C (limits from memory).
///
/// # Errors
/// [`Error::Domain`] outside that range.
pub fn sucrose_density_kg_m3(mass_fraction: f64, temp_c: f64) -> Result<f64> {
    let formula = "the density of sucrose solutions";
    let w = Error::check_domain(formula, "mass fraction", "kg/kg", mass_fraction, 0.0, 0.85)?;
    let t = Error::check_domain(formula, "temperature", "C", temp_c, 0.0, 80.0)?;
    Ok(water(t) + polynomial(&SucroseAt::new(t).by_power, w).0)
}

/// Density of water by Bettin and Spieweck (1990), kg/m3.
fn water(t: f64) -> f64 {
    const NUMERATOR: [f64; 6] = [999.83952, 16.952577, -7.990_512_7e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12];
    polynomial(&NUMERATOR, t).0 / (1.0 + 16.887236e-3 * t)
}

/// The formula at one temperature: a polynomial in the mass fraction, without the check of its range.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SucroseAt {
    water: f64,
    by_power: [f64; 7],
}

impl SucroseAt {
    pub(crate) fn new(temp_c: f64) -> Self {
        let tau = (temp_c - 20.0) / 100.0;
        let mut by_power = [0.0; 7];
        let mut factor = 1.0;
        for row in SUGAR {
            for (sum, c) in by_power.iter_mut().skip(1).zip(row) {
                *sum += factor * c;
            }
            factor *= tau;
        }
        Self { water: water(temp_c), by_power }
    }

    /// Density over the density of water at the same temperature, and its slope in the mass fraction. A negative
    /// fraction extends the scale below SG 1, as negative apparent extract needs.
    pub(crate) fn ratio(&self, w: f64) -> (f64, f64) {
        let (sugar, slope) = polynomial(&self.by_power, w);
        (1.0 + sugar / self.water, slope / self.water)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_sugar_is_water_and_outside_the_range_is_refused() {
        assert!((sucrose_density_kg_m3(0.0, 20.0).unwrap() - 998.2031).abs() < 1e-4);
        for (w, t) in [(-0.01, 20.0), (0.9, 20.0), (0.1, -1.0), (0.1, 81.0), (f64::NAN, 20.0), (0.1, f64::NAN)] {
            assert!(matches!(sucrose_density_kg_m3(w, t), Err(Error::Domain { .. })), "{w} {t}");
        }
    }
}
