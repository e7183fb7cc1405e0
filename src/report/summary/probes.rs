//! Which probes stay true?

use crate::calibration::Calibrations;
use crate::drift::{Drift, LastCheck, ProbeDrift, ProbeVerdict, Recalibrate, Shift};
use crate::fit::{Estimate, decimals_for};
use crate::show::ResultTable;
use crate::study::SeasonStudy;

use super::super::words::{count, day, list, percent, signed};
use super::Answer;

/// Shifts that are named in a sentence.
const MOST_SHIFTS: usize = 4;

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
    let mut shifts: Vec<&Shift> = found.shifts.iter().filter(|shift| shift.kind.is_found()).collect();
    shifts.sort_by(|a, b| a.p_probe.unwrap_or(1.0).total_cmp(&b.p_probe.unwrap_or(1.0)));
    let shifted: Vec<String> = shifts.iter().take(MOST_SHIFTS).map(|shift| shift_text(shift)).collect();
    if !shifted.is_empty() {
        let more = shifts.len() - shifted.len();
        let more = if more > 0 { format!("; and {more} more in tables/drift_shifts.csv") } else { String::new() };
        answer.say(format!("Sudden shifts that no event explains: {}{more}.", list(&shifted)));
    }
    if let Some(e) = found.interval_d.estimate() {
        answer.say(due_in_words(e));
    }
    for mean in found.fleet.iter().filter(|term| term.term.starts_with("mean_drift")) {
        if let Some(e) = mean.finding.estimate() {
            let decimals = decimals_for(e.se);
            let [value, lower, upper] = [e.value, e.lower, e.upper].map(|v| signed(v, decimals, true));
            let level = percent(e.level);
            answer
                .say(format!("The mean drift of the probes is {value} SG per 30 days ({level}: {lower} to {upper})."));
        }
    }
    answer.table = ResultTable::new(&found.probes, usize::MAX)
        .text("probe", |probe| &probe.probe)
        .text("verdict", |probe| &probe.verdict)
        .text("off now", off_now)
        .text("calibrate by", |probe| due(found, probe))
        .estimate("drift", "SG per 30 days", |probe| probe.drift_sg_per_30d.estimate())
        .text("last check", |probe| probe.last_check.map_or_else(String::new, last_text))
        .count("checks", |probe| probe.n)
        .titled("");
}

/// Its error on the curve in force.
fn off_now(probe: &ProbeDrift) -> String {
    probe.offset_sg.estimate().map_or_else(String::new, |e| {
        let decimals = decimals_for(e.se).min(4);
        format!("{} \u{b1} {:.decimals$}", signed(e.value, decimals, true), e.se)
    })
}

fn due(found: &Drift, probe: &ProbeDrift) -> String {
    match &probe.recalibrate {
        Recalibrate::NotEstimable(_) => String::new(),
        _ => found.calibrate_by(probe),
    }
}

/// The last check, on the first curve.
fn last_text(last: LastCheck) -> String {
    format!("{}, {}", signed(last.off_sg, 4, true), day(last.at))
}

/// The place of a verdict in the answer, and how the sentence on its probes begins.
fn sentence(verdict: &ProbeVerdict) -> (usize, String) {
    match verdict {
        ProbeVerdict::Steady { within_sg_per_30d } => {
            (0, format!("Stay true within {within_sg_per_30d} SG per 30 days"))
        }
        ProbeVerdict::Due => (1, "Hardly drift, but are due for a calibration".to_owned()),
        ProbeVerdict::OffAtLastCheck(_) => (2, "No steady drift, but far off at the last check".to_owned()),
        ProbeVerdict::Jumped { .. } => (3, "Shifted suddenly, and otherwise hardly drift".to_owned()),
        ProbeVerdict::Rises => (4, "Read ever higher".to_owned()),
        ProbeVerdict::Falls => (5, "Read ever lower".to_owned()),
        ProbeVerdict::NotSettled => (6, "Too little known to say whether they drift".to_owned()),
        ProbeVerdict::Unknown { .. } => (7, "Without an estimate".to_owned()),
    }
}

/// How long a calibration of a further probe may be trusted.
fn due_in_words(e: &Estimate) -> String {
    if e.upper < 0.5 {
        return "A curve as these are does not keep to the limit even on the day of its calibration.".to_owned();
    }
    format!(
        "A new probe of this kind needs a calibration after {:.0} days ({}: {:.0} to {:.0} days).",
        e.value,
        percent(e.level),
        e.lower,
        e.upper
    )
}

/// A shift that was found, with a word of doubt where chance alone shows one as strong in more than one season of twenty.
fn shift_text(shift: &Shift) -> String {
    let size = shift.shift_sg.value().map_or_else(String::new, |sg| format!(" by {}", signed(sg, 4, true)));
    let doubt = if shift.p_fleet.is_some_and(|p| p > 0.05) { " (perhaps by chance)" } else { "" };
    let others = match shift.or_probes.is_empty() {
        true => String::new(),
        false => format!(" (or instead {})", shift.or_probes.join(" or ")),
    };
    format!("{}{others}{size} about {}{doubt}", shift.probe, day(shift.at))
}
