//! Wort and beer: what is dissolved, and the SG and density that follow.

use crate::error::Result;
use crate::liquid::{ethanol_density_kg_m3, plato_from_sg, sg_from_plato, sucrose_density_kg_m3, water_density_kg_m3};

/// Carbon dioxide per ethanol, g/g, by Balling: 0.9565 g with 1 g of ethanol from 2.0665 g of extract.
const CO2_PER_ETHANOL: f64 = 0.9565;
/// Ethanol per extract, g/g, by Balling.
pub(super) const BALLING_YIELD: f64 = 1.0 / 2.0665;
const NODES: usize = 97;

/// A wort and the beers it becomes as sugar is fermented.
///
/// 100 g of wort with `F` g of sugar fermented lose the carbon dioxide and the new yeast, and hold `y F` g of ethanol
/// with `OE - F` g of extract. SG by Tabarie's principle, a sum over equal volumes:
/// `SG = SG(extract alone) + SG(ethanol alone) - 1`. That is another route than Balling's relation of apparent to real
/// extract, and differs from it by some 0.0002, more where `y` is not Balling's.
#[derive(Debug, Clone)]
pub(super) struct SimulatedWort {
    /// Extract, percent by mass.
    pub plato: f64,
    /// Glucose, maltose, usable maltotriose, g per 100 g.
    pub sugars: [f64; 3],
    /// Ethanol per sugar fermented, g/g.
    pub ethanol_yield: f64,
    most: f64,
    sg: Vec<f64>,
}

impl SimulatedWort {
    /// A wort of `original_sg`, with `fermentable` of its extract as sugars and the strain's share of the maltotriose.
    ///
    /// Of the sugars 17 % is glucose (with fructose and sucrose), 65 % maltose, 18 % maltotriose: an all-malt wort's
    /// usual split (textbook level, from memory).
    pub fn new(original_sg: f64, fermentable: f64, maltotriose_share: f64, ethanol_yield: f64) -> Result<Self> {
        let plato = plato_from_sg(original_sg)?;
        let sugar = plato * fermentable;
        let sugars = [0.17 * sugar, 0.65 * sugar, 0.18 * sugar * maltotriose_share];
        let most = sugars.iter().sum::<f64>() + 1.5;
        let mut wort = Self { plato, sugars, ethanol_yield, most, sg: Vec::with_capacity(NODES) };
        for i in 0..NODES {
            let (extract, ethanol) = wort.percents(most * i as f64 / (NODES - 1) as f64);
            wort.sg.push(mixture_sg(extract, ethanol)?);
        }
        Ok(wort)
    }

    /// All that can be fermented, g per 100 g of wort.
    pub fn fermentable(&self) -> f64 {
        self.sugars.iter().sum()
    }

    /// Mass percent of extract and of ethanol in the beer when `fermented` g per 100 g of wort are gone.
    pub fn percents(&self, fermented: f64) -> (f64, f64) {
        let ethanol = self.ethanol_yield * fermented;
        let dioxide = CO2_PER_ETHANOL * ethanol;
        let yeast = (fermented - ethanol - dioxide).max(0.0);
        let beer = 100.0 - dioxide - yeast;
        (100.0 * (self.plato - fermented) / beer, 100.0 * ethanol / beer)
    }

    /// SG 20/20 when `fermented` g per 100 g of wort are gone: cubic interpolation in a table, good to 1e-9.
    pub fn sg(&self, fermented: f64) -> f64 {
        let place = (fermented / self.most * (NODES - 1) as f64).clamp(0.0, (NODES - 1) as f64);
        let left = (place.floor() as usize).clamp(1, NODES - 3);
        let x = place - left as f64;
        match self.sg.get(left - 1..left + 3) {
            Some(&[a, b, c, d]) => {
                let (m, p, q) = (x + 1.0, x - 1.0, x - 2.0);
                -a * x * p * q / 6.0 + b * m * p * q / 2.0 - c * m * x * q / 2.0 + d * m * x * p / 6.0
            }
            _ => self.sg.last().copied().unwrap_or(1.0),
        }
    }

    /// Density at `temp_c`, kg/m3: the density at 20 C with the relative expansions of sugar solution and of ethanol
    /// solution multiplied, water's counted once. (Adding the two solutions' changes instead gives up to some
    /// 0.2 kg/m3 less change: how beer expands is no better known than that.)
    pub fn density_kg_m3(&self, fermented: f64, temp_c: f64) -> Result<f64> {
        let (extract, ethanol) = self.percents(fermented);
        let temp_c = temp_c.clamp(0.0, 40.0);
        let expansion = |f: &dyn Fn(f64) -> Result<f64>| Ok::<f64, crate::Error>(f(temp_c)? / f(20.0)?);
        let sugar = expansion(&|t| sucrose_density_kg_m3((extract / 100.0).max(0.0), t))?;
        let spirit = expansion(&|t| ethanol_density_kg_m3(ethanol / 100.0, t))?;
        let water = expansion(&water_density_kg_m3)?;
        Ok(self.sg(fermented) * water_density_kg_m3(20.0)? * sugar * spirit / water)
    }

    /// Alcohol, percent by volume at 20 C: ethanol in the beer over the density of ethanol.
    pub fn abv_percent(&self, fermented: f64) -> Result<f64> {
        let (_, ethanol) = self.percents(fermented);
        Ok(ethanol * self.sg(fermented) * water_density_kg_m3(20.0)? / ethanol_density_kg_m3(1.0, 20.0)?)
    }
}

/// SG 20/20 of beer with mass percents of extract and ethanol, by Tabarie's principle.
fn mixture_sg(extract_percent: f64, ethanol_percent: f64) -> Result<f64> {
    // The ethanol formula has a water of its own, 0.0055 kg/m3 lighter.
    let water = ethanol_density_kg_m3(0.0, 20.0)?;
    let mut sg = 1.0 + 0.004 * (extract_percent - ethanol_percent / 2.0);
    let (mut sweet, mut spirit) = (1.0, 1.0);
    // Mass per volume stays, so the mass percents of the two parts depend on SG, weakly: each pass gains two digits.
    for _ in 0..8 {
        sweet = sg_from_plato(extract_percent * sg / sweet)?;
        spirit = ethanol_density_kg_m3(ethanol_percent / 100.0 * sg / spirit, 20.0)? / water;
        sg = sweet + spirit - 1.0;
    }
    Ok(sg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::liquid::beer_density_kg_m3;

    #[test]
    fn wort_has_its_gravity_and_the_table_is_fine_enough() {
        let wort = SimulatedWort::new(1.060, 0.68, 0.9, BALLING_YIELD).unwrap();
        assert!((wort.sg(0.0) - 1.060).abs() < 1e-9);
        for i in 0..200 {
            let fermented = 0.05 * f64::from(i);
            let (extract, ethanol) = wort.percents(fermented);
            assert!((wort.sg(fermented) - mixture_sg(extract, ethanol).unwrap()).abs() < 1e-9, "{fermented}");
        }
    }

    #[test]
    fn density_is_near_the_usual_route_at_every_temperature() {
        let wort = SimulatedWort::new(1.050, 0.68, 0.9, BALLING_YIELD).unwrap();
        for fermented in [0.0, 4.0, 8.0] {
            for temp_c in [2.0, 10.0, 20.0, 30.0] {
                let usual = beer_density_kg_m3(wort.sg(fermented), 1.050, temp_c).unwrap();
                let gap = wort.density_kg_m3(fermented, temp_c).unwrap() - usual;
                assert!(gap.abs() < 0.35, "{fermented} {temp_c} {gap}");
            }
        }
    }
}
