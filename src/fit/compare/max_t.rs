//! How large the largest of several correlated differences is by chance.
//!
//! ```text
//! T_c = a_c' z / s,   z standard normal in r dimensions, |a_c| = 1,   df s^2 chi-squared with df degrees of freedom
//! P(max |T_c| > t) = E_u [ P(F > t^2 / (r g(u)^2)) ],   g(u) = max |a_c' u|,   F with r and df degrees of freedom
//! ```
//!
//! with u uniform on the sphere: direction and length of z are independent, and the length over s is had in closed form, which
//! leaves a smooth function of the direction (A. Genz and F. Bretz, *Computation of Multivariate Normal and t
//! Probabilities*, 2009, spherical-radial transformation). Directions are those of a randomly shifted lattice of the golden ratio with a
//! fixed seed; how much its shifts differ gives the numerical error. The sum over all comparisons, whose mean is known, is
//! taken along as a control where it makes that smaller.

use nalgebra::{DMatrix, SymmetricEigen};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::fit::quantile::{
    check_level, chi_squared_upper_tail, fisher_f_upper_tail, student_t_two_sided, student_t_upper_tail,
};
use crate::fit::root;
use crate::{Error, Result};

const SEED: u64 = 1;
const SHIFTS: usize = 8;
const POINTS: usize = 32768;
/// Classes that the values of g, from 0 to 1, are sorted into.
const CLASSES: usize = 512;
/// With more comparisons than this their overlap is neglected (Bonferroni): it would take seconds.
const MOST: usize = 400;
/// The error is this many standard errors.
const ERRORS: f64 = 3.5;

/// The law of the largest of the absolute values of several correlated t's.
#[derive(Debug, Clone)]
pub struct MaxT {
    comparisons: usize,
    rank: usize,
    /// Of the largest |a_c' u|, and of all of them.
    largest: Classes,
    all: Classes,
}

/// The mean of each class that is not empty, and of each shift how many a point it has there.
type Classes = Vec<(f64, [f64; SHIFTS])>;

impl MaxT {
    /// Of comparisons whose covariance is `factor` times its transpose, up to a common factor: one row a comparison.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when there is none, or one of them has no variance.
    pub fn new(factor: &DMatrix<f64>) -> Result<Self> {
        let mut rows = factor.clone();
        for mut row in rows.row_iter_mut() {
            let length = row.norm();
            if !(length > 0.0 && length.is_finite()) {
                return Err(Error::not_estimable("simultaneous comparisons", "one of them has no variance"));
            }
            row /= length;
        }
        if rows.nrows() == 0 {
            return Err(Error::not_estimable("simultaneous comparisons", "there is none"));
        }
        if rows.nrows() > MOST {
            return Ok(Self::without_overlap(rows.nrows()));
        }
        // Within the space that the comparisons span.
        let eigen = SymmetricEigen::new(rows.tr_mul(&rows));
        let seen: Vec<usize> =
            (0..rows.ncols()).filter(|i| eigen.eigenvalues[*i] > 1e-10 * eigen.eigenvalues.max()).collect();
        let rows = rows * eigen.eigenvectors.select_columns(&seen);
        let mut largest = vec![(0.0, [0.0; SHIFTS]); CLASSES];
        let mut all = largest.clone();
        let add = |to: &mut Classes, shift: usize, g: f64| {
            let class = &mut to[((g * CLASSES as f64) as usize).min(CLASSES - 1)];
            class.0 += g;
            class.1[shift] += 1.0;
        };
        // By columns, whose cells lie side by side.
        let columns = rows.transpose();
        directions(seen.len(), |shift, u| {
            let mut most: f64 = 0.0;
            for row in columns.column_iter() {
                let g = row.iter().zip(u).map(|(a, u)| a * u).sum::<f64>().abs();
                add(&mut all, shift, g);
                most = most.max(g);
            }
            add(&mut largest, shift, most);
        });
        let [largest, all] = [largest, all].map(|sums| {
            let mean = |(sum, counts): (f64, [f64; SHIFTS])| {
                (sum / counts.iter().sum::<f64>(), counts.map(|n| n / POINTS as f64))
            };
            sums.into_iter().filter(|(sum, _)| *sum > 0.0).map(mean).collect()
        });
        Ok(Self { comparisons: factor.nrows(), rank: seen.len(), largest, all })
    }

    /// Of so many comparisons whose overlap is neglected (Bonferroni): P is the sum of theirs, which is never too small.
    pub fn without_overlap(comparisons: usize) -> Self {
        Self { comparisons, rank: 0, largest: Classes::new(), all: Classes::new() }
    }

