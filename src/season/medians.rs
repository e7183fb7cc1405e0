//! Hourly medians of readings, for pictures and for a first look at millions of rows.

use std::ops::Range;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::units::Instant;

use super::flags::Flags;
use super::frame::FrameBuilder;
use super::readings::Readings;

const MICROS_PER_HOUR: i64 = 3_600_000_000;
/// From this many rows on, two threads take a half of the probes each.
const TWO_THREADS_ROWS: usize = 200_000;

/// One row for each probe and hour that has readings, sorted by probe and hour.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct HourlyMedians {
    /// Ids that `probe` points into.
    pub probe_ids: Vec<String>,
    /// Which probe.
    pub probe: Vec<u32>,
    /// The start of the hour, UTC.
    pub at: Vec<Instant>,
    /// How many readings.
    pub n: Vec<u32>,
    /// Median tilt, degrees.
    pub tilt_deg: Vec<f64>,
    /// Median temperature, C.
    pub temp_c: Vec<f64>,
}

impl Readings {
    /// The median tilt and temperature of each probe in each full hour of UTC, without readings that carry any flag of
    /// `leave_out`. The median of an even number of readings is the mean of the two in the middle.
    ///
    /// Readings are sorted by probe and time, so an hour of a probe is a run of rows: one pass, and a small selection
    /// within each run.
    pub fn hourly_medians(&self, leave_out: Flags) -> HourlyMedians {
        let middle = self.probe.get(self.len() / 2).map_or(0, |p| self.probe.partition_point(|other| other < p));
        let (first, second) = if self.len() < TWO_THREADS_ROWS {
            (self.medians_of(0..self.len(), leave_out), HourlyMedians::default())
        } else {
            let second_half = || self.medians_of(middle..self.len(), leave_out);
            std::thread::scope(|scope| {
                let thread = std::thread::Builder::new().spawn_scoped(scope, second_half).ok();
                let first = self.medians_of(0..middle, leave_out);
                (first, thread.and_then(|t| t.join().ok()).unwrap_or_else(second_half))
            })
        };
        let mut medians = HourlyMedians { probe_ids: self.probe_ids.clone(), ..first };
        medians.probe.extend(second.probe);
        medians.at.extend(second.at);
        medians.n.extend(second.n);
        medians.tilt_deg.extend(second.tilt_deg);
        medians.temp_c.extend(second.temp_c);
        medians
    }

    fn medians_of(&self, rows: Range<usize>, leave_out: Flags) -> HourlyMedians {
        let mut medians = HourlyMedians::default();
        let (mut tilt, mut temp) = (Vec::new(), Vec::new());
        let mut start = rows.start;
        while let (Some(probe), Some(at)) = (self.probe.get(start), self.at.get(start)) {
            let hour = at.micros().div_euclid(MICROS_PER_HOUR);
            let next_hour = Instant::from_micros((hour + 1).saturating_mul(MICROS_PER_HOUR));
            let later = self.probe.get(start..rows.end).unwrap_or_default().iter().zip(self.at.iter().skip(start));
            let end = start + later.take_while(|(p, at)| *p == probe && **at < next_hour).count();
            if end == start {
                break;
            }
            self.kept(start..end, &self.tilt_deg, leave_out, &mut tilt);
            self.kept(start..end, &self.temp_c, leave_out, &mut temp);
            if !tilt.is_empty() {
                medians.probe.push(*probe);
                medians.at.push(Instant::from_micros(hour.saturating_mul(MICROS_PER_HOUR)));
                medians.n.push(tilt.len() as u32);
                medians.tilt_deg.push(median(&mut tilt));
                medians.temp_c.push(median(&mut temp));
            }
            start = end;
        }
        medians
    }

    /// The values of rows without those left out.
    fn kept(&self, rows: Range<usize>, column: &[f64], leave_out: Flags, kept: &mut Vec<f64>) {
        kept.clear();
        let (values, flags) = (column.get(rows.clone()).unwrap_or_default(), self.flags.get(rows).unwrap_or_default());
        kept.extend(values.iter().zip(flags).filter(|(_, f)| !f.intersects(leave_out)).map(|(value, _)| *value));
    }
}

