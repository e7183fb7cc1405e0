//! A batch before it is fermented: wort, yeast and regime, drawn from the brewhouse's habits.

use crate::error::Result;

use super::fermentation::Fermentation;
use super::regime::{Regime, RegimeChange, Trigger};
use super::settings::SimulateSettings;
use super::strain::{STRAINS, YeastStrain};
use super::stream::Stream;
use super::wort::{BALLING_YIELD, SimulatedWort};
use super::yeast::Yeast;

/// A wort of the brewhouse: name, mean SG, mean mash temperature (C), fermentable share of its extract at that mash.
struct Recipe {
    name: &'static str,
    sg: f64,
    mash_c: f64,
    fermentable: f64,
}

const RECIPES: [Recipe; 6] = [
    Recipe { name: "pale", sg: 1.048, mash_c: 66.0, fermentable: 0.675 },
    Recipe { name: "table", sg: 1.038, mash_c: 67.5, fermentable: 0.655 },
    Recipe { name: "amber", sg: 1.052, mash_c: 66.5, fermentable: 0.655 },
    Recipe { name: "wheat", sg: 1.050, mash_c: 66.0, fermentable: 0.680 },
    Recipe { name: "porter", sg: 1.058, mash_c: 67.0, fermentable: 0.630 },
    Recipe { name: "export", sg: 1.068, mash_c: 65.5, fermentable: 0.670 },
];

/// Yeast pitched, g dry per 100 g of wort, by 1 million cells per mL and degree Plato in wort of 12 degrees.
const PITCHED_PER_RATE: f64 = 0.045;

#[derive(Debug, Clone)]
pub(super) struct Brew {
    pub strain: YeastStrain,
    pub recipe: &'static str,
    pub wort: SimulatedWort,
    pub yeast: Yeast,
    pub regime: Regime,
    pub mash_temp_c: f64,
    pub pitch_rate: f64,
    pub pitched_g_per_100g: f64,
    pub lot: usize,
    pub generation: usize,
    pub volume_l: f64,
}

impl Brew {
    /// The brew of SG 1.050 that strains are described by.
    pub fn standard(strain: YeastStrain) -> Result<Self> {
        Ok(Self {
            strain,
            recipe: "pale",
            wort: SimulatedWort::new(1.050, 0.675, strain.maltotriose_share, BALLING_YIELD)?,
            yeast: Yeast {
                strain,
                vigour: 1.0,
                lag: 1.0,
                nutrients: 1.0,
                ethanol_yield: BALLING_YIELD,
                drops_at: None,
            },
            regime: Regime {
                pitch_temp_c: strain.usual_temp_c,
                set_temp_c: strain.usual_temp_c,
                changes: Vec::new(),
                hour_of_day: 14.0,
                room_c: strain.usual_temp_c - 1.0,
                leak_h: 14.0,
            },
            mash_temp_c: 66.0,
            pitch_rate: 0.9,
            pitched_g_per_100g: 0.9 * PITCHED_PER_RATE,
            lot: 0,
            generation: 1,
            volume_l: 20.0,
        })
    }

    /// Batch number `index` of a season, brewed at `hour_of_day`, of a strain.
    pub fn draw(
        settings: &SimulateSettings,
        index: usize,
        strain: YeastStrain,
        hour_of_day: f64,
        room_c: f64,
    ) -> Result<Self> {
        let mut draw = Stream::new(settings.seed, "brew", index);
        // The weaker worts are brewed more often.
        let recipe = &RECIPES[draw.below(RECIPES.len()).min(draw.below(RECIPES.len()))];
        let original_sg = recipe.sg + draw.bounded_normal(0.0025);
        let mash_temp_c = recipe.mash_c + draw.bounded_normal(0.8);
        let fermentable = recipe.fermentable - 0.011 * (mash_temp_c - recipe.mash_c) + draw.bounded_normal(0.009);
        let share = (strain.maltotriose_share + draw.bounded_normal(0.05)).clamp(0.0, 1.0);
        let ethanol_yield = BALLING_YIELD * (1.0 + draw.bounded_normal(0.006));
        let wort = SimulatedWort::new(original_sg, fermentable, share, ethanol_yield)?;

        let generation = 1 + draw.below(4);
        let pitch_rate = (if strain.lager { 1.4 } else { 0.8 }) * draw.bounded_normal(0.22).exp();
        let viability = 0.96 - 0.03 * (generation - 1) as f64 + draw.bounded_normal(0.02);
        let fermentable_g = wort.fermentable();
        let stuck = draw.chance(settings.stuck_share);
        let drops_at = draw.uniform(0.66, 0.86) * fermentable_g;
        let yeast = Yeast {
            strain,
            vigour: draw.bounded_normal(0.09).exp(),
            lag: draw.bounded_normal(0.22).exp() * if generation == 1 { 1.15 } else { 1.0 },
            nutrients: draw.bounded_normal(0.18).exp(),
            ethanol_yield,
            drops_at: stuck.then_some(drops_at),
        };
        let regime = draw_regime(&mut draw, strain, hour_of_day, room_c);
        Ok(Self {
            strain,
            recipe: recipe.name,
            wort,
            yeast,
            regime,
            mash_temp_c,
            pitch_rate,
            pitched_g_per_100g: PITCHED_PER_RATE * pitch_rate * viability * (recipe.sg - 1.0) / 0.048,
            lot: draw.below(90) + 10,
            generation,
            volume_l: (2.0 * draw.uniform(17.0, 25.0)).round() / 2.0,
        })
    }

    /// The fermentation of this brew, warm to the end.
    pub fn ferment(&self) -> Fermentation {
        Fermentation::to_rest(self.wort.clone(), &self.yeast, &self.regime, self.pitched_g_per_100g)
    }
}

fn draw_regime(draw: &mut Stream, strain: YeastStrain, hour_of_day: f64, room_c: f64) -> Regime {
    let set_temp_c = ((strain.usual_temp_c + draw.bounded_normal(0.8)) * 2.0).round() / 2.0;
    let mut changes = Vec::new();
    let rises = draw.chance(0.55);
    let rise_c = draw.uniform(1.0, 3.0).round();
    let rise_h = 24.0 * draw.uniform(2.0, 4.0);
    if strain.lager {
        let rest_c = draw.uniform(14.0, 17.0).round();
        changes.push((Trigger::Progress(draw.uniform(0.60, 0.78)), RegimeChange::Set(rest_c.max(set_temp_c))));
    } else if rises {
        changes.push((Trigger::Hour(rise_h), RegimeChange::Set(set_temp_c + rise_c)));
    }
    let hops = draw.chance(0.3);
    let potential = draw.uniform(0.10, 0.55);
    if hops && !strain.lager {
        changes.push((Trigger::Progress(draw.uniform(0.82, 0.96)), RegimeChange::DryHop(potential)));
    }
    let leak_h = draw.uniform(11.0, 18.0);
    Regime {
        pitch_temp_c: set_temp_c + draw.bounded_normal(1.0),
        set_temp_c,
        changes,
        hour_of_day,
        // Cool-fermented vessels stand in the cellar.
        room_c: if strain.lager { (room_c - 7.0).min(set_temp_c) } else { room_c },
        leak_h,
    }
}

pub(super) fn strains(settings: &SimulateSettings) -> &'static [YeastStrain] {
    STRAINS.get(..settings.strains).unwrap_or(&STRAINS)
}
