//! Rules of thumb that a forecast is held against, and the score of both.

use super::tail::Tail;

/// Hours of readings that make a rate.
pub(super) const DAY_H: f64 = 24.0;

/// A rule of thumb for the finish time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rival {
    /// The fall of the last 24 h goes on until the gravity that the strain's batches tell of: one time, no distribution.
    LastDayRate,
    /// The batch takes as long as one of the strain's batches that have ended, or of all where there is none.
    PastDurations,
    /// The strain's time from the middle of the drop to rest, over the time to the middle, with its spread among batches.
    UsualTail,
}

impl Rival {
    /// All, in the order of the tables.
    pub const ALL: [Self; 3] = [Self::LastDayRate, Self::PastDurations, Self::UsualTail];

    /// Its column in the tables.
    pub const fn column(self) -> &'static str {
        match self {
            Self::LastDayRate => "crps_last_day_rate_h",
            Self::PastDurations => "crps_past_durations_h",
            Self::UsualTail => "crps_usual_tail_h",
        }
    }

    /// Its name in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::LastDayRate => "the last day's rate",
            Self::PastDurations => "past durations of the strain",
            Self::UsualTail => "the strain's usual time after the middle of the drop",
        }
    }
}

/// What the rules of thumb know of a batch.
#[derive(Debug)]
pub(super) struct Situation<'a> {
    pub now_h: f64,
    /// Drop, SG, by now and a day ago; none before the first day is over.
    pub last_day: Option<(f64, f64)>,
    /// Drop to where it is at rest by what the strain's batches tell, SG.
    pub whole_drop_sg: f64,
    /// Middle of the drop by the batch's own curve.
    pub mid_h: f64,
    pub strain: &'a Tail,
}

impl Situation<'_> {
    /// Finish times, hours from pitching, equally likely and rising, by each rule; none where it has nothing to go by.
    pub fn finishes(&self, z: &[f64]) -> [Option<Vec<f64>>; 3] {
        Rival::ALL.map(|rival| match rival {
            Rival::LastDayRate => self.last_day.map(|(now_sg, before_sg)| {
                let left = (self.whole_drop_sg - now_sg).max(0.0);
                let hours = if left > 0.0 { left * DAY_H / (now_sg - before_sg).max(0.0) } else { 0.0 };
                vec![self.strain.within(self.now_h + hours)]
            }),
            Rival::PastDurations => (!self.strain.durations_h.is_empty()).then(|| self.strain.durations_h.clone()),
            Rival::UsualTail => {
                Some(z.iter().map(|z| self.strain.within(self.strain.finish_by_mid_h(self.mid_h, *z))).collect())
            }
        })
    }
}

/// What came of a batch.
#[derive(Debug, Clone, Copy)]
pub(super) enum Came {
    /// It came to rest at this hour.
    Rest(f64),
    /// It had not come to rest by this hour, and more is not known.
    Later(f64),
}

/// The continuous ranked probability score, hours, of equally likely finish times in rising order (J. E. Matheson and R. L. Winkler,
/// Management Science 22 (1976) 1087): the integral of the squared difference between the distribution and what came; of one time,
/// its error. Where the rest was not seen the integral ends at the last hour known, which keeps the score proper (T. Gneiting and
/// R. Ranjan, J. Bus. Econ. Stat. 29 (2011) 411).
pub(super) fn crps(finishes_h: &[f64], came: Came) -> f64 {
    let n = finishes_h.len().max(1) as f64;
    let (observed, most) = match came {
        Came::Rest(hours) => (hours, f64::INFINITY),
        Came::Later(hours) => (hours, hours),
    };
    let (mut away, mut apart) = (0.0, 0.0);
    for (i, hours) in finishes_h.iter().map(|hours| hours.min(most)).enumerate() {
        away += (hours - observed).abs();
        apart += (2.0 * i as f64 + 1.0 - n) * hours;
    }
    away / n - apart / (n * n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::quantile::normal;

    #[test]
    fn the_score_of_a_normal_is_the_formula() {
        // T. Gneiting and A. E. Raftery, J. Am. Stat. Assoc. 102 (2007) 359, eq. 21: for z = 0, sigma (2 phi(0) - 1/sqrt pi).
        let sample: Vec<f64> = (0..4000).map(|i| 50.0 + 8.0 * normal((f64::from(i) + 0.5) / 4000.0).unwrap()).collect();
        let pi = std::f64::consts::PI;
        let wanted = 8.0 * (2.0 / (2.0 * pi).sqrt() - 1.0 / pi.sqrt());
        assert!((crps(&sample, Came::Rest(50.0)) - wanted).abs() < 0.01);
        assert!((crps(&[40.0], Came::Rest(50.0)) - 10.0).abs() < 1e-12);
    }

    #[test]
    fn an_end_that_was_not_seen_is_scored_up_to_there() {
        // All before it is wrong, all after it is as good as any.
        assert!((crps(&[40.0], Came::Later(50.0)) - 10.0).abs() < 1e-12);
        assert!(crps(&[60.0, 900.0], Came::Later(50.0)).abs() < 1e-12);
        assert!((crps(&[40.0, 60.0], Came::Later(50.0)) - 2.5).abs() < 1e-12);
    }
}