    /// What it is called in tables.
    pub fn name(&self) -> &'static str {
        if self.largest.is_empty() { "Bonferroni" } else { "max-t" }
    }

    /// P(max |T| > t), and its numerical error: 3.5 standard errors.
    ///
    /// # Errors
    /// [`Error::Setting`] unless df > 0; infinite degrees of freedom are the normal.
    pub fn upper_tail(&self, t: f64, df: f64) -> Result<(f64, f64)> {
        if t.is_nan() || t <= 0.0 {
            return Ok((1.0, 0.0));
        }
        let one = 2.0 * student_t_upper_tail(t, df)?;
        let bound = self.comparisons as f64 * one;
        if self.largest.is_empty() {
            return Ok((bound.min(1.0), 0.0));
        }
        let (largest, all) = (self.tails(&self.largest, t, df)?, self.tails(&self.all, t, df)?);
        let controlled: [f64; SHIFTS] = std::array::from_fn(|i| largest[i] - all[i] + bound);
        let with_error = |sums: [f64; SHIFTS]| {
            let n = SHIFTS as f64;
            let mean = sums.iter().sum::<f64>() / n;
            (mean, (sums.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n * (n - 1.0))).sqrt())
        };
        let (plain, controlled) = (with_error(largest), with_error(controlled));
        let (p, se) = if controlled.1 < plain.1 { controlled } else { plain };
        // It lies between what one comparison gives and what they all give without overlap.
        Ok((p.max(one).min(bound).min(1.0), ERRORS * se))
    }

    /// By shift, the mean of the tails of F.
    fn tails(&self, classes: &Classes, t: f64, df: f64) -> Result<[f64; SHIFTS]> {
        let (mut sums, rank) = ([0.0; SHIFTS], self.rank as f64);
        for (g, shares) in classes {
            let squared = (t / g).powi(2);
            let tail = match df > 1e6 {
                true => chi_squared_upper_tail(squared, rank)?,
                false => fisher_f_upper_tail(squared / rank, rank, df)?,
            };
            sums.iter_mut().zip(shares).for_each(|(sum, share)| *sum += share * tail);
        }
        Ok(sums)
    }

    /// The t with P(max |T| <= t) = `level`.
    ///
    /// # Errors
    /// [`Error::Setting`] for a level outside (0, 1) or df not above 0.
    pub fn quantile(&self, level: f64, df: f64) -> Result<f64> {
        check_level(level)?;
        let one = student_t_two_sided(level, df)?;
        let all = student_t_two_sided(1.0 - (1.0 - level) / self.comparisons as f64, df)?;
        let target = (1.0 - level).ln();
        let excess = |t: f64| self.upper_tail(t, df).map_or(f64::NAN, |(p, _)| p.ln() - target);
        root::brent("a simultaneous quantile", excess, 0.999 * one, 1.001 * all, 2e-6 * all)
    }
}

/// Calls `with` for directions uniform on the sphere, by shift: lattice points through the method of Box and Muller.
fn directions(dims: usize, mut with: impl FnMut(usize, &[f64])) {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    // Powers of 1 / x with x^(n + 1) = x + 1: the golden ratio in n dimensions.
    let n = dims + dims % 2;
    let golden = (0..60).fold(2.0_f64, |x, _| (1.0 + x).powf(1.0 / (n as f64 + 1.0)));
    let steps: Vec<f64> = (1..=n as i32).map(|k| golden.powi(-k)).collect();
    let mut z = Vec::with_capacity(n);
    for shift in 0..SHIFTS {
        let start: Vec<f64> = steps.iter().map(|_| rng.random::<f64>()).collect();
        for i in 1..=POINTS {
            let at = |k: usize| (start[k] + i as f64 * steps[k]).fract();
            z.clear();
            for k in (0..n).step_by(2) {
                // Folded, so that it is periodic as the angle is: the sum over a lattice then converges faster.
                let folded = (2.0 * at(k) - 1.0).abs();
                let (radius, angle) = ((-2.0 * (1.0 - folded).ln()).sqrt(), std::f64::consts::TAU * at(k + 1));
                z.extend([radius * angle.cos(), radius * angle.sin()]);
            }
            z.truncate(dims);
            let length = z.iter().map(|z| z * z).sum::<f64>().sqrt().max(f64::MIN_POSITIVE);
            z.iter_mut().for_each(|z| *z /= length);
            with(shift, &z);
        }
    }
}
