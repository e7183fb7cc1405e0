//! What past forecasts teach about the width of the next: the curve and the prior may be wrong in ways that only
//! outcomes show.

use crate::units::Instant;

assumed! {
    /// Forecasts that a width of one is worth.
    const WORTH: f64 = 10.0, "forecasts";
    /// A miss counts no more than this many standard deviations.
    const MOST: f64 = 4.0, "SD";
    /// Forecasts made at a progress within this of the present one count.
    const NEAR: f64 = 0.15, "share";
}

/// How one forecast of the past did.
#[derive(Debug, Clone)]
pub(super) struct ScoredForecast {
    pub batch: String,
    /// When its outcome was known.
    pub known_at: Instant,
    /// Progress as estimated then.
    pub progress: f64,
    /// Observed less forecast finish in standard deviations of the forecast, of the side it lies on.
    pub miss: f64,
}

/// Factor on the width of a forecast, from the misses at similar progress whose outcome was known by then, one per batch (the
/// nearest in progress), and how many these are: the root of their mean square, shrunk towards one.
pub(super) fn learned_scale(scored: &[ScoredForecast], as_of: Instant, progress: f64) -> (f64, usize) {
    let mut best: Vec<&ScoredForecast> = Vec::new();
    let distance = |s: &ScoredForecast| (s.progress - progress).abs();
    for one in scored.iter().filter(|s| s.known_at <= as_of && distance(s) <= *NEAR) {
        match best.iter_mut().find(|other| other.batch == one.batch) {
            Some(other) if distance(one) < distance(other) => *other = one,
            Some(_) => {}
            None => best.push(one),
        }
    }
    let sum: f64 = best.iter().map(|s| s.miss.abs().min(*MOST).powi(2)).sum();
    (((*WORTH + sum) / (*WORTH + best.len() as f64)).sqrt(), best.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_known_outcomes_at_similar_progress_count_once_per_batch() {
        let one = |batch: &str, hours: f64, progress: f64, miss: f64| ScoredForecast {
            batch: batch.into(),
            known_at: Instant::from_micros(0).plus_hours(hours),
            progress,
            miss,
        };
        let scored =
            [one("a", 1.0, 0.5, 3.0), one("a", 1.0, 0.6, 9.0), one("b", 9.0, 0.5, 5.0), one("c", 1.0, 0.9, 7.0)];
        let at = |hours: f64| Instant::from_micros(0).plus_hours(hours);
        assert_eq!(learned_scale(&scored, at(0.0), 0.5), (1.0, 0));
        let (scale, n) = learned_scale(&scored, at(2.0), 0.5);
        assert_eq!(n, 1);
        assert!((scale - (19.0_f64 / 11.0).sqrt()).abs() < 1e-12);
    }
}
