//! What finishes when?

use crate::forecast::Forecast;
use crate::kinetics::{Kinetics, Status};
use crate::study::SeasonStudy;

use super::super::words::{count, hour, list, percent};
use super::Answer;

pub(super) fn answer(study: &SeasonStudy) -> Answer {
    let mut answer = Answer::new("What finishes when?");
    match study.forecasts.done() {
        Some(forecasts) => {
            let mut rows: Vec<&Forecast> =
                forecasts.rows.iter().filter(|row| Some(row.as_of) == study.latest).collect();
            rows.sort_by_key(|row| (row.finish.is_none(), row.finish.map(|q| q.p50)));
            match rows.len() {
                0 => answer.say("No batch is running."),
                n => answer.say(format!("{} running.", count(n, "batch", "batches"))),
            }
            if !rows.is_empty() {
                answer.heading(&["batch", "done", "comes to rest (UTC)", "90 %", "terminal gravity", "ready"]);
                answer.rows = rows.into_iter().map(row).collect();
            }
            let asked = forecasts.rows.iter().filter(|row| Some(row.as_of) != study.latest);
            let (with, without): (Vec<_>, Vec<_>) = asked.partition(|row| row.finish.is_some());
            if with.len() + without.len() > 0 {
                let n = count(with.len(), "forecast", "forecasts");
                let none = match without.len() {
                    0 => String::new(),
                    n => format!(", and {n} without one, with the reason"),
                };
                answer.say(format!("As of the moments asked for: {n} in tables/forecasts.csv{none}."));
            }
        }
        None => answer.say(format!("No forecast: {}.", study.forecasts.why().unwrap_or("no reason given"))),
    }
    if let Some(kinetics) = study.kinetics.done() {
        odd(&mut answer, kinetics);
    } else if let Some(why) = study.kinetics.why() {
        answer.say(format!("No fermentation curves: {why}."));
    }
    match study.backtest.done() {
        Some(backtest) => {
            let seen: Vec<bool> = backtest.rows.iter().filter_map(|row| row.covered).collect();
            let hits = seen.iter().filter(|hit| **hit).count();
            if !seen.is_empty() {
                answer.say(format!(
                    "Tried on the past, {hits} of {} forecasts held the finish that was seen ({:.0} %; promised are {:.0} %).",
                    seen.len(),
                    100.0 * hits as f64 / seen.len() as f64,
                    100.0 * backtest.level
                ));
            }
        }
        None => {
            if let Some(why) = study.backtest.why() {
                answer.say(format!("Forecasts could not be tried on the past: {why}."));
            }
        }
    }
    answer
}

fn odd(answer: &mut Answer, kinetics: &Kinetics) {
    for (status, words) in [
        (Status::Stuck, "At rest above the limit of their wort"),
        (Status::Restarted, "Falling again after a rest"),
        (Status::TooFewData, "With too few data for a curve"),
    ] {
        let batches = kinetics.batches.iter().filter(|fit| fit.status == status);
        let names: Vec<&str> = batches.map(|fit| fit.batch.as_str()).collect();
        if !names.is_empty() {
            answer.say(format!("{words}: {}.", list(&names)));
        }
    }
}

fn row(forecast: &Forecast) -> Vec<String> {
    let name = match &forecast.vessel {
        Some(vessel) => format!("{} in {vessel}", forecast.batch),
        None => forecast.batch.clone(),
    };
    let progress = forecast.progress.value().map_or_else(|| "?".to_owned(), |p| format!("{:.0} %", 100.0 * p));
    let (middle, spread) = match forecast.finish {
        Some(q) => (hour(q.p50), format!("{} to {}", hour(q.p05), hour(q.p95))),
        None => ("no forecast".to_owned(), forecast.why.clone()),
    };
    let terminal =
        forecast.terminal_sg.map_or_else(String::new, |q| format!("{:.4} ({:.4} to {:.4})", q.p50, q.p05, q.p95));
    vec![name, progress, middle, spread, terminal, forecast.p_ready.map(percent).unwrap_or_default()]
}
