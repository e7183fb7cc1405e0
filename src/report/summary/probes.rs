//! Which probes stay true?

use crate::calibration::Calibrations;
use crate::drift::{Drift, DriftPair, ProbeDrift, Recalibrate, Shift};
use crate::fit::{Finding, decimals_for};
use crate::study::SeasonStudy;
use crate::units::Instant;

use super::super::words::{count, day, list, signed};
use super::Answer;

/// A drift that stays within this of zero is called steady, SG per 30 days: the least step that a common hydrometer
/// shows.
const STEADY_SG_PER_30D: f64 = 0.001;

/// A last check further off than this contradicts a steady slope, SG.
const FAR_SG: f64 = 0.002;

/// What the interval of a drift lets one say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
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
    /// There is no estimate.
    Unknown,
}

const ALL: [Verdict; 6] =
    [Verdict::Steady, Verdict::Moved, Verdict::Rises, Verdict::Falls, Verdict::Open, Verdict::Unknown];

impl Verdict {
    fn of(finding: &Finding, last: Option<&LastCheck>) -> Self {
        match finding.estimate() {
            None => Self::Unknown,
            Some(e) if e.lower >= -STEADY_SG_PER_30D && e.upper <= STEADY_SG_PER_30D => {
                if last.is_some_and(LastCheck::is_far) { Self::Moved } else { Self::Steady }
            }
            Some(e) if e.lower > 0.0 => Self::Rises,
            Some(e) if e.upper < 0.0 => Self::Falls,
            Some(_) => Self::Open,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Rises => "reads ever higher",
            Self::Falls => "reads ever lower",
            Self::Steady => "stays true",
            Self::Open => "not settled",
            Self::Moved => "off at the last check",
            Self::Unknown => "not known",
        }
    }
}

/// What a probe was off by, on its first calibration, on the last day it met a reference.
#[derive(Debug, Clone, Copy, PartialEq)]
struct LastCheck {
    at: Instant,
    age_d: f64,
    off_sg: f64,
    se: f64,
}

