//! How many more batches would settle a pair.

use crate::fit::quantile::normal_upper_tail;

/// Probability that is asked for.
const WANTED: f64 = 0.8;
/// More batches than this are not planned.
const MOST: usize = 200;

pub(super) struct PairNow {
    /// Batches of both.
    pub n: (usize, usize),
    /// Standard error of their difference.
    pub se: f64,
    /// Times which it is half the simultaneous interval.
    pub factor: f64,
}

impl PairNow {
    /// Probability that a difference is found with so many further batches of each.
    ///
    /// The normal approximation, with the factor of the interval as it is now:
    ///
    /// ```text
    /// power = P(|z + difference / se(m)| > factor),   se(m)^2 ~ 1 / (n_a + m) + 1 / (n_b + m)
    /// ```
    pub fn power(&self, difference: f64, more: usize) -> f64 {
        let share = |more: usize| 1.0 / (self.n.0 + more) as f64 + 1.0 / (self.n.1 + more) as f64;
        let away = difference / (self.se * (share(more) / share(0)).sqrt());
        normal_upper_tail(self.factor - away) + normal_upper_tail(self.factor + away)
    }

    /// The fewest further batches of each with which a difference is found with probability 0.8.
    pub fn more_of_each(&self, difference: f64) -> Option<usize> {
        (0..=MOST).find(|more| self.power(difference, *more) >= WANTED)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixteen_over_the_square_of_the_effect() {
        // R. Lehr (Stat. Med. 11 (1992) 1099): 16/d^2 batches each for 80 % power at 5 %, two-sided; here d = 1/2, so 64.
        let now = PairNow { n: (4, 4), se: (2.0_f64 / 4.0).sqrt(), factor: 1.96 };
        let more = now.more_of_each(0.5).unwrap();
        assert!((62..=64).contains(&(4 + more)), "{more}");
        assert!(now.more_of_each(1e-3).is_none());
    }
}
