//! Which probes stay true?

use crate::calibration::Calibrations;
use crate::drift::{Drift, ProbeDrift, ProbeVerdict, Recalibrate, Shift};
use crate::fit::{Estimate, Finding, decimals_for};
use crate::study::SeasonStudy;

use super::super::words::{count, day, list, signed};
use super::Answer;

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
    let mut said: Vec<(usize, String, Vec<&str>)> = Vec::new();
    for probe in &found.probes {
        let (place, words) = sentence(&probe.verdict);
        match said.iter_mut().find(|(other, ..)| *other == place) {
            Some((.., names)) => names.push(&probe.probe),
            None => said.push((place, words, vec![&probe.probe])),
        }
    }
    said.sort_by_key(|(place, ..)| *place);
    let said: Vec<String> = said.iter().map(|(_, words, names)| format!("{words}: {}.", list(names))).collect();
    answer.say(if said.is_empty() { "No probe met a reference twice.".to_owned() } else { said.join(" ") });
    let shifted: Vec<String> = found.shifts.iter().filter(|s| s.kind.is_found()).map(shift_text).collect();
    if !shifted.is_empty() {
        answer.say(format!("Sudden shifts that no event explains: {}.", list(&shifted)));
    }
    if let Some(e) = found.interval_d.estimate() {
        answer.say(due_in_words(e));
    }
    answer.heading(&[
        "probe",
        "verdict",
        "drift, SG per 30 days",
        "last check, on its first curve",
        "off now, on its curve in force",
        "from",
        "calibrate by",
    ]);
    let means = || found.fleet.iter().filter(|term| term.term.starts_with("mean_drift"));
    let drifts = found.probes.iter().map(|probe| &probe.drift_sg_per_30d).chain(means().map(|term| &term.finding));
    let decimals = decimals_of_all(drifts.filter_map(Finding::se));
    answer.rows = found.probes.iter().map(|probe| row(found, probe, decimals)).collect();
    for term in means() {
        if let Some(e) = term.finding.estimate() {
            answer.rows.push(vec![
                "the fleet".into(),
                String::new(),
                drift_text(e, decimals),
                String::new(),
                String::new(),
                count(found.probes.len(), "probe", "probes"),
                String::new(),
            ]);
        }
    }
}

/// The place of a verdict in the answer, and how the sentence on its probes begins.
fn sentence(verdict: &ProbeVerdict) -> (usize, String) {
    match verdict {
        ProbeVerdict::Steady { within_sg_per_30d } => {
            (0, format!("Stay true within {within_sg_per_30d} SG per 30 days"))
        }
        ProbeVerdict::Due => (1, "Drift as little, but are due for a calibration by now".to_owned()),
        ProbeVerdict::OffAtLastCheck(_) => (2, "Without a steady drift, but far off at the last check".to_owned()),
        ProbeVerdict::Jumped { .. } => (3, "True but for sudden shifts".to_owned()),
        ProbeVerdict::Rises => (4, "Read ever higher".to_owned()),
        ProbeVerdict::Falls => (5, "Read ever lower".to_owned()),
        ProbeVerdict::NotSettled => (6, "Not settled, as too little is known".to_owned()),
        ProbeVerdict::Unknown { .. } => (7, "Nothing can be said".to_owned()),
    }
}

/// How long a calibration of a further probe may be trusted.
pub(in crate::report) fn due_in_words(e: &Estimate) -> String {
    if e.upper < 0.5 {
        return "A curve as these are does not keep to the limit even on the day of its calibration.".to_owned();
    }
    format!(
        "A further probe like these, of which nothing is known yet, is due {:.0} days after a calibration ({:.0} %: {:.0} to {:.0} \
         days).",
        e.value,
        100.0 * e.level,
        e.lower,
        e.upper
    )
}

fn row(found: &Drift, probe: &ProbeDrift, decimals: usize) -> Vec<String> {
    let drift = match &probe.drift_sg_per_30d {
        Finding::Estimated(e) => drift_text(e, decimals),
        Finding::Fixed { value, why } => format!("held at {value}: {why}"),
        Finding::NotEstimable { why } => why.clone(),
    };
    let last = probe.last_check.map_or_else(String::new, |l| format!("{}, {}", signed(l.off_sg, 4, true), day(l.at)));
    let off = probe.offset_sg.estimate().map_or_else(String::new, |e| {
        let decimals = decimals_for(e.se).min(4);
        format!("{} \u{b1} {:.decimals$}", signed(e.value, decimals, true), e.se)
    });
    let due = match &probe.recalibrate {
        Recalibrate::NotEstimable(_) => String::new(),
        _ => found.calibrate_by(probe),
    };
    vec![probe.probe.clone(), probe.verdict.to_string(), drift, last, off, count(probe.n, "check", "checks"), due]
}

/// A shift that was found, with a word of doubt where chance alone shows one as strong in more than one season of twenty.
fn shift_text(shift: &Shift) -> String {
    let size = shift.shift_sg.value().map_or_else(String::new, |sg| format!(" by {}", signed(sg, 4, true)));
    let doubt = if shift.p_fleet.is_some_and(|p| p > 0.05) { " (perhaps by chance)" } else { "" };
    let batch = shift.batch.as_ref().map_or_else(String::new, |batch| format!(" in {batch}"));
    let others = match shift.or_probes.is_empty() {
        true => String::new(),
        false => format!(" (or instead {})", shift.or_probes.join(" or ")),
    };
    format!("{}{others}{size} about {}{batch}{doubt}", shift.probe, day(shift.at))
}

/// Decimals of a column of one quantity: those of its middle error.
fn decimals_of_all(errors: impl Iterator<Item = f64>) -> usize {
    let mut errors: Vec<f64> = errors.collect();
    errors.sort_by(f64::total_cmp);
    errors.get(errors.len() / 2).map_or(5, |se| decimals_for(*se)).min(5)
}

fn drift_text(e: &Estimate, decimals: usize) -> String {
    let text = |value| signed(value, decimals, true);
    format!("{} ({:.0} %: {} to {})", text(e.value), 100.0 * e.level, text(e.lower), text(e.upper))
}
