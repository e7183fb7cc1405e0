//! How much sucrose and water makes a bath.

use crate::error::Result;
use crate::liquid::{WATER_20C_KG_M3, plato_from_sg};

/// What goes into one litre of a bath at 20 C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BathRecipe {
    /// SG 20/20 of the bath.
    pub sg: f64,
    /// Its extract, mass percent.
    pub plato: f64,
    /// Sucrose, g per litre of bath at 20 C.
    pub sucrose_g_per_l: f64,
    /// Water, g per litre of bath at 20 C.
    pub water_g_per_l: f64,
}

impl BathRecipe {
    /// The recipe of a bath of this SG: `rho = SG rho_w(20)`, mass fraction w of sucrose by `plato_from_sg`, so
    /// `w rho` of sucrose and `(1 - w) rho` of water.
    ///
    /// Sucrose is plain white table sugar, dry. Never dextrose, whose crystals hold 9 % of water, and never malt
    /// extract, whose extract nobody knows to a percent: the bath would not have the SG that its masses say. Masses are
    /// true ones; where both are weighed in air on one balance the SG is off by less than 0.00004 up to 1.100.
    ///
    /// # Errors
    /// [`crate::Error::Domain`] for an SG outside 1.000 to 1.200: no sugar makes water lighter.
    pub fn new(sg: f64) -> Result<Self> {
        let sg = crate::Error::check_domain("a bath of sucrose", "SG 20/20", "", sg, 1.0, 1.2)?;
        let plato = plato_from_sg(sg)?;
        // The root for pure water is zero up to rounding.
        let plato = if plato.abs() < 1e-9 { 0.0 } else { plato };
        let density_g_per_l = sg * WATER_20C_KG_M3;
        let sucrose_g_per_l = plato / 100.0 * density_g_per_l;
        Ok(Self { sg, plato, sucrose_g_per_l, water_g_per_l: density_g_per_l - sucrose_g_per_l })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::liquid::{sg_from_plato, sucrose_density_kg_m3};

    #[test]
    fn what_is_weighed_in_gives_the_gravity_and_the_litre() {
        for i in 0..=100 {
            let sg = 1.0 + 0.001 * f64::from(i);
            let recipe = BathRecipe::new(sg).unwrap();
            let mass = recipe.sucrose_g_per_l + recipe.water_g_per_l;
            let fraction = recipe.sucrose_g_per_l / mass;
            assert!((sg_from_plato(100.0 * fraction).unwrap() - sg).abs() < 1e-12, "{recipe:?}");
            // One litre by the density of the solution itself, whose water differs by 0.004 kg/m3.
            let litres = mass / sucrose_density_kg_m3(fraction, 20.0).unwrap();
            assert!((litres - 1.0).abs() < 1e-5, "{recipe:?}");
        }
    }

    #[test]
    fn a_balance_in_air_does_little_harm() {
        // Air of 1.2 kg/m3, weights of 8000 kg/m3, sucrose crystals of 1587 kg/m3.
        let seen = |mass: f64, density: f64| mass * (1.0 - 1.2 / 8000.0) / (1.0 - 1.2 / density);
        for sg in [1.02, 1.06, 1.1] {
            let recipe = BathRecipe::new(sg).unwrap();
            let (sucrose, water) = (seen(recipe.sucrose_g_per_l, 1587.0), seen(recipe.water_g_per_l, WATER_20C_KG_M3));
            let mixed = sg_from_plato(100.0 * sucrose / (sucrose + water)).unwrap();
            assert!((mixed - sg).abs() < 0.00004 && mixed < sg, "{sg}: {mixed}");
        }
    }

    #[test]
    fn water_needs_no_sugar_and_nothing_is_lighter() {
        let water = BathRecipe::new(1.0).unwrap();
        assert!(water.sucrose_g_per_l == 0.0 && (water.water_g_per_l - WATER_20C_KG_M3).abs() < 1e-12);
        for sg in [0.999, 1.3, f64::NAN] {
            assert!(BathRecipe::new(sg).is_err(), "{sg}");
        }
    }
}
