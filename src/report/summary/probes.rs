//! Which probes may be trusted today?

use std::collections::BTreeMap;

use crate::calibration::Calibrations;
use crate::drift::{Drift, ProbeDrift, Shift};
use crate::fit::{Estimate, decimals_for};
use crate::show::ResultTable;
use crate::study::SeasonStudy;

use super::super::reader::Reader;
use super::super::trust::{Trust, calibrate_by};
use super::super::words::{count, list, percent, signed};
use super::Answer;

/// Shifts that are named in a sentence.
const MOST_SHIFTS: usize = 4;

pub(super) fn answer(study: &SeasonStudy) -> Answer {
    let mut answer = Answer::new("Which probes may be trusted today?");
    match study.calibrations.found() {
        Ok(calibrations) => calibration(&mut answer, calibrations),
        Err(why) => answer.say(format!("No calibration: {why}.")),
    }
    match study.drift.found() {
        Ok(found) => drift(&mut answer, found, &Reader::of(study)),
        Err(why) => answer.say(format!("No drift: {why}.")),
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
}

fn drift(answer: &mut Answer, found: &Drift, reader: &Reader) {
    let mut said: BTreeMap<Trust, Vec<&str>> = BTreeMap::new();
    for probe in &found.probes {
        said.entry(Trust::of(found, probe, reader)).or_default().push(&probe.probe);
    }
    for (trust, names) in &said {
        answer.say(format!("{}: {}.", trust.sentence(found.limit_sg), list(names)));
    }
    if said.contains_key(&Trust::No) {
        answer.say("The gravities in this report are corrected for what is known of that.");
    }
    if said.is_empty() {
        answer.say("No probe met a reference after its calibration.");
    }
    let mut shifts: Vec<&Shift> = found.shifts.iter().filter(|shift| shift.kind.is_found()).collect();
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
            let decimals = decimals_for(e.se);
            let [value, lower, upper] = [e.value, e.lower, e.upper].map(|v| signed(v, decimals, true));
            let level = percent(e.level);
            answer
                .say(format!("The mean drift of the probes is {value} SG per 30 days ({level}: {lower} to {upper})."));
        }
    }
    answer.table = ResultTable::new(&found.probes, usize::MAX)
        .text("probe", |probe| &probe.probe)
        .text("today", |probe| Trust::of(found, probe, reader).words())
        .text("off by", off_now)
        .text("calibrate by", |probe| calibrate_by(found, probe, reader))
        .text("over the season", |probe| &probe.verdict)
        .text("last check", |probe| probe.last_check.map_or_else(String::new, |last| reader.day(last.at)))
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
fn shift_text(shift: &Shift, reader: &Reader) -> String {
    let size = shift.shift_sg.value().map_or_else(String::new, |sg| format!(" by {}", signed(sg, 4, true)));
    let doubt = if shift.p_fleet.is_some_and(|p| p > 0.05) { " (perhaps by chance)" } else { "" };
    let others = match shift.or_probes.is_empty() {
        true => String::new(),
        false => format!(" (or instead {})", shift.or_probes.join(" or ")),
    };
    format!("{}{others}{size} about {}{doubt}", shift.probe, reader.day(shift.at))
}
