//! Density of ethanol-water mixtures.

use crate::error::{Error, Result};

use super::solve::polynomial;

/// Density of ethanol at 20 C, kg/m3: the sum of `A` below.
pub(crate) const ETHANOL_20C_KG_M3: f64 = 789.239_123_3;

// Digits as the standard prints them.
const A: [f64; 12] = [
    9.982_012_300e2,
    -1.929_769_495e2,
    3.891_238_958e2,
    -1.668_103_923e3,
    1.352_215_441e4,
    -8.829_278_388e4,
    3.062_874_042e5,
    -6.138_381_234e5,
    7.470_172_998e5,
    -5.478_461_354e5,
    2.234_460_334e5,
    -3.903_285_426e4,
];
const B: [f64; 7] =
    [0.0, -2.061_851_3e-1, -5.268_254_2e-3, 3.613_001_3e-5, -3.895_770_2e-7, 7.169_354_0e-9, -9.973_923_1e-11];
/// `C[i][k]` multiplies `(t - 20)^(i+1) p^(k+1)`.
#[allow(clippy::excessive_precision)]
const C: [&[f64]; 5] = [
    &[
        1.693_443_461_530_087e-1,
        -1.046_914_743_455_169e1,
        7.196_353_469_546_523e1,
        -7.047_478_054_272_792e2,
        3.924_090_430_035_045e3,
        -1.210_164_659_068_747e4,
        2.248_646_550_400_788e4,
        -2.605_562_982_188_164e4,
        1.852_373_922_069_467e4,
        -7.420_201_433_430_137e3,
        1.285_617_841_998_974e3,
    ],
    &[
        -1.193_013_005_057_010e-2,
        2.517_399_633_803_461e-1,
        -2.170_575_700_536_993,
        1.353_034_988_843_029e1,
        -5.029_988_758_547_014e1,
        1.096_355_666_577_570e2,
        -1.422_753_946_421_155e2,
        1.080_435_942_856_230e2,
        -4.414_153_236_817_392e1,
        7.442_971_530_188_783,
    ],
    &[
        -6.802_995_733_503_803e-4,
        1.876_837_790_289_664e-2,
        -2.002_561_813_734_156e-1,
        1.022_992_966_719_220,
        -2.895_696_483_903_638,
        4.810_060_584_300_675,
        -4.672_147_440_794_683,
        2.458_043_105_903_461,
        -5.411_227_621_436_812e-1,
    ],
    &[4.075_376_675_622_027e-6, -8.763_058_573_471_110e-6, 6.515_031_360_099_368e-6, -1.515_784_836_987_210e-6],
    &[-2.788_074_354_782_409e-8, 1.345_612_883_493_354e-8],
];

/// Density of a mixture of ethanol and water, kg/m3; `mass_fraction` is kg ethanol per kg mixture.
///
/// `rho(p, t) = sum A_k p^(k-1) + sum B_k (t-20)^k + sum C_ik p^k (t-20)^i`, 54 coefficients, stated for -20 to 40 C.
/// Source: OIML R 22 (1973, published 1975), general formula; the same in Council Directive 76/766/EEC (OJ L 262,
/// 27.9.1976, 149-152). Its water at 20 C is 0.0055 kg/m3 below [`super::water_density_kg_m3`].
///
/// # Errors
/// [`Error::Domain`] for a mass fraction outside 0 to 1 or a temperature outside -20 to 40 C.
pub fn ethanol_density_kg_m3(mass_fraction: f64, temp_c: f64) -> Result<f64> {
    let formula = "the density of ethanol-water mixtures";
    let p = Error::check_domain(formula, "mass fraction", "kg/kg", mass_fraction, 0.0, 1.0)?;
    let t = Error::check_domain(formula, "temperature", "C", temp_c, -20.0, 40.0)?;
    Ok(polynomial(&EthanolAt::new(t).by_power, p).0)
}

/// The formula at one temperature: a polynomial in the mass fraction, without the check of its range.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EthanolAt {
    by_power: [f64; 12],
}

impl EthanolAt {
    pub(crate) fn new(temp_c: f64) -> Self {
        let dt = temp_c - 20.0;
        let mut by_power = A;
        if let Some(water) = by_power.first_mut() {
            *water += polynomial(&B, dt).0;
        }
        let mut factor = dt;
        for row in C {
            for (sum, c) in by_power.iter_mut().skip(1).zip(row) {
                *sum += factor * c;
            }
            factor *= dt;
        }
        Self { by_power }
    }

    /// Density over the density of water at the same temperature, and its slope in the mass fraction.
    pub(crate) fn ratio(&self, p: f64) -> (f64, f64) {
        let (density, slope) = polynomial(&self.by_power, p);
        let [water, ..] = self.by_power;
        (density / water, slope / water)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_of_the_scale_are_those_of_the_standard() {
        assert!((ethanol_density_kg_m3(0.0, 20.0).unwrap() - 998.201_23).abs() < 1e-9);
        assert!((ethanol_density_kg_m3(1.0, 20.0).unwrap() - ETHANOL_20C_KG_M3).abs() < 1e-6);
        assert!((ethanol_density_kg_m3(1.0, 40.0).unwrap() - 771.932_31).abs() < 1e-5);
    }

    #[test]
    fn outside_its_range_the_formula_is_refused() {
        for (p, t) in [(-0.01, 20.0), (1.01, 20.0), (0.1, -21.0), (0.1, 41.0), (f64::NAN, 20.0)] {
            assert!(matches!(ethanol_density_kg_m3(p, t), Err(Error::Domain { .. })), "{p} {t}");
        }
    }
}
