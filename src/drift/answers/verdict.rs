//! The verdict of a probe, and since when it is due.

use crate::drift::results::{DriftPair, LastCheck, OutOfLimit, ProbeDrift, ProbeVerdict, Recalibrate};
use crate::fit::{Estimate, Finding};
use crate::units::Instant;

use super::drift::Drift;

assumed! {
    /// A drift that stays within this of zero is called steady: the least step that a common hydrometer
    /// shows.
    const STEADY_SG_PER_30D: f64 = 0.001, "SG in 30 d";
    /// A last check further off than this contradicts a steady slope.
    const FAR_SG: f64 = 0.002, "SG";
}

/// Of a drift, of that without its sudden shifts and their number where there are any, of the last check, and of whether the
/// probe is due.
pub(super) fn verdict(
    drift: &Finding,
    gradual: Option<(&Finding, usize)>,
    last: Option<LastCheck>,
    due: bool,
) -> ProbeVerdict {
    let is_steady = |e: &Estimate| e.lower >= -*STEADY_SG_PER_30D && e.upper <= *STEADY_SG_PER_30D;
    let Some(e) = drift.estimate() else {
        return ProbeVerdict::Unknown { why: drift.why().unwrap_or("its drift is not estimated").to_owned() };
    };
    if is_steady(e) {
        return match last.filter(is_far) {
            Some(last) => ProbeVerdict::OffAtLastCheck(last),
            None if due => ProbeVerdict::Due,
            None => ProbeVerdict::Steady { within_sg_per_30d: *STEADY_SG_PER_30D },
        };
    }
    match gradual {
        Some((gradual, shifts)) if gradual.estimate().is_some_and(is_steady) => ProbeVerdict::Jumped { shifts },
        _ if e.lower > 0.0 => ProbeVerdict::Rises,
        _ if e.upper < 0.0 => ProbeVerdict::Falls,
        _ => ProbeVerdict::NotSettled,
    }
}

/// The middle one of a probe's pairs with references on the last day that has any.
pub(super) fn last_check(checks: &[&DriftPair]) -> Option<LastCheck> {
    let last = checks.iter().map(|pair| pair.at).max()?;
    let mut day: Vec<&&DriftPair> = checks.iter().filter(|pair| last.days_since(pair.at) < 1.0).collect();
    day.sort_by(|a, b| a.difference_sg.total_cmp(&b.difference_sg));
    let middle = day.get(day.len() / 2)?;
    let se = middle.reference_sd.hypot(middle.own_se).hypot(middle.curve_se);
    Some(LastCheck { at: last, age_d: middle.age_d, off_sg: middle.difference_sg, se })
}

/// Off by more than a steady probe may be at that age, by more than two steps of a common hydrometer, and by more than its
/// error explains.
fn is_far(last: &LastCheck) -> bool {
    let steady = *STEADY_SG_PER_30D * last.age_d.abs() / 30.0;
    last.off_sg.abs() > FAR_SG.max(3.0 * last.se).max(steady)
}

impl Drift {
    /// Since when a probe is due that is due already, where that shows.
    pub(crate) fn due_since(&self, probe: &ProbeDrift) -> Option<Instant> {
        let now = self.latest.filter(|_| probe.recalibrate == Recalibrate::AlreadyPast)?;
        past_since(&probe.out_of_limit, self.limit_chance, now)
    }
}

/// When the chance of being out of limit last passed what is allowed before `now`: between two points as the line runs,
/// at the first point where it was never within.
fn past_since(points: &[OutOfLimit], allowed: f64, now: Instant) -> Option<Instant> {
    let past = points.partition_point(|point| point.at <= now);
    let before = points.get(..past)?;
    let within = before.iter().rposition(|point| point.p <= allowed);
    let out = before.get(within.map_or(0, |within| within + 1))?;
    let Some(last) = within.and_then(|within| before.get(within)) else { return Some(out.at) };
    let share = (allowed - last.p) / (out.p - last.p);
    Some(last.at.plus_days(share * out.at.days_since(last.at)))
}

#[cfg(test)]
#[path = "../../../tests/inside/verdict.rs"]
mod tests;
