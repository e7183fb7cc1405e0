//! The original gravity that a batch's beer is read with.

use crate::error::Result;
use crate::fit::robust::median_of;
use crate::liquid::BeerDensity;
use crate::season::{Season, UNFERMENTED_H};

use super::noise::UNUSABLE;
use super::result::Calibrations;

assumed! {
    /// Readings in wort that it takes for an original gravity.
    const READINGS_ENOUGH: usize = 5, "readings";
}

/// The liquids of a season's batches, for density -> SG.
#[derive(Debug, Clone)]
pub(crate) struct Liquids {
    /// Baths, and readings in no batch.
    sugar: BeerDensity,
    /// One per batch id of the readings, in their order.
    beers: Vec<BeerDensity>,
}

impl Liquids {
    /// A sucrose solution, and no beer.
    pub fn sugar_only() -> Result<Self> {
        Ok(Self { sugar: BeerDensity::unfermented()?, beers: Vec::new() })
    }

    /// The liquid of a batch of the readings; outside batches a sucrose solution.
    pub fn at(&self, batch: Option<u32>) -> &BeerDensity {
        batch.and_then(|b| self.beers.get(b as usize)).unwrap_or(&self.sugar)
    }

    /// The liquid of a batch by its id.
    pub fn of(&self, season: &Season, batch: Option<&str>) -> &BeerDensity {
        self.at(batch.and_then(|id| season.readings.batch_index(id)))
    }
}

impl Calibrations {
    /// The liquids of a season's batches, each with its original gravity.
    pub(crate) fn liquids(&self, season: &Season) -> Result<Liquids> {
        let sugar = BeerDensity::unfermented()?;
        let beer = |batch: &String| BeerDensity::new(original_gravity(self, season, &sugar, batch));
        let beers = season.readings.batch_ids.iter().map(beer).collect::<Result<_>>()?;
        Ok(Liquids { sugar, beers })
    }
}

/// The original gravity of a batch, SG 20/20: as stated, else of its first sample, else of its first readings, else the
/// setting. It only sets the alcohol in the density of the beer: 0.005 of it moves the SG of a reading at 5 C by some
/// 0.0001, and at 20 C not at all.
fn original_gravity(all: &Calibrations, season: &Season, sugar: &BeerDensity, id: &str) -> f64 {
    let usable = |sg: &f64| (1.0..=1.2).contains(sg);
    let Some(batch) = season.batch(id) else { return all.settings.original_sg };
    let sample = season
        .references
        .iter()
        .filter(|r| r.batch.as_deref() == Some(id) && r.at.hours_since(batch.pitched_at) <= *UNFERMENTED_H)
        .map(|r| r.sg)
        .find(usable);
    if let Some(sg) = batch.original_sg.filter(usable).or(sample) {
        return sg;
    }
    let mut early = Vec::new();
    for probe in &season.readings.probe_ids {
        let until = batch.pitched_at.plus_hours(*UNFERMENTED_H);
        for row in season.readings.of_probe_between(probe, batch.pitched_at, until) {
            let Some(reading) = season.readings.get(row) else { continue };
            if reading.batch != Some(id) || reading.flags.intersects(UNUSABLE) {
                continue;
            }
            let Some(curve) = all.in_force(probe, reading.at) else { continue };
            early.extend(curve.gravity_at(sugar, reading.tilt_deg, reading.temp_c, 0.0).map(|point| point.sg));
        }
    }
    let enough = early.len() >= *READINGS_ENOUGH;
    median_of(&mut early).filter(|sg| enough && usable(sg)).unwrap_or(all.settings.original_sg)
}
