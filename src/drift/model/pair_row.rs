//! A pair as a row of the model, or a state of a probe that is asked for.

use crate::gravity::ReadingErrors;

use super::gravity_shape::{EVEN, GravityResponse, GravityShape};

assumed! {
    /// Drift from probe to probe, SD: only for how much the doubt about the gravity's share weighs.
    const TYPICAL_PER_MONTH: f64 = 0.001, "SG a month";
}

/// One pair as the model needs it, or a state of the probe that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct PairRow {
    /// Months since the first calibration.
    pub months: f64,
    /// Its error in units of that at SG 1.020.
    pub shows: f64,
    /// Its error by source: curve, shell and thermometer, less the reference's.
    pub errors: ReadingErrors,
    /// SG of the reference.
    pub sg: f64,
    /// Variance beyond these, that nothing else shares.
    pub own: f64,
    /// By how much of the error at SG 1.020 its error may differ from what it is expected to show, SD, with a sign.
    pub doubt: f64,
    /// The same of a steady drift's error, SG.
    pub line_doubt: f64,
    /// What a walk of 1 at SG 1.020 of a usual probe makes here.
    pub walk: GravityResponse,
    /// The stay in a beer, by number; none in a bath.
    pub stay: Option<usize>,
}

impl PairRow {
    /// A pair at an age and a gravity with these errors of the curve, less the reference's, and this variance that nothing
    /// else shares.
    pub fn at(shape: &GravityShape, months: f64, sg: f64, errors: ReadingErrors, own: f64) -> Self {
        let (shows, doubt) = shape.shown(sg);
        let line_doubt = doubt * *TYPICAL_PER_MONTH * months;
        Self { months, shows, errors, sg, own, doubt, line_doubt, walk: shape.walked(*EVEN, sg), stay: None }
    }

    /// The same in this stay in a beer.
    pub fn staying(self, stay: Option<usize>) -> Self {
        Self { stay, ..self }
    }

    /// The same with an error that shows just so much of that at SG 1.020, where a walk of 1 shows as much as `walk`.
    pub fn showing(self, shows: f64, walk: f64) -> Self {
        Self { shows, doubt: 0.0, line_doubt: 0.0, walk: (walk * shows, 0.0), ..self }
    }

    /// Covariance of the errors here and at another row that a random walk of SD 1 after 30 days makes.
    pub fn walked(&self, other: &Self) -> f64 {
        response_covariance(self.walk, other.walk) * walk_of_one(self.months, other.months)
    }
}

/// Covariance of what two states show of one error.
pub(in crate::drift) fn response_covariance(a: GravityResponse, b: GravityResponse) -> f64 {
    a.0 * b.0 + a.1 * b.1
}

/// Covariance at two ages (months) of a random walk of variance 1 a month, from the calibration to either side.
pub(in crate::drift) fn walk_of_one(a: f64, b: f64) -> f64 {
    if a * b > 0.0 { a.abs().min(b.abs()) } else { 0.0 }
}
