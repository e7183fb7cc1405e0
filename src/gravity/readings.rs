//! Gravity, reading by reading.

use std::fmt;

use crate::calibration::{Calibrations, Noise};
use crate::error::Result;
use crate::liquid::BeerDensity;
use crate::season::{Flags, Season};

use super::in_force::{Force, Timeline};

/// The gravity of every reading, aligned row by row with `Season::readings`; empty where there is none.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Gravity {
    /// Density of the liquid at its own temperature, kg/m3.
    pub density_kg_m3: Vec<Option<f64>>,
    /// SG 20/20 of one reading, not smoothed.
    pub sg: Vec<Option<f64>>,
    /// Standard error of `sg`: own and shared part together.
    pub sg_se: Vec<Option<f64>>,
    /// The part that all readings of one probe on one curve share: curve, shell and temperature sensor.
    pub sg_se_shared: Vec<Option<f64>>,
    /// SG 20/20 before any correction for drift.
    pub sg_uncorrected: Vec<Option<f64>>,
    /// The calibration used, an index into `calibration_ids`.
    pub calibration: Vec<Option<u32>>,
    /// Ids of the calibrations.
    pub calibration_ids: Vec<String>,
    /// The reading's own flags and those of its calibration.
    pub flags: Vec<Flags>,
}

/// Readings of one probe in one batch, one after the other: they share liquid, noise and mostly the curve.
struct Run {
    rows: std::ops::Range<usize>,
    batch: Option<u32>,
}

impl Calibrations {
    /// The gravity of every reading, on the curve in force at its time (before the first, on the first).
    ///
    /// `sg_se` joins the reading's own error (the short-time noise of its probe in its batch, from blocks of 24
    /// readings) and the shared one. Flags: `before_calibration`; `calibration_stale` after a change of cell, shell or
    /// board until the next calibration; `extrapolated` beyond the baths; `no_calibration`.
    ///
    /// A reading in a batch is beer of that batch's original gravity: the measured one, else the first sample or the
    /// first readings, else the setting. A reading in no batch is a sucrose solution.
    ///
    /// # Errors
    /// Those of the liquid formulas for an original gravity outside 1.0 to 1.2.
    ///
    /// ```
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// # let season = SimulateSettings { batches: 1, probes: 2, span_days: 20.0, reading_minutes: 240.0, ..Default::default() }.run()?.season;
    /// let calibrations = CalibrationSettings::default().fit(&season)?;
    /// let gravity = calibrations.gravity(&season)?;
    /// assert_eq!(gravity.sg.len(), season.readings.len());
    /// # Ok(())
    /// # }
    /// ```
    pub fn gravity(&self, season: &Season) -> Result<Gravity> {
        let readings = &season.readings;
        let n = readings.len();
        let mut gravity = Gravity {
            density_kg_m3: vec![None; n],
            sg: vec![None; n],
            sg_se: vec![None; n],
            sg_se_shared: vec![None; n],
            sg_uncorrected: vec![None; n],
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
                    .filter(|noise| noise.blocks >= BLOCKS_ENOUGH)
                    .or(usual)
                    .map_or(self.settings.tilt_sd_deg, |noise| noise.sd_deg);
                self.fill(season, &mut gravity, &timeline, run.rows, liquid, noise);
            }
        }
        Ok(gravity)
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
        let mut force: Option<Force> = None;
        for row in rows {
            let (Some(&at), Some(&tilt), Some(&temp)) =
                (readings.at.get(row), readings.tilt_deg.get(row), readings.temp_c.get(row))
            else {
                continue;
            };
            let now = match force {
                Some(known) if at < known.until => known,
                _ => match timeline.at(at) {
                    Some(found) => *force.insert(found),
                    None => continue,
                },
            };
            let mut flags = now.flags;
            let calibration = self.calibrations.get(now.calibration as usize);
            let point = calibration.and_then(|c| c.gravity_at(liquid, tilt, temp, self.settings.temp_sd_c));
            if point.is_none_or(|point| point.extrapolated) {
                flags.insert(Flags::EXTRAPOLATED);
            }
            set(&mut gravity.calibration, row, Some(now.calibration));
            if let Some(point) = point {
                let own = point.sg_per_deg * noise_deg;
                set(&mut gravity.density_kg_m3, row, Some(point.density_kg_m3));
                set(&mut gravity.sg, row, Some(point.sg));
                set(&mut gravity.sg_uncorrected, row, Some(point.sg));
                set(&mut gravity.sg_se, row, Some(own.hypot(point.shared_se)));
                set(&mut gravity.sg_se_shared, row, Some(point.shared_se));
            }
            if let Some(all) = gravity.flags.get_mut(row) {
                all.insert(flags);
            }
        }
    }
}

impl Gravity {
    /// The same gravities with more error that readings share, as (row, SD in SG).
    #[must_use]
    pub fn with_shared_errors(mut self, found: impl IntoIterator<Item = (usize, f64)>) -> Self {
        for (row, sd) in found {
            for error in [self.sg_se.get_mut(row), self.sg_se_shared.get_mut(row)].into_iter().flatten().flatten() {
                *error = error.hypot(sd);
            }
        }
        self
    }

    /// The same with further flags at rows of the season's readings, as later studies find them; no value changes.
    #[must_use]
    pub fn with_flags(mut self, found: impl IntoIterator<Item = (usize, Flags)>) -> Self {
        for (row, flag) in found {
            if let Some(flags) = self.flags.get_mut(row) {
                flags.insert(flag);
            }
        }
        self
    }
}

/// Blocks of readings from which the noise in a batch is taken for its own.
const BLOCKS_ENOUGH: usize = 5;

fn set<T>(column: &mut [T], row: usize, value: T) {
    if let Some(cell) = column.get_mut(row) {
        *cell = value;
    }
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

impl fmt::Display for Gravity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let with = self.sg.iter().flatten().count();
        writeln!(f, "gravity of {with} of {} readings on {} calibrations", self.sg.len(), self.calibration_ids.len())?;
        for (flag, name) in Flags::ALL {
            let n = self.flags.iter().filter(|flags| flags.intersects(*flag)).count();
            if n > 0 {
                writeln!(f, "  {n:8} {name}")?;
            }
        }
        Ok(())
    }
}
