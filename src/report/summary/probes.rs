//! Which probes may be trusted today?

use crate::calibration::Calibrations;
use crate::drift::{Drift, Shift};
use crate::fit::{Estimate, decimals_for};
use crate::show::ResultTable;
use crate::study::SeasonStudy;

use super::super::reader::Reader;
use super::super::trust::{Trust, due, provisional};
use super::super::words::{count, list, percent, signed, some};
use super::Answer;

/// Probes that are named in a sentence.
const MOST_NAMES: usize = 20;
/// Shifts that are named in a sentence.
const MOST_SHIFTS: usize = 4;

pub(super) fn answer(study: &SeasonStudy, reader: &Reader) -> Answer {
    let mut answer = Answer::new("Which probes may be trusted today?");
    match study.calibrations.found() {
        Ok(calibrations) => calibration(&mut answer, calibrations, study),
        Err(why) => answer.say(format!("No calibration: {why}.")),
    }
    match study.drift.found() {
        Ok(found) => drift(&mut answer, found, study, reader),
        Err(why) => answer.say(format!("Drift is not known: {why}.")),
    }
    answer
}

fn calibration(answer: &mut Answer, found: &Calibrations, study: &SeasonStudy) {
    let mut with: Vec<&str> = found.calibrations.iter().map(|c| c.probe.as_str()).collect();
    with.dedup();
    answer.say(format!(
        "{} of {}.",
        count(found.calibrations.len(), "calibration curve", "calibration curves"),
        count(with.len(), "probe", "probes")
    ));
    let thin: Vec<&str> = with.iter().copied().filter(|probe| provisional(study, probe).is_some()).collect();
    if !thin.is_empty() {
        answer.say(format!("Provisional, as a bath is missing: {}.", some(&thin, MOST_NAMES)));
    }
    let mut without: Vec<&str> = found.without.iter().map(|n| n.probe.as_str()).filter(|p| !with.contains(p)).collect();
    without.dedup();
    if !without.is_empty() {
        answer.say(format!("Without a curve: {}.", some(&without, MOST_NAMES)));
    }
}

fn drift(answer: &mut Answer, found: &Drift, study: &SeasonStudy, reader: &Reader) {
    let limit = reader.scales.limit(found.limit_sg);
    let all = Trust::all(study, found, reader);
    let any = |wanted| all.iter().any(|(_, trust)| *trust == wanted);
    let trusted = all.iter().filter(|(_, trust)| *trust == Trust::Yes);
    let trusted: Vec<&str> = trusted.map(|(probe, _)| probe.probe.as_str()).collect();
    if found.probes.is_empty() {
        answer.say("No probe met a reference after its calibration.");
    } else if !trusted.is_empty() {
        answer.say(format!("To be trusted within {limit}: {}.", some(&trusted, MOST_NAMES)));
    } else if !any(Trust::Provisional) {
        answer.say(format!("None is known to read within {limit}."));
    }
    if any(Trust::No) {
        answer.say("Gravities in this report are corrected for the known errors of probes.");
    }
    let mut shifts: Vec<&Shift> =
        found.shifts.iter().filter(|shift| shift.kind.is_found() && is_shown(shift)).collect();
    shifts.sort_by(|a, b| a.p_probe.unwrap_or(1.0).total_cmp(&b.p_probe.unwrap_or(1.0)));
    let shifted: Vec<String> = shifts.iter().take(MOST_SHIFTS).map(|shift| shift_text(shift, reader)).collect();
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
            let shown = reader.scales.difference("SG");
            let e = shown.estimate(e);
            let [value, lower, upper] = [e.value, e.lower, e.upper].map(|v| signed(v, decimals_for(e.se), true));
            let (level, unit) = (percent(e.level), shown.unit);
            answer.say(format!(
                "The probes drift by {value} {unit} in 30 days on average ({level}: {lower} to {upper})."
            ));
        }
    }
    answer.table = ResultTable::new(&all, usize::MAX)
        .text("probe", |(probe, _)| &probe.probe)
        .text("today", |(_, trust)| trust.words())
        .text("off by", |(probe, _)| probe.offset_sg.estimate().map_or_else(String::new, |e| reader.off(e, true)))
        .text("due", |(probe, _)| due(found, probe, reader))
        .text("over the season", |(probe, _)| &probe.verdict)
        .text("last check", |(probe, _)| probe.last_check.map_or_else(String::new, |last| reader.day(last.at)))
        .count("checks", |(probe, _)| probe.n)
        .titled("");
}

/// How long a calibration of a further probe may be trusted.
fn due_in_words(e: &Estimate) -> String {
    if e.upper < 0.5 {
        return "Curves such as these are not within the limit even on the day of their calibration.".to_owned();
    }
    format!(
        "A new probe of this kind needs a calibration after {:.0} days ({}: {:.0} to {:.0} days).",
        e.value,
        percent(e.level),
        e.lower,
        e.upper
    )
}

/// Whether chance alone shows a shift as strong in more than one season of twenty.
fn is_doubtful(shift: &Shift) -> bool {
    shift.p_fleet.is_some_and(|p| p > 0.05)
}

/// Whether it is said that a probe shifted: the interval of its size leaves out zero. Where one of several probes shifted and
/// nothing tells which, that of each holds zero.
fn is_shown(shift: &Shift) -> bool {
    let is_one_of_several = !shift.or_probes.is_empty() && !is_doubtful(shift);
    is_one_of_several || shift.shift_sg.estimate().is_some_and(|e| e.lower * e.upper > 0.0)
}

/// A shift that was found. Of several probes of which one shifted the size is not said: it would be wrong for each of them.
fn shift_text(shift: &Shift, reader: &Reader) -> String {
    let day = reader.day(shift.at);
    if !shift.or_probes.is_empty() {
        return format!("{} or {}, and nothing tells which, about {day}", shift.probe, shift.or_probes.join(" or "));
    }
    let size = shift.shift_sg.estimate().map_or_else(String::new, |e| format!(" by {}", reader.off(e, true)));
    let doubt = if is_doubtful(shift) { " (perhaps by chance)" } else { "" };
    format!("{}{size} about {day}{doubt}", shift.probe)
}

#[cfg(test)]
#[path = "../../../tests/inside/shifts_said.rs"]
mod tests;
