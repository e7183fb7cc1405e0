//! A sudden change as a term of the model.

use crate::units::Instant;

/// A sudden change of a probe at a moment.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct ShiftTerm {
    pub at: Instant,
    /// Months from the first calibration.
    pub months: f64,
    /// How far it may have gone, SD, SG.
    pub sd: f64,
    /// The event's kind; empty for one that was found.
    pub event: Option<String>,
}

impl ShiftTerm {
    /// Whether it was found, in the pairs: no event says so.
    pub fn is_found(&self) -> bool {
        self.event.is_none()
    }

    /// What a step of size 1 does to the error at an age: the error is 0 at the calibration.
    pub fn at_age(&self, months: f64) -> f64 {
        if self.months > 0.0 {
            f64::from(u8::from(months >= self.months))
        } else {
            -f64::from(u8::from(months < self.months))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_leaves_the_day_of_calibration_where_it_is() {
        let step = |months| ShiftTerm { at: Instant::default(), months, sd: 1.0, event: None };
        assert_eq!([-1.0, 0.0, 1.0, 2.0].map(|m| step(1.0).at_age(m)), [0.0, 0.0, 1.0, 1.0]);
        assert_eq!([-3.0, -1.0, 0.0, 2.0].map(|m| step(-2.0).at_age(m)), [-1.0, 0.0, 0.0, 0.0]);
    }
}
