//! The word for how far a batch with a fitted curve has come, and its probability.

use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::error::Result;
use crate::fit::{Finding, quantile};

use super::batch_fit::FittedFermentation;
use super::curve::{GravityCurve, PARAMETERS};
use super::level_changes::{probability, restarted_at};
use super::point::BatchPoint;
use super::status::Status;
use super::timed::Timed;

/// Curves drawn for the probability of a word.
const DRAWS: usize = 200;

assumed! {
    /// A batch that has fallen by less than this share of its drop has not begun.
    const LAGGING_SHARE: f64 = 0.03, "share";
    /// One whose rate is less than this share of its greatest is slowing.
    const SLOW_SHARE: f64 = 0.5, "share";
    /// Probability from which a batch at rest is called stuck.
    pub(super) const SURE: f64 = 0.9, "probability";
}

/// What a batch with a fitted curve is judged by.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Judge<'a> {
    pub points: &'a [BatchPoint],
    /// The last usable data, hours from pitching.
    pub last_hours: f64,
    pub tolerance_sg: f64,
    pub stuck_above: f64,
    /// The limit with its standard deviation.
    pub limit: (f64, f64),
}

impl Judge<'_> {
    /// The word, the hour since when, and the probability of the word: the share of curves drawn from the fit's errors
    /// that get the same one; of `Finished`, of being at rest, as a limit that is hardly known says little about more.
    pub fn status(
        &self,
        fitted: &FittedFermentation,
        p_stuck: f64,
        level: f64,
    ) -> Result<(Status, Option<f64>, Finding)> {
        let curve = fitted.timed();
        if let Some((at, p)) = restarted_at(self.points, fitted.curve.original_sg) {
            // Only a fall that the single curve does not know as its main one.
            if at > curve.mid_h() {
                let p = probability(p, level, "fall after the rest against the scatter, normal")?;
                return Ok((Status::Restarted, Some(at), p));
            }
        }
        let stage = self.stage(&curve);
        let word = if stage == Status::Finished && p_stuck > *SURE { Status::Stuck } else { stage };
        let since = match word {
            Status::NotStarted | Status::Lagging => Some(0.0),
            Status::Active => Some(curve.lag_h()),
            Status::Slowing => Some(self.slowing_h(&curve)),
            Status::Finished | Status::Stuck => Some(curve.finish_h(self.tolerance_sg)),
            Status::TooFewData | Status::Restarted => None,
        };
        let mut p = 0.0;
        let drawn = draws(fitted);
        for drawn in &drawn {
            let own = Timed::new(drawn, &fitted.clock);
            if self.stage(&own) == stage {
                // The draw has the error of the terminal gravity; that of the limit is left.
                p += if word == Status::Stuck { self.p_stuck(drawn.terminal_sg, 0.0) } else { 1.0 };
            }
        }
        let method = "share of curves drawn from the errors of the fit";
        let p = match drawn.len() {
            0 => Finding::missing("the errors of the fit cannot be drawn from"),
            n => probability(p / n as f64, level, method)?,
        };
        Ok((word, since, p))
    }

    /// Probability that a batch at rest there is stuck, from the variance of its terminal gravity.
    pub fn p_stuck(&self, terminal_sg: f64, variance: f64) -> f64 {
        let above = terminal_sg - self.limit.0 - self.stuck_above;
        let sd = (variance + self.limit.1 * self.limit.1).sqrt();
        let z = if sd > 0.0 { above / sd } else { above.signum() * f64::INFINITY };
        1.0 - quantile::normal_upper_tail(z)
    }

    /// The word without regard to the limit.
    fn stage(&self, curve: &Timed<'_>) -> Status {
        if curve.finish_h(self.tolerance_sg) <= self.last_hours {
            return Status::Finished;
        }
        if self.last_hours <= curve.lag_h() || curve.progress(self.last_hours) < *LAGGING_SHARE {
            return Status::Lagging;
        }
        let steepest = curve.steepest_h();
        let slow = curve.fall_sg_per_h(self.last_hours) < *SLOW_SHARE * curve.fall_sg_per_h(steepest);
        if self.last_hours > steepest && slow { Status::Slowing } else { Status::Active }
    }

    /// The hour after the steepest point from which the fall is under half of its greatest.
    fn slowing_h(&self, curve: &Timed<'_>) -> f64 {
        let (mut early, mut late) = (curve.steepest_h(), self.last_hours);
        let half = *SLOW_SHARE * curve.fall_sg_per_h(early);
        for _ in 0..40 {
            let middle = 0.5 * (early + late);
            if curve.fall_sg_per_h(middle) < half { late = middle } else { early = middle }
        }
        late
    }
}

/// Curves drawn from the normal distribution of the parameters; always the same for the same fit.
fn draws(fitted: &FittedFermentation) -> Vec<GravityCurve> {
    let covariance = DMatrix::from_fn(PARAMETERS, PARAMETERS, |i, j| fitted.covariance[i][j]);
    if covariance.iter().any(|c| !c.is_finite()) {
        return Vec::new();
    }
    let parts = covariance.symmetric_eigen();
    let sizes = DMatrix::from_diagonal(&parts.eigenvalues.map(|value| value.max(0.0).sqrt()));
    // The symmetric root, which is the same whatever the signs of the eigenvectors.
    let root = &parts.eigenvectors * sizes * parts.eigenvectors.transpose();
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let centre = fitted.curve.to_vector();
    (0..DRAWS)
        .map(|_| {
            let moved = &root * DVector::from_fn(PARAMETERS, |_, _| normal());
            let mut vector: [f64; PARAMETERS] = std::array::from_fn(|i| centre[i] + moved[i]);
            // A fermentation only falls.
            vector[1] = vector[1].min(vector[0] - 1e-4);
            GravityCurve::from_vector(fitted.curve.kind, &vector)
        })
        .collect()
}
