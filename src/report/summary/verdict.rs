//! What may be said of a probe in one word.

use crate::drift::{Drift, DriftPair, PairKind, ProbeDrift, Recalibrate};
use crate::fit::{Estimate, Finding};
use crate::units::Instant;

/// A drift that stays within this of zero is called steady, SG per 30 days: the least step that a common hydrometer
/// shows.
pub(super) const STEADY_SG_PER_30D: f64 = 0.001;

/// A last check further off than this contradicts a steady slope, SG.
const FAR_SG: f64 = 0.002;

/// What the interval of a drift, the last check and the date at which it is due let one say of a probe.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Its interval lies within the tolerance, with zero in it or not.
    Steady,
    /// Its interval lies above zero and reaches beyond the tolerance.
    Rises,
    /// Its interval lies below zero and reaches beyond the tolerance.
    Falls,
    /// Its interval holds zero and more than the tolerance.
    Open,
    /// Its slope says steady, but the last check lies far off, as after a sudden shift.
    Moved,
    /// Its slope says steady, but it is due for a calibration.
    Due,
    /// It goes up or down by sudden shifts, and hardly between them.
    Jumped,
    /// There is no estimate.
    Unknown,
}

pub(super) const ALL: [Verdict; 8] = [
    Verdict::Steady,
    Verdict::Due,
    Verdict::Moved,
    Verdict::Jumped,
    Verdict::Rises,
    Verdict::Falls,
    Verdict::Open,
    Verdict::Unknown,
];

impl Verdict {
    /// Of the probe `of` a study.
    pub(super) fn new(found: &Drift, of: &ProbeDrift, last: Option<&LastCheck>) -> Self {
        let shifted = found.shifts.iter().any(|shift| shift.probe == of.probe);
        let gradual = Some(&of.gradual_sg_per_30d).filter(|_| shifted);
        Self::of(&of.drift_sg_per_30d, gradual, last, of.recalibrate == Recalibrate::AlreadyPast)
    }

    /// Of a drift, of that without its sudden shifts where there are any, of the last check, and of whether it is due.
    fn of(drift: &Finding, gradual: Option<&Finding>, last: Option<&LastCheck>, due: bool) -> Self {
        let steady = |e: &Estimate| e.lower >= -STEADY_SG_PER_30D && e.upper <= STEADY_SG_PER_30D;
        match drift.estimate() {
            None => Self::Unknown,
            Some(e) if steady(e) => match due {
                _ if last.is_some_and(LastCheck::is_far) => Self::Moved,
                true => Self::Due,
                false => Self::Steady,
            },
            Some(_) if gradual.and_then(Finding::estimate).is_some_and(steady) => Self::Jumped,
            Some(e) if e.lower > 0.0 => Self::Rises,
            Some(e) if e.upper < 0.0 => Self::Falls,
            Some(_) => Self::Open,
        }
    }

    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Rises => "reads ever higher",
            Self::Falls => "reads ever lower",
            Self::Steady => "stays true",
            Self::Open => "not settled",
            Self::Moved => "off at the last check",
            Self::Due => "slow, but due",
            Self::Jumped => "jumped, else true",
            Self::Unknown => "not known",
        }
    }
}

/// What a probe was off by, on its first calibration, on the last day it met a reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LastCheck {
    pub(super) at: Instant,
    age_d: f64,
    pub(super) off_sg: f64,
    se: f64,
}

impl LastCheck {
    /// The middle pair of the last day.
    pub(super) fn of(found: &Drift, probe: &str) -> Option<Self> {
        let of_probe = |pair: &&DriftPair| pair.probe == probe && pair.kind != PairKind::SameBeer;
        let used = || found.pairs.iter().filter(of_probe).filter(|pair| pair.left_out.is_none());
        let last = used().map(|pair| pair.at).max()?;
        let mut day: Vec<&DriftPair> = used().filter(|pair| last.days_since(pair.at) < 1.0).collect();
        day.sort_by(|a, b| a.difference_sg.total_cmp(&b.difference_sg));
        let middle = day.get(day.len() / 2)?;
        let se = middle.reference_sd.hypot(middle.own_se).hypot(middle.curve_se);
        Some(Self { at: last, age_d: middle.age_d, off_sg: middle.difference_sg, se })
    }

    /// Off by more than a steady probe may be at that age, by more than two steps of a common hydrometer, and by more
    /// than its error explains.
    fn is_far(&self) -> bool {
        let steady = STEADY_SG_PER_30D * self.age_d.abs() / 30.0;
        self.off_sg.abs() > FAR_SG.max(3.0 * self.se).max(steady)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(lower: f64, upper: f64) -> Finding {
        let value = (lower + upper) / 2.0;
        Finding::Estimated(Estimate { value, se: 0.0002, lower, upper, level: 0.9, method: "t".into() })
    }

    #[test]
    fn a_wide_interval_is_not_called_true() {
        let cases = [
            (-0.0005, 0.0009, Verdict::Steady),
            (-0.0005, 0.0019, Verdict::Open),
            (0.0001, 0.0009, Verdict::Steady),
            (0.0004, 0.0015, Verdict::Rises),
            (-0.003, -0.001, Verdict::Falls),
        ];
        for (lower, upper, expected) in cases {
            assert_eq!(Verdict::of(&finding(lower, upper), None, None, false), expected);
        }
        assert_eq!(Verdict::of(&Finding::missing("one check"), None, None, false), Verdict::Unknown);
    }

    #[test]
    fn a_shift_at_the_end_is_not_called_true() {
        let last = |age_d, off_sg, se| LastCheck { at: Instant::default(), age_d, off_sg, se };
        let of = |last| Verdict::of(&finding(-0.0003, 0.0002), None, Some(&last), false);
        assert_eq!(of(last(100.0, 0.0045, 0.0006)), Verdict::Moved);
        assert_eq!(of(last(100.0, 0.0045, 0.0020)), Verdict::Steady);
        assert_eq!(of(last(150.0, 0.0045, 0.0006)), Verdict::Steady);
        assert_eq!(of(last(10.0, -0.0012, 0.0002)), Verdict::Steady);
    }

    #[test]
    fn a_probe_that_is_due_or_jumped_is_called_so() {
        assert_eq!(Verdict::of(&finding(-0.0006, -0.0004), None, None, true), Verdict::Due);
        let (up, still) = (finding(0.0013, 0.0016), finding(-0.0001, 0.0006));
        assert_eq!(Verdict::of(&up, Some(&still), None, true), Verdict::Jumped);
        assert_eq!(Verdict::of(&up, Some(&up), None, true), Verdict::Rises);
    }
}
