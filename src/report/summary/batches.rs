//! What finishes when?

use std::collections::BTreeSet;

use crate::kinetics::{BatchFit, BatchState, Kinetics, Status};
use crate::study::SeasonStudy;

use super::super::reader::Reader;
use super::super::running::{RunningBatch, forecasts_now, results, running};
use super::super::words::{capital, count, percent, some};
use super::Answer;

/// Past batches from which it is said how often forecasts hold.
const FEW: usize = 3;
/// Batches that are named in a sentence.
const MOST_NAMES: usize = 20;

pub(super) fn answer(study: &SeasonStudy, reader: &Reader) -> Answer {
    let mut answer = Answer::new("What finishes when?");
    let kinetics = match study.kinetics.found() {
        Ok(kinetics) => kinetics,
        Err(why) => {
            answer.say(format!("{}. Nothing has been learned of a fermentation yet.", capital(why)));
            return answer;
        }
    };
    answer.say(study.forecasts.why().map_or_else(|| counted(study), |why| format!("{}.", capital(why))));
    let batches = running(study);
    if batches.is_empty() {
        answer.sentences.extend(results(study, reader));
    }
    for batch in batches {
        let said = [batch.name() + ".", batch.now(reader), batch.rest(reader), batch.further(reader)];
        answer.say(said.join(" ").trim_end());
    }
    checked(&mut answer, study, kinetics);
    answer
}

/// How many batches run, and how many are at rest and not ended.
fn counted(study: &SeasonStudy) -> String {
    let (at_rest, running): (Vec<_>, Vec<_>) = running(study).into_iter().partition(RunningBatch::at_rest);
    let counted = match (running.len(), at_rest.len()) {
        (0, 0) => return "No batch is running.".to_owned(),
        (n, 0) => format!("{} running.", count(n, "batch is", "batches are")),
        (0, n) => format!("{} at rest and not ended.", count(n, "batch is", "batches are")),
        (n, m) => format!("{} running, {m} at rest and not ended.", count(n, "batch is", "batches are")),
    };
    format!("{counted} Ready now: the chance that a batch is at rest and not stuck.")
}

/// Other moments, batches that are out of the way, and how the forecasts of the past did.
fn checked(answer: &mut Answer, study: &SeasonStudy, kinetics: &Kinetics) {
    let rows = study.forecasts.done().into_iter().flat_map(|all| &all.rows);
    let (with, without): (Vec<_>, Vec<_>) =
        rows.filter(|row| Some(row.as_of) != study.latest).partition(|row| row.finish.is_some());
    if with.len() + without.len() > 0 {
        let n = count(with.len(), "forecast", "forecasts");
        let none = match without.len() {
            0 => String::new(),
            n => format!(", and {n} without one, with the reason"),
        };
        answer.say(format!("As of the moments asked for: {n} in tables/forecasts.csv{none}."));
    }
    odd(answer, kinetics);
    match study.backtest.found() {
        Ok(backtest) => {
            // A batch that still runs is no past one.
            let now = forecasts_now(study);
            let is_past = |batch: &String| now.iter().all(|row| row.batch != *batch);
            let rows = backtest.rows.iter().filter(|row| is_past(&row.forecast.batch));
            let (of, seen): (BTreeSet<&String>, Vec<bool>) =
                rows.filter_map(|row| Some((&row.forecast.batch, row.covered?))).unzip();
            let hits = seen.iter().filter(|hit| **hit).count();
            if !seen.is_empty() && of.len() < FEW {
                let of = count(of.len(), "past batch", "past batches");
                let n = seen.len();
                answer.say(format!("Tried on {of}, {hits} of {n} forecasts held the time of rest in their range: too few batches to judge."));
            } else if !seen.is_empty() {
                answer.say(format!(
                    "Tried on past batches, {hits} of {} forecasts held the time of rest in their range: {:.0} %, where it should be {}.",
                    seen.len(),
                    100.0 * hits as f64 / seen.len() as f64,
                    percent(backtest.level)
                ));
            }
        }
        Err(why) => answer.say(format!("Forecasts could not be tried on the past: {why}.")),
    }
}

fn odd(answer: &mut Answer, kinetics: &Kinetics) {
    for (status, words) in [
        (Status::Stuck, "Ended stuck, above the limit of their wort"),
        (Status::Restarted, "Fell again after a rest"),
        (Status::TooFewData, "Too few data for a curve"),
    ] {
        // What may be stuck and has not ended stands above, with its chance.
        let is_said = |fit: &BatchFit| status == Status::Stuck && fit.state() == BatchState::AtRest;
        let batches = kinetics.batches.iter().filter(|fit| fit.status == status && !is_said(fit));
        let names: Vec<&str> = batches.map(|fit| fit.batch.as_str()).collect();
        if !names.is_empty() {
            answer.say(format!("{words}: {}.", some(&names, MOST_NAMES)));
        }
    }
}
