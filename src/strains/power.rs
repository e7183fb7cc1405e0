//! How many more batches would settle a pair.

use crate::error::Result;
use crate::fit::quantile::{normal, normal_upper_tail, student_t_two_sided, student_t_upper_tail};

/// Probability that is asked for.
const WANTED: f64 = 0.8;
/// More batches than this are not planned.
const MOST: usize = 200;
/// Numbers of further batches at which the picture stands.
pub const MORE: [usize; 9] = [0, 1, 2, 4, 8, 14, 24, 40, 60];

pub(super) struct PairNow {
    /// Batches of both.
    pub n: (usize, usize),
    /// Standard error of their difference, and its degrees of freedom.
    pub se: f64,
    pub df: f64,
    /// Times which it is half the simultaneous interval.
    pub factor: f64,
}

impl PairNow {
    /// Probability that a difference is found with so many further batches of each.
    ///
    /// The normal approximation. Degrees of freedom grow as the batches of the two, and by no more than the new ones; the
    /// factor of the interval is Student's at the level that it now has for one pair:
    ///
    /// ```text
    /// power = P(|z + difference / se(m)| > factor(m)),   se(m)^2 ~ 1 / (n_a + m) + 1 / (n_b + m)
    /// ```
    pub fn power(&self, difference: f64, more: usize) -> Result<f64> {
        let (factor, se) = self.then(more)?;
        Ok(normal_upper_tail(factor - difference / se) + normal_upper_tail(factor + difference / se))
    }

    /// The difference that is found with probability 0.8.
    pub fn found(&self, more: usize) -> Result<f64> {
        let (factor, se) = self.then(more)?;
        Ok((factor + normal(WANTED)?) * se)
    }

    /// Factor and standard error with so many further batches of each.
    fn then(&self, more: usize) -> Result<(f64, f64)> {
        let share = |more: usize| 1.0 / (self.n.0 + more) as f64 + 1.0 / (self.n.1 + more) as f64;
        let grown = share(0) / share(more);
        let df = (self.df * grown).min(self.df + 2.0 * more as f64);
        let factor = match more {
            0 => self.factor,
            _ => student_t_two_sided(1.0 - 2.0 * student_t_upper_tail(self.factor, self.df)?, df)?,
        };
        Ok((factor, self.se / grown.sqrt()))
    }

    /// The fewest further batches of each with which a difference is found with probability 0.8, by halving.
    pub fn more_of_each(&self, difference: f64) -> Result<Option<usize>> {
        let (mut least, mut enough) = (0, MOST + 1);
        while least < enough {
            let middle = (least + enough) / 2;
            match self.power(difference, middle)? < WANTED {
                true => least = middle + 1,
                false => enough = middle,
            }
        }
        Ok(Some(enough).filter(|more| *more <= MOST))
    }
}

#[cfg(test)]
#[path = "../../tests/inside/strain_power.rs"]
mod tests;
