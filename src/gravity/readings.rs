//! From each tilt to its gravity, on the curve in force.

use crate::calibration::{Calibrations, Noise};
use crate::error::Result;
use crate::liquid::BeerDensity;
use crate::season::{Flags, Season};

use super::active_calibration::{ActiveCalibration, Timeline};
use super::layers::{Gravity, GravityLayers, UncorrectedGravity};

/// Readings of one probe in one batch, one after the other: they share liquid, noise and mostly the curve.
struct Run {
    rows: std::ops::Range<usize>,
    batch: Option<u32>,
}

impl Calibrations {
    /// The gravity of every reading, on the curve in force at its time (before the first, on the first).
    ///
    /// The error joins the reading's own (the short-time noise of its probe in its batch, from blocks of 24 readings) and
    /// the shared one. Drift is a later layer: [`Gravity::with_layers`]. Flags: `before_calibration`; `calibration_stale` after a change of cell, shell or
    /// board until the next calibration; `extrapolated` beyond the baths; `no_calibration`.
    ///
    /// A reading in a batch is beer of that batch's original gravity: the measured one, else the first sample or the
    /// first readings, else the setting. A reading in no batch is a sucrose solution.
    ///
    /// # Errors
    /// Those of the liquid formulas for an original gravity outside 1.0 to 1.2.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nlet gravity = calibrations.gravity(&season)?;\nassert_eq!(gravity.corrected.len(), season.readings.len());")]
    pub fn gravity(&self, season: &Season) -> Result<Gravity> {
        let readings = &season.readings;
        let n = readings.len();
        let mut gravity = Gravity {
            uncorrected: vec![None; n],
            corrected: Vec::new(),
            calibration: vec![None; n],
            calibration_ids: self.calibrations.iter().map(|c| c.calibration.clone()).collect(),
            flags: readings.flags.clone(),
        };
        let liquids = self.liquids(season)?;
        for probe in &readings.probe_ids {
            let rows = readings.of_probe(probe);
            let timeline = Timeline::of(self, season, probe);
            if timeline.is_empty() {
                for flags in gravity.flags.get_mut(rows).unwrap_or_default() {
                    flags.insert(Flags::NO_CALIBRATION);
                }
                continue;
            }
            let usual = Noise::of(readings, rows.clone());
            for run in runs(season, rows) {
                let liquid = liquids.at(run.batch);
                let noise = Noise::of(readings, run.rows.clone())
                    .filter(|noise| noise.blocks >= *BLOCKS_ENOUGH)
                    .or(usual)
                    .map_or(self.settings.tilt_sd_deg, |noise| noise.sd_deg);
                self.fill(season, &mut gravity, &timeline, run.rows, liquid, noise);
            }
        }
        Ok(gravity.with_layers(&GravityLayers::default()))
    }

    fn fill(
        &self,
        season: &Season,
        gravity: &mut Gravity,
        timeline: &Timeline,
        rows: std::ops::Range<usize>,
        liquid: &BeerDensity,
        noise_deg: f64,
    ) {
        let readings = &season.readings;
        let mut active: Option<ActiveCalibration> = None;
        let cells = gravity.uncorrected.iter_mut().zip(&mut gravity.calibration).zip(&mut gravity.flags);
        let read = readings.at.iter().zip(&readings.tilt_deg).zip(&readings.temp_c);
        let (from, n) = (rows.start, rows.len());
        for (((uncorrected, used), flags), ((&at, &tilt), &temp)) in cells.zip(read).skip(from).take(n) {
            let now = match active {
                Some(known) if at < known.until => known,
                _ => match timeline.at(at) {
                    Some(found) => *active.insert(found),
                    None => continue,
                },
            };
            let calibration = self.calibrations.get(now.calibration as usize);
            let point = calibration.and_then(|c| c.gravity_at(liquid, tilt, temp, self.settings.temp_sd_c));
            flags.insert(now.flags);
            if point.is_none_or(|point| point.extrapolated) {
                flags.insert(Flags::EXTRAPOLATED);
            }
            *used = Some(now.calibration);
            *uncorrected = point.map(|point| UncorrectedGravity {
                density_kg_m3: point.density_kg_m3,
                sg: point.sg,
                own_se: point.sg_per_deg * noise_deg,
                curve_se: point.shared_se,
            });
        }
    }
}

assumed! {
    /// Blocks of readings from which the noise in a batch is taken for its own.
    const BLOCKS_ENOUGH: usize = 5, "blocks";
}

fn runs(season: &Season, rows: std::ops::Range<usize>) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for row in rows {
        let batch = season.readings.batch.get(row).copied().flatten();
        match runs.last_mut() {
            Some(run) if run.batch == batch => run.rows.end = row + 1,
            _ => runs.push(Run { rows: row..row + 1, batch }),
        }
    }
    runs
}
