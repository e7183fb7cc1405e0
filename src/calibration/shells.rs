//! How a probe's shell expands, as beers show it that were cooled at rest.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::error::Result;
use crate::fit::robust::median_of;
use crate::float::ShellExpansion;
use crate::season::{Batch, Flags, Season};
use crate::units::HOURS_PER_DAY;

use super::beers::Liquids;
use super::cooling::cooled_hours;
use super::noise::UNUSABLE;
use super::result::{Calibration, Calibrations};

assumed! {
    /// Hours before a cooling from which the gravity of the warm beer is taken.
    const WARM_H: f64 = 24.0, "h";
    /// A beer that changes faster before its cooling tells nothing of a shell.
    const AT_REST_SG_PER_DAY: f64 = 0.0015, "SG a day";
    /// From so long after the beer has become cold its gravity is taken: gas and yeast settle.
    const SETTLED_H: f64 = 6.0, "h";
    /// For so long.
    const COLD_H: f64 = 48.0, "h";
    /// A beer is cold within this of the lowest temperature that it has within four days of the start of its cooling.
    const COLD_WITHIN_C: f64 = 1.5, "C";
    /// Fewest readings that make a gravity.
    const READINGS_NEEDED: usize = 6, "readings";
    /// What one cooling differs from another in the same probe (gas, yeast, hops), SD.
    const COOLING_SD: f64 = 0.0004, "SG";
    /// What all coolings of a probe have in common (foam that dries, gas that goes), SD.
    const COMMON_SD: f64 = 0.0003, "SG";
    /// How often something else moves a probe or the beer at a cooling, and by how much, SD.
    const OTHERWISE: f64 = 0.2, "share";
    const OTHERWISE_SD: f64 = 0.005, "SG";
    /// How far a sensor that turns with its temperature is from no turning, as an expansion, SD.
    const TURN_SD_PER_K: f64 = 8e-6, "per K";
    /// How often a shell is not of what it is said to be.
    const OTHER_SHELL: f64 = 0.1, "share";
}

/// Expansions that are weighed against each other, per K.
const FROM_PER_K: f64 = -1.0e-4;
const STEP_PER_K: f64 = 1.0e-6;
const STEPS: usize = 501;

/// A beer at rest that was cooled, as one probe reads it.
struct Cooling {
    /// Cold less warm, SG.
    change_sg: f64,
    /// Its variance by a fall that may have gone on.
    variance: f64,
    /// What an expansion of 1 per K more than the curve has makes of that.
    by_expansion: f64,
}

impl Calibrations {
    /// The expansions of the shells of probes that were in beers which were cooled at rest; the written one is their prior.
    ///
    /// A beer at rest keeps its gravity `S` when it is cooled from `T1` to `T2`. A probe whose shell expands by `d` per K more
    /// than its curve has reads `3 S d (T2 - T1)` more afterwards. The posterior is taken on a grid, with a mixture for each
    /// cooling, as a probe may have been moved by something else, and with a mixture as its prior, as a shell may be of another
    /// material than was written. What the sensor does as it cools is in it too: the expansion is the one that makes cold
    /// readings right.
    pub(super) fn shells_seen(&self, season: &Season) -> Result<BTreeMap<String, ShellExpansion>> {
        let liquids = self.liquids(season)?;
        let seen = |probe: &String| {
            let written = &self.first(probe)?.shell;
            let cooling = |batch| self.cooling(season, &liquids, batch, probe);
            let coolings: Vec<Cooling> = season.batches.iter().filter_map(cooling).collect();
            let some = Some(coolings).filter(|some| !some.is_empty())?;
            Some((probe.clone(), posterior(written, &self.settings.unknown_shell, &some)?))
        };
        Ok(season.readings.probe_ids.par_iter().filter_map(seen).collect())
    }