impl HourlyMedians {
    /// As a frame: at, probe, n, tilt_deg, temp_c.
    ///
    /// # Errors
    /// [`Error::Frame`](crate::Error::Frame) when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        FrameBuilder::new("hourly_medians")
            .time("at", self.at.iter().copied().map(Some))
            .text("probe", self.probe.iter().map(|p| self.probe_ids.get(*p as usize)))
            .count("n", self.n.iter().map(|n| Some(i64::from(*n))))
            .number("tilt_deg", self.tilt_deg.iter().copied().map(Some))
            .number("temp_c", self.temp_c.iter().copied().map(Some))
            .finish()
    }
}

/// The median of finite numbers, which are put in another order; NaN for none.
fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    match values {
        [] => f64::NAN,
        [one] => *one,
        [a, b] => a.midpoint(*b),
        // An hour holds a handful of readings, where sorting in place beats a selection.
        few if few.len() <= 16 => {
            insertion_sort(few);
            let upper = few.get(middle).copied().unwrap_or(f64::NAN);
            let lower = few.get(middle - 1).copied().unwrap_or(f64::NAN);
            if few.len() % 2 == 1 { upper } else { lower.midpoint(upper) }
        }
        many => {
            let is_odd = many.len() % 2 == 1;
            let (below, upper, _) = many.select_nth_unstable_by(middle, f64::total_cmp);
            if is_odd { *upper } else { below.iter().copied().fold(f64::NEG_INFINITY, f64::max).midpoint(*upper) }
        }
    }
}

fn insertion_sort(values: &mut [f64]) {
    for sorted in 1..values.len() {
        let Some((last, before)) = values.get_mut(..=sorted).and_then(<[f64]>::split_last_mut) else { return };
        let mut value = *last;
        for other in before.iter_mut() {
            if *other > value {
                std::mem::swap(other, &mut value);
            }
        }
        *last = value;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::rngs::SmallRng;
    use rand::{RngExt, SeedableRng};

    #[test]
    fn medians_are_those_of_sorting() {
        let mut rng = SmallRng::seed_from_u64(1);
        for n in (1..40).chain([100, 101]) {
            let mut values: Vec<f64> = (0..n).map(|_| f64::from(rng.random_range(-20..20))).collect();
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            let expected = (sorted[(n - 1) / 2] + sorted[n / 2]) / 2.0;
            assert_eq!(median(&mut values), expected, "{sorted:?}");
        }
    }

    #[test]
    fn hours_and_probes_are_kept_apart_and_flagged_readings_left_out() {
        let hours = [0.0, 0.5, 0.75, 1.0, 0.25, 0.5];
        let flag = |i| if i == 1 { Flags::FROZEN } else { Flags::NONE };
        let readings = Readings {
            probe_ids: vec!["dunlin".to_owned(), "knot".to_owned()],
            at: hours.iter().map(|h| Instant::from_micros(-MICROS_PER_HOUR).plus_hours(*h)).collect(),
            probe: vec![0, 0, 0, 0, 1, 1],
            tilt_deg: vec![50.0, 99.0, 51.0, 52.0, 25.0, 26.0],
            temp_c: vec![20.0; 6],
            flags: (0..6).map(flag).collect(),
            ..Readings::default()
        };
        let medians = readings.hourly_medians(Flags::FROZEN);
        assert_eq!(medians.probe, [0, 0, 1]);
        assert_eq!(medians.n, [2, 1, 2]);
        assert_eq!(medians.tilt_deg, [50.5, 52.0, 25.5]);
        assert_eq!(medians.at.iter().map(|at| at.micros() / MICROS_PER_HOUR).collect::<Vec<_>>(), [-1, 0, -1]);
        assert_eq!(medians.to_frame().unwrap().height(), 3);
    }
}