impl LastCheck {
    /// The middle pair of the last day.
    fn of(found: &Drift, probe: &str) -> Option<Self> {
        let used = || found.pairs.iter().filter(|pair| pair.probe == probe && pair.left_out.is_none());
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

pub(super) fn answer(study: &SeasonStudy) -> Answer {
    let mut answer = Answer::new("Which probes stay true?");
    match study.calibrations.done() {
        Some(calibrations) => calibration(&mut answer, calibrations),
        None => answer.say(format!("No calibration: {}.", study.calibrations.why().unwrap_or("no reason given"))),
    }
    match study.drift.done() {
        Some(found) => drift(&mut answer, found),
        None => answer.say(format!("No drift: {}.", study.drift.why().unwrap_or("no reason given"))),
    }
    answer
}

fn calibration(answer: &mut Answer, found: &Calibrations) {
    let mut with: Vec<&str> = found.calibrations.iter().map(|c| c.probe.as_str()).collect();
    with.dedup();
    answer.say(format!(
        "{} with {}.",
        count(with.len(), "probe", "probes"),
        count(found.calibrations.len(), "curve", "curves")
    ));
    let mut without: Vec<&str> = found.without.iter().map(|n| n.probe.as_str()).filter(|p| !with.contains(p)).collect();
    without.dedup();
    if !without.is_empty() {
        answer.say(format!("Without a curve: {}.", list(&without)));
    }
    let odd: Vec<String> = found
        .calibrations
        .iter()
        .filter(|c| c.water_ok == Some(false))
        .filter_map(|c| Some(format!("{} ({:.1}\u{b0})", c.calibration, c.water_tilt_deg.value()?)))
        .collect();
    if !odd.is_empty() {
        answer.say(format!("Outside 25 \u{b1} 5\u{b0} in pure water: {}.", list(&odd)));
    }
}

fn drift(answer: &mut Answer, found: &Drift) {
    let mut said = Vec::new();
    let judged: Vec<(&ProbeDrift, Option<LastCheck>, Verdict)> = found
        .probes
        .iter()
        .map(|probe| {
            let last = LastCheck::of(found, &probe.probe);
            (probe, last, Verdict::of(&probe.drift_sg_per_30d, last.as_ref()))
        })
        .collect();
    for verdict in ALL {
        let such = judged.iter().filter(|(.., of)| *of == verdict);
        let names: Vec<&str> = such.map(|(probe, ..)| probe.probe.as_str()).collect();
        let words = match verdict {
            Verdict::Steady => format!("Stay true within {STEADY_SG_PER_30D} SG per 30 days"),
            Verdict::Rises => "Read ever higher".to_owned(),
            Verdict::Falls => "Read ever lower".to_owned(),
            Verdict::Moved => "Without a steady drift, but far off at the last check".to_owned(),
            Verdict::Open => "Not settled, as too little is known".to_owned(),
            Verdict::Unknown => "Nothing can be said".to_owned(),
        };
        if !names.is_empty() {
            said.push(format!("{words}: {}.", list(&names)));
        }
    }
    answer.say(if said.is_empty() { "No probe met a reference twice.".to_owned() } else { said.join(" ") });
    let shifted: Vec<String> = found.shifts.iter().filter(|s| s.kind.is_found()).map(shift_text).collect();
    if !shifted.is_empty() {
        answer.say(format!("Sudden shifts that no event explains: {}.", list(&shifted)));
    }
    if let Some(e) = found.interval_d.estimate() {
        answer.say(format!(
            "A further probe of this fleet is due {:.0} days after a calibration ({:.0} %: {:.0} to {:.0} days).",
            e.value,
            100.0 * e.level,
            e.lower,
            e.upper
        ));
    }
    answer.heading(&[
        "probe",
        "verdict",
        "drift, SG per 30 days",
        "off its first curve at the last check",
        "from",
        "calibrate by",
    ]);
    answer.rows = judged.iter().map(row).collect();
    for term in found.fleet.iter().filter(|term| term.term.starts_with("mean_drift")) {
        if let Some(e) = term.finding.estimate() {
            answer.rows.push(vec![
                "the fleet".into(),
                String::new(),
                drift_text(e),
                String::new(),
                count(found.probes.len(), "probe", "probes"),
                String::new(),
            ]);
        }
    }
}

fn row((probe, last, verdict): &(&ProbeDrift, Option<LastCheck>, Verdict)) -> Vec<String> {
    let drift = match &probe.drift_sg_per_30d {
        Finding::Estimated(e) => drift_text(e),
        Finding::Fixed { value, why } => format!("held at {value}: {why}"),
        Finding::NotEstimable { why } => why.clone(),
    };
    let last = last.map_or_else(String::new, |l| format!("{}, {}", signed(l.off_sg, 4, true), day(l.at)));
    let due = match &probe.recalibrate {
        Recalibrate::NotEstimable(_) => String::new(),
        other => other.to_string(),
    };
    vec![probe.probe.clone(), verdict.word().to_owned(), drift, last, count(probe.n, "check", "checks"), due]
}

/// A shift that was found, with a word of doubt where chance alone shows one as strong in more than one season of twenty.
fn shift_text(shift: &Shift) -> String {
    let size = shift.shift_sg.value().map_or_else(String::new, |sg| format!(" by {}", signed(sg, 4, true)));
    let doubt = if shift.p_fleet.is_some_and(|p| p > 0.05) { ", perhaps by chance" } else { "" };
    let batch = shift.batch.as_ref().map_or_else(String::new, |batch| format!(" in {batch}"));
    format!("{}{size} about {}{batch}{doubt}", shift.probe, day(shift.at))
}

fn drift_text(e: &crate::fit::Estimate) -> String {
    let decimals = decimals_for(e.se).min(6);
    let text = |value| signed(value, decimals, true);
    format!("{} ({:.0} %: {} to {})", text(e.value), 100.0 * e.level, text(e.lower), text(e.upper))
}

#[cfg(test)]
mod tests {
    use crate::fit::Estimate;

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
            assert_eq!(Verdict::of(&finding(lower, upper), None), expected);
        }
        assert_eq!(Verdict::of(&Finding::missing("one check"), None), Verdict::Unknown);
    }

    #[test]
    fn a_shift_at_the_end_is_not_called_true() {
        let last = |age_d, off_sg, se| LastCheck { at: Instant::default(), age_d, off_sg, se };
        let of = |last| Verdict::of(&finding(-0.0003, 0.0002), Some(&last));
        assert_eq!(of(last(100.0, 0.0045, 0.0006)), Verdict::Moved);
        assert_eq!(of(last(100.0, 0.0045, 0.0020)), Verdict::Steady);
        assert_eq!(of(last(150.0, 0.0045, 0.0006)), Verdict::Steady);
        assert_eq!(of(last(10.0, -0.0012, 0.0002)), Verdict::Steady);
    }
}
