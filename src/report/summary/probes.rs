//! Which probes stay true?

use crate::calibration::Calibrations;
use crate::drift::{Drift, ProbeDrift};
use crate::fit::{Finding, decimals_for};
use crate::study::SeasonStudy;

use super::super::words::{count, list, signed};
use super::Answer;

/// A drift that stays within this of zero is called steady, SG per 30 days: the least step that a common hydrometer
/// shows.
const STEADY_SG_PER_30D: f64 = 0.001;

/// What the interval of a drift lets one say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::report) enum Verdict {
    /// Its interval lies above zero.
    Rises,
    /// Its interval lies below zero.
    Falls,
    /// Its interval holds zero and nothing beyond the tolerance.
    Steady,
    /// Its interval holds zero and more than the tolerance.
    Open,
    /// There is no estimate.
    Unknown,
}

impl Verdict {
    pub(in crate::report) fn of(finding: &Finding) -> Self {
        match finding.estimate() {
            None => Self::Unknown,
            Some(e) if e.lower > 0.0 => Self::Rises,
            Some(e) if e.upper < 0.0 => Self::Falls,
            Some(e) if e.lower >= -STEADY_SG_PER_30D && e.upper <= STEADY_SG_PER_30D => Self::Steady,
            Some(_) => Self::Open,
        }
    }

    pub(in crate::report) fn word(self) -> &'static str {
        match self {
            Self::Rises => "reads ever higher",
            Self::Falls => "reads ever lower",
            Self::Steady => "stays true",
            Self::Open => "not settled",
            Self::Unknown => "not known",
        }
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
    for verdict in [Verdict::Steady, Verdict::Rises, Verdict::Falls, Verdict::Open, Verdict::Unknown] {
        let such = |probe: &&ProbeDrift| Verdict::of(&probe.drift_sg_per_30d) == verdict;
        let names: Vec<&str> = found.probes.iter().filter(such).map(|probe| probe.probe.as_str()).collect();
        let words = match verdict {
            Verdict::Steady => format!("Stay true within {STEADY_SG_PER_30D} SG per 30 days"),
            Verdict::Rises => "Read ever higher".to_owned(),
            Verdict::Falls => "Read ever lower".to_owned(),
            Verdict::Open => "Not settled, as too little is known".to_owned(),
            Verdict::Unknown => "Nothing can be said".to_owned(),
        };
        if !names.is_empty() {
            said.push(format!("{words}: {}.", list(&names)));
        }
    }
    answer.say(if said.is_empty() { "No probe met a reference twice.".to_owned() } else { said.join(" ") });
    answer.heading(&["probe", "verdict", "drift, SG per 30 days", "from"]);
    answer.rows = found.probes.iter().map(row).collect();
    for term in found.fleet.iter().filter(|term| term.term.starts_with("mean_drift")) {
        if let Some(e) = term.finding.estimate() {
            answer.rows.push(vec![
                "the fleet".into(),
                String::new(),
                drift_text(e),
                count(found.probes.len(), "probe", "probes"),
            ]);
        }
    }
}

fn row(probe: &ProbeDrift) -> Vec<String> {
    let drift = match &probe.drift_sg_per_30d {
        Finding::Estimated(e) => drift_text(e),
        Finding::Fixed { value, why } => format!("held at {value}: {why}"),
        Finding::NotEstimable { why } => why.clone(),
    };
    let verdict = Verdict::of(&probe.drift_sg_per_30d).word();
    vec![probe.probe.clone(), verdict.to_owned(), drift, count(probe.n, "check", "checks")]
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
            (0.0001, 0.0009, Verdict::Rises),
            (-0.003, -0.001, Verdict::Falls),
        ];
        for (lower, upper, expected) in cases {
            assert_eq!(Verdict::of(&finding(lower, upper)), expected);
        }
        assert_eq!(Verdict::of(&Finding::missing("one check")), Verdict::Unknown);
    }
}
