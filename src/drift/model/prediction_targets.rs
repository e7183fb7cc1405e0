//! What can be asked of a probe: slopes, changes, sizes of shifts, errors in a state.

use nalgebra::DVector;

use super::equations::PredictionTarget;
use super::pair_row::{PairRow, response_covariance, walk_of_one};
use super::probe_model::ProbeModel;
use super::shift_term::ShiftTerm;
use super::variances::Variances;

impl ProbeModel {
    /// The least-squares slope of the error through the observed span, with or without its sudden steps.
    pub fn slope_target(&self, variances: Variances, steps: bool) -> PredictionTarget {
        self.along(&self.grid, 1.0, variances, steps)
    }

    /// The slope of the error that a step of size 1 alone would make.
    pub fn slope_of_step(&self, step: &ShiftTerm) -> f64 {
        self.grid.iter().map(|(months, weight)| weight * step.at_age(*months)).sum()
    }

    /// The change of the error at SG 1.020 from one age to another.
    pub fn change_target(&self, from: f64, to: f64, variances: Variances) -> PredictionTarget {
        self.along(&[(from, -1.0), (to, 1.0)], to - from, variances, true)
    }

    /// The size of a step.
    pub fn step_target(&self, step: &ShiftTerm) -> PredictionTarget {
        let variance = step.sd.powi(2);
        PredictionTarget {
            effect: self.slope(),
            load: 0.0,
            shared: Vec::new(),
            covariance: self.column_of(step) * variance,
            variance,
        }
    }

    /// The error on the first curve in a state, its own curve's error included.
    pub fn error_target(&self, state: &PairRow, variances: Variances) -> PredictionTarget {
        let with = self.rows.iter().map(|row| self.between(state, row, variances));
        let effect = |(source, load): &(usize, f64)| Some((*self.shared.sources.get(source)?, *load));
        PredictionTarget {
            effect: self.slope(),
            load: state.shows * state.months,
            shared: state.errors.shared.iter().filter_map(effect).collect(),
            covariance: DVector::from_iterator(self.n(), with),
            variance: self.between(state, state, variances),
        }
    }

    /// The target of a sum over ages of weight times error at SG 1.020, with or without the steps; `load` is its share
    /// of the slope.
    fn along(&self, points: &[(f64, f64)], load: f64, variances: Variances, steps: bool) -> PredictionTarget {
        let walk = variances.walk_sd.powi(2);
        let over = |of: &dyn Fn(f64) -> f64| points.iter().map(|(m, by)| by * of(*m)).sum::<f64>();
        let walked = |at: f64| walk * over(&|months| walk_of_one(months, at));
        let stepped = |at: f64| if steps { over(&|months| self.stepped(months, at)) } else { 0.0 };
        let of_row =
            |r: &PairRow| response_covariance(self.walks, r.walk) * walked(r.months) + r.shows * stepped(r.months);
        PredictionTarget {
            effect: self.slope(),
            load,
            shared: Vec::new(),
            covariance: DVector::from_iterator(self.n(), self.rows.iter().map(of_row)),
            variance: over(&|months| response_covariance(self.walks, self.walks) * walked(months) + stepped(months)),
        }
    }

    /// Covariance at two ages of the steps.
    fn stepped(&self, a: f64, b: f64) -> f64 {
        self.steps.iter().map(|s| s.sd.powi(2) * s.at_age(a) * s.at_age(b)).sum()
    }

    /// Covariance of the probe's errors at two rows but for its slope, what it shares with other probes and what they have of
    /// their own.
    pub fn between(&self, a: &PairRow, b: &PairRow, variances: Variances) -> f64 {
        a.walked(b) * variances.walk_sd.powi(2)
            + (a.shows * b.shows + a.doubt * b.doubt) * self.stepped(a.months, b.months)
            + a.line_doubt * b.line_doubt
            + a.errors.covariance(&b.errors, |source| !self.shared.sources.contains_key(&source))
    }
}
