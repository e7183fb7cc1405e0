//! Sensors that repeat one value.
//!
//! A beer at rest repeats too: readings are rounded, and a quiet probe shows one value for days. What tells a frozen
//! sensor is that its neighbours do not: a value repeated n times, where the readings just before and just after
//! scatter by more than the sensor's step, would be a rare chance. With scatter s and step q a rounded reading stays
//! on the value it is centred on with probability at most b = erf(q / (2 sqrt(2) s)), and a run of n of them has
//! probability at most b^n; a run is frozen when that, times the number of readings of the probe, is below
//! [`CHANCE`]. The scatter is the smaller of the two neighbours', from the median of second differences (which a
//! steady fall does not touch), and halved, as noise may ebb within a day; where it is below the step, or no
//! neighbour is near, nothing is said. The thresholds are ours.

use std::ops::Range;

use rayon::prelude::{IntoParallelRefIterator, ParallelIterator};
use statrs::function::erf::erf;

use crate::season::flags::Flags;
use crate::season::readings::Readings;
use crate::units::Instant;

assumed! {
    /// Expected number of runs by chance at which a run is no chance any more.
    const CHANCE: f64 = 1e-6, "runs";
    /// How far from the run a neighbour may be.
    const NEAR_D: f64 = 3.0, "d";
}

/// Readings of each neighbour that are looked at, at most and at least.
const NEIGHBOURS: usize = 48;
const NEIGHBOURS_AT_LEAST: usize = 12;

/// Median of |x| for the second difference of white noise with standard deviation 1: 0.6745 sqrt(6).
const MEDIAN_SECOND_DIFFERENCE: f64 = 1.6521;

/// When a repeated value of a sensor may be called frozen.
struct FrozenRule {
    /// Shortest run.
    run: usize,
    /// Least scatter, in steps of the sensor.
    scatter_steps: f64,
    /// What the scatter is divided by before the run's probability is taken.
    caution: f64,
    /// Neighbours that must be there: a sensor may be frozen up to the last reading.
    sides: usize,
}

const TILT: FrozenRule = FrozenRule { run: 6, scatter_steps: 1.0, caution: 2.0, sides: 1 };
/// A thermostat that rests for some hours makes temperature calm all at once, so more is asked.
const TEMPERATURE: FrozenRule = FrozenRule { run: 48, scatter_steps: 3.0, caution: 3.0, sides: 2 };

/// Flags frozen stretches anew.
pub(crate) fn flag_frozen(readings: &mut Readings) {
    for flags in readings.flags.iter_mut().filter(|flags| flags.intersects(Flags::FROZEN)) {
        *flags = flags.without(Flags::FROZEN);
    }
    let of_probe = |probe: &String| {
        let rows = readings.of_probe(probe);
        let columns = (readings.at.get(rows.clone())?, readings.tilt_deg.get(rows.clone())?);
        let ((at, tilt_deg), temp_c) = (columns, readings.temp_c.get(rows.clone())?);
        let frozen = runs(at, tilt_deg, &TILT).into_iter().chain(runs(at, temp_c, &TEMPERATURE));
        Some(frozen.map(|run| rows.start + run.start..rows.start + run.end).collect::<Vec<_>>())
    };
    let frozen: Vec<Range<usize>> = readings.probe_ids.par_iter().filter_map(of_probe).flatten().collect();
    for run in frozen {
        readings.flags.iter_mut().take(run.end).skip(run.start).for_each(|flags| flags.insert(Flags::FROZEN));
    }
}

/// The frozen runs among the values of one probe.
fn runs(at: &[Instant], values: &[f64], rule: &FrozenRule) -> Vec<Range<usize>> {
    let mut start = 0;
    let alike = values.chunk_by(|a, b| a.to_bits() == b.to_bits()).map(|run| {
        start += run.len();
        start - run.len()..start
    });
    alike.filter(|run| run.len() >= rule.run && is_frozen(at, values, run, rule)).collect()
}

fn is_frozen(at: &[Instant], values: &[f64], run: &Range<usize>, rule: &FrozenRule) -> bool {
    let (Some(first), Some(last)) = (at.get(run.start), at.get(run.end - 1)) else { return false };
    let near = |rows: Range<usize>| -> Vec<f64> {
        let rows = at.iter().zip(values).take(rows.end).skip(rows.start);
        let is_near = |at: &Instant| first.days_since(*at) <= *NEAR_D && at.days_since(*last) <= *NEAR_D;
        rows.filter(|(at, _)| is_near(at)).map(|(_, value)| *value).collect()
    };
    let (before, after) = (run.start.saturating_sub(NEIGHBOURS)..run.start, run.end..run.end + NEIGHBOURS);
    let sides = [near(before), near(after)];
    let enough = sides.iter().filter(|side| side.len() >= NEIGHBOURS_AT_LEAST);
    let scatters: Vec<f64> = enough.filter_map(|side| scatter(side)).collect();
    let Some(scatter) = scatters.iter().copied().reduce(f64::min).filter(|_| scatters.len() >= rule.sides) else {
        return false;
    };
    let Some(step) = sides.iter().filter_map(|side| smallest_step(side)).reduce(f64::min) else { return false };
    if scatter < rule.scatter_steps * step {
        return false;
    }
    let stays = erf(step * rule.caution / (2.0 * std::f64::consts::SQRT_2 * scatter));
    let chance = values.len() as f64 * stays.powf(run.len() as f64);
    chance < *CHANCE
}

/// Standard deviation of noise about a steady change.
fn scatter(values: &[f64]) -> Option<f64> {
    let second = |w: &[f64]| Some((w.first()? - 2.0 * w.get(1)? + w.get(2)?).abs());
    let mut seconds: Vec<f64> = values.windows(3).filter_map(second).collect();
    let middle = seconds.len() / 2;
    if seconds.is_empty() {
        return None;
    }
    Some(*seconds.select_nth_unstable_by(middle, f64::total_cmp).1 / MEDIAN_SECOND_DIFFERENCE)
}

/// The smallest difference between neighbours that is not zero: the step of the sensor, or less where readings are
/// not rounded.
fn smallest_step(values: &[f64]) -> Option<f64> {
    let difference = |w: &[f64]| Some((w.last()? - w.first()?).abs());
    values.windows(2).filter_map(difference).filter(|d| *d > 0.0).reduce(f64::min)
}