    /// A probe in a batch before and after a cooling; none where the beer was not at rest, or not cooled.
    fn cooling(&self, season: &Season, liquids: &Liquids, batch: &Batch, probe: &str) -> Option<Cooling> {
        let readings = &season.readings;
        let index = readings.batch_index(&batch.batch)?;
        let last = *readings.at.get(readings.of_probe(probe).end.checked_sub(1)?)?;
        let until = batch.ended_at.unwrap_or(last);
        let read = |row: usize| {
            let reading = readings.get(row)?;
            let ours = readings.batch.get(row).copied().flatten() == Some(index);
            let sound = ours && !reading.flags.intersects(UNUSABLE.with(Flags::NO_BEER));
            let on: &Calibration = self.in_force(probe, reading.at).filter(|_| sound)?;
            let point = on.gravity_at(liquids.at(Some(index)), reading.tilt_deg, reading.temp_c, 0.0)?;
            Some((reading.at.hours_since(batch.pitched_at), reading.temp_c, point.sg))
        };
        let all: Vec<(f64, f64, f64)> =
            readings.of_probe_between(probe, batch.pitched_at, until).filter_map(read).collect();
        if all.len() < *READINGS_NEEDED {
            return None;
        }
        let hours: Vec<f64> = all.iter().map(|(h, ..)| *h).collect();
        let temps: Vec<f64> = all.iter().map(|(_, c, _)| *c).collect();
        let start = cooled_hours(season, batch, &hours, &temps)?;
        let warm: Vec<_> = all.iter().copied().filter(|(h, ..)| (start - *WARM_H..start - 1.0).contains(h)).collect();
        let after: Vec<_> =
            all.iter().copied().filter(|(h, ..)| (start..start + 4.0 * HOURS_PER_DAY).contains(h)).collect();
        let coldest = after.iter().map(|(_, c, _)| *c).fold(f64::INFINITY, f64::min) + *COLD_WITHIN_C;
        let from = after.iter().find(|(_, c, _)| *c <= coldest)?.0 + *SETTLED_H;
        let cold: Vec<_> =
            after.iter().copied().filter(|(h, c, _)| *c <= coldest && (from..from + *COLD_H).contains(h)).collect();
        let (before, cooled) = (RestingGravity::of(&warm)?, RestingGravity::of(&cold)?);
        let apart_c = cooled.temp_c - before.temp_c;
        if apart_c > -*COLD_WITHIN_C || before.sg_per_h.abs() * HOURS_PER_DAY > *AT_REST_SG_PER_DAY {
            return None;
        }
        let fell = before.sg_per_h * (from - start);
        let (change_sg, by_expansion) = (cooled.sg - before.sg, 3.0 * before.sg * apart_c);
        Some(Cooling { change_sg, variance: fell * fell, by_expansion })
    }
}

/// A gravity, its temperature and how fast it changes.
struct RestingGravity {
    sg: f64,
    temp_c: f64,
    sg_per_h: f64,
}

impl RestingGravity {
    /// Medians of hour, temperature and gravity; the rate from the medians of the earlier and the later half.
    fn of(readings: &[(f64, f64, f64)]) -> Option<Self> {
        let median = |of: fn(&(f64, f64, f64)) -> f64, readings: &[(f64, f64, f64)]| {
            median_of(&mut readings.iter().map(of).collect::<Vec<f64>>())
        };
        let (early, late) = readings.split_at_checked(readings.len() / 2)?;
        let (h, sg) = (|r: &(f64, f64, f64)| r.0, |r: &(f64, f64, f64)| r.2);
        let apart_h = median(h, late)? - median(h, early)?;
        let enough = readings.len() >= *READINGS_NEEDED && apart_h > 1.0;
        let sg_per_h = (median(sg, late)? - median(sg, early)?) / apart_h;
        enough.then_some(Self { sg: median(sg, readings)?, temp_c: median(|r| r.1, readings)?, sg_per_h })
    }
}

/// Mean and standard deviation of the expansion; `written` is what the curve has, `unknown` what a shell of which nothing is known has.
fn posterior(written: &ShellExpansion, unknown: &ShellExpansion, coolings: &[Cooling]) -> Option<ShellExpansion> {
    let grid = (0..STEPS).map(|i| FROM_PER_K + STEP_PER_K * i as f64);
    let ln_weight = |alpha: f64| {
        let prior = |shell: &ShellExpansion| normal(alpha - shell.linear_per_k, shell.sd_per_k.hypot(*TURN_SD_PER_K));
        let prior = (1.0 - *OTHER_SHELL) * prior(written) + *OTHER_SHELL * prior(unknown);
        let of_cooling = |cooling: &Cooling| {
            let left = cooling.change_sg - cooling.by_expansion * (alpha - written.linear_per_k);
            let sd = (COOLING_SD.powi(2) + cooling.variance).sqrt();
            ((1.0 - *OTHERWISE) * normal(left, sd) + *OTHERWISE * normal(left, *OTHERWISE_SD)).ln()
        };
        prior.ln() + coolings.iter().map(of_cooling).sum::<f64>()
    };
    let weighed: Vec<(f64, f64)> = grid.map(|alpha| (alpha, ln_weight(alpha))).collect();
    let most = weighed.iter().map(|(_, ln)| *ln).fold(f64::NEG_INFINITY, f64::max);
    let moment =
        |of: &dyn Fn(f64) -> f64| weighed.iter().map(|(alpha, ln)| of(*alpha) * (ln - most).exp()).sum::<f64>();
    let total = moment(&|_| 1.0);
    let mean = moment(&|alpha| alpha) / total;
    let common = *COMMON_SD * coolings.len() as f64 / coolings.iter().map(|of| of.by_expansion.abs()).sum::<f64>();
    let sd = (moment(&|alpha| (alpha - mean).powi(2)) / total).sqrt().hypot(common);
    (mean.is_finite() && sd.is_finite()).then_some(ShellExpansion { linear_per_k: mean, sd_per_k: sd })
}

fn normal(x: f64, sd: f64) -> f64 {
    (-0.5 * (x / sd).powi(2)).exp() / sd
}
