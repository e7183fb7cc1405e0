//! Since when a probe is due.

use crate::units::Instant;

use crate::drift::results::{OutOfLimit, ProbeDrift, Recalibrate};

use super::drift::Drift;

impl Drift {
    /// Since when a probe is due that is due already, where that shows.
    pub(crate) fn due_since(&self, probe: &ProbeDrift) -> Option<Instant> {
        let now = self.latest.filter(|_| probe.recalibrate == Recalibrate::AlreadyPast)?;
        past_since(&probe.out_of_limit, self.limit_chance, now)
    }
}

/// When the chance of being out of limit last passed what is allowed before `now`: between two points as the line runs,
/// at the first point where it was never within.
fn past_since(points: &[OutOfLimit], allowed: f64, now: Instant) -> Option<Instant> {
    let past = points.partition_point(|point| point.at <= now);
    let before = points.get(..past)?;
    let within = before.iter().rposition(|point| point.p <= allowed);
    let out = before.get(within.map_or(0, |within| within + 1))?;
    let Some(last) = within.and_then(|within| before.get(within)) else { return Some(out.at) };
    let share = (allowed - last.p) / (out.p - last.p);
    Some(last.at.plus_days(share * out.at.days_since(last.at)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_probe_that_is_due_is_so_since_the_line_last_crossed() {
        let day = |day: f64| Instant::default().plus_days(day);
        let line = |p: &[f64]| -> Vec<OutOfLimit> {
            p.iter().enumerate().map(|(i, p)| OutOfLimit { at: day(10.0 * i as f64), p: *p }).collect()
        };
        let since = |p: &[f64], now| past_since(&line(p), 0.1, day(now)).map(|at| at.days_since(day(0.0)).round());
        assert_eq!(since(&[0.0, 0.2, 0.6, 0.9], 30.0), Some(5.0));
        assert_eq!(since(&[0.0, 0.2, 0.05, 0.15, 0.9], 40.0), Some(25.0));
        assert_eq!(since(&[0.3, 0.6, 0.9], 20.0), Some(0.0));
        assert_eq!(since(&[0.3, 0.6, 0.05, 0.9], 10.0), Some(0.0));
        assert_eq!(since(&[0.0, 0.05], 10.0), None);
    }
}
