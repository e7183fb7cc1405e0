//! The batches that run at the end of the data, each in a few sentences.

use std::cmp::Reverse;

use crate::fit::Estimate;
use crate::forecast::{Forecast, Quantiles};
use crate::kinetics::{BatchFit, BatchState, Status, Trait};
use crate::liquid::{abv_percent, apparent_attenuation};
use crate::study::SeasonStudy;
use crate::units::Instant;

use super::reader::Reader;
use super::words::{capital, percent};

/// Data older than this at the end of the season are said to be, hours.
const OLD_H: f64 = 6.0;
/// Most batches that are told of where none runs.
const MOST_RESULTS: usize = 4;
/// A finish known better than this is told to the hour, hours.
const SHARP_H: f64 = 48.0;
/// Chance of being stuck from which a batch is worth a look.
const MAYBE_STUCK: f64 = 0.2;

/// One running batch.
#[derive(Debug, Clone, Copy)]
pub(super) struct RunningBatch<'a> {
    pub(super) forecast: &'a Forecast,
    pub(super) fit: Option<&'a BatchFit>,
    pub(super) temp_c: Option<f64>,
}

/// The forecasts of the running batches as of the newest data, each once: others may have been asked for.
pub(super) fn forecasts_now(study: &SeasonStudy) -> Vec<&Forecast> {
    let rows = study.forecasts.done().into_iter().flat_map(|all| &all.rows);
    let has_ended = |batch: &str| study.season.batch(batch).is_some_and(|batch| batch.ended_at.is_some());
    let is_open =
        |batch: &str| study.kinetics.done().and_then(|found| found.get(batch)).is_some_and(|fit| fit.left_open);
    let mut now: Vec<&Forecast> = Vec::new();
    for row in rows.filter(|row| Some(row.as_of) == study.latest) {
        let is_new = now.iter().all(|other| other.batch != row.batch);
        if is_new && !has_ended(&row.batch) && !is_open(&row.batch) {
            now.push(row);
        }
    }
    now
}

/// The running batches, the first to finish first.
pub(super) fn running(study: &SeasonStudy) -> Vec<RunningBatch<'_>> {
    let mut now = forecasts_now(study);
    now.sort_by_key(|row| (row.finish.is_none(), row.finish.map(|q| q.p50)));
    let fit = |row: &Forecast| study.kinetics.done().and_then(|found| found.get(&row.batch));
    let temp_c = |row: &Forecast| {
        let series = study.series.iter().find(|series| series.batch == row.batch)?;
        series.temp_c.iter().rfind(|temp| temp.is_finite()).copied()
    };
    now.into_iter().map(|forecast| RunningBatch { forecast, fit: fit(forecast), temp_c: temp_c(forecast) }).collect()
}

/// The batches pitched last and what became of them, a sentence each: what there is to say where none runs.
pub(super) fn results(study: &SeasonStudy, reader: &Reader) -> Vec<String> {
    let mut fits: Vec<&BatchFit> = study.kinetics.done().into_iter().flat_map(|found| &found.batches).collect();
    fits.sort_by_key(|fit| Reverse(fit.pitched_at));
    let result = |fit: &BatchFit| {
        let [original, terminal] = [Trait::OriginalSg, Trait::TerminalSg].map(|which| fit.finding(which).estimate());
        Some(format!(
            "{}, {}, {}: original {}, terminal {}, {:.0}\u{a0}% apparent attenuation, about {:.1}\u{a0}% alcohol.",
            fit.batch,
            fit.strain,
            fit.state_in_words(),
            reader.gravity(original?),
            reader.gravity(terminal?),
            100.0 * fit.finding(Trait::Attenuation).value()?,
            fit.finding(Trait::AbvPercent).value()?
        ))
    };
    let more = fits.len().saturating_sub(MOST_RESULTS);
    let more = (more > 0).then(|| format!("Earlier batches, {more} in all, stand on the page."));
    fits.into_iter().take(MOST_RESULTS).filter_map(result).chain(more).collect()
}

impl RunningBatch<'_> {
    /// Batch, strain, vessel and age.
    pub(super) fn name(&self) -> String {
        let Forecast { batch, strain, vessel, as_of, .. } = self.forecast;
        let vessel = vessel.as_ref().map_or_else(String::new, |vessel| format!(" in {vessel}"));
        let day = |fit: &BatchFit| format!(", day {:.0}", as_of.days_since(fit.pitched_at).ceil());
        format!("{batch}, {strain}{vessel}{}", self.fit.map_or_else(String::new, day))
    }

    /// Whether its curve says that it is at rest, and its forecast does not doubt it.
    pub(super) fn at_rest(&self) -> bool {
        let doubted = self.forecast.p_finished.is_some_and(|p| p < 0.5);
        self.fit.is_some_and(|fit| fit.state() == BatchState::AtRest && !doubted)
    }

    /// Its state for a reader.
    pub(super) fn state(&self) -> &'static str {
        let maybe_stuck = self.early() || self.maybe_stuck().is_some();
        match self.fit {
            Some(_) if self.at_rest() && maybe_stuck => "at rest, perhaps stuck",
            Some(fit) if fit.state() == BatchState::AtRest && !self.at_rest() => "running, near rest",
            Some(fit) => fit.state_in_words(),
            None => "running",
        }
    }

    /// The chance that it comes to rest too high, where that is worth a look.
    pub(super) fn maybe_stuck(&self) -> Option<f64> {
        self.forecast.p_stuck.filter(|p| *p >= MAYBE_STUCK)
    }

    /// Whether it seems to rest at an attenuation that is unusually little.
    pub(super) fn early(&self) -> bool {
        self.forecast.early_attenuation.is_some()
    }

    /// Whether it was cooled before it came to rest.
    pub(super) fn cooled_early(&self) -> bool {
        let cooled = |fit: &BatchFit| fit.cooled_hours.is_some_and(|hours| fit.instant(hours) <= self.forecast.as_of);
        self.fit.is_some_and(cooled) && !self.at_rest()
    }

    /// Whether it has not started: of its sugar nothing has become anything.
    fn idle(&self) -> bool {
        self.fit.is_some_and(|fit| fit.status == Status::NotStarted)
    }

    /// Its gravity at the last reading of its curve.
    fn gravity(&self) -> Option<Estimate> {
        let now = self.fit?.band(&[self.fit?.last_hours], self.forecast.level()).ok();
        let now = now.and_then(|band| band.first().cloned());
        now.or_else(|| self.fit?.finding(Trait::OriginalSg).estimate().filter(|_| self.idle()).cloned())
    }

    /// Its original gravity, once it has started.
    fn original(&self) -> Option<f64> {
        self.fit?.finding(Trait::OriginalSg).value().filter(|_| !self.idle())
    }

    fn attenuation(&self) -> Option<f64> {
        apparent_attenuation(self.original()?, self.gravity()?.value).ok()
    }

    /// Where it stands: its state, what was measured, and what has become of its sugar.
    pub(super) fn now(&self, reader: &Reader) -> String {
        let mut said = Vec::new();
        let now = self.gravity();
        said.extend(now.as_ref().map(|sg| reader.gravity(sg)));
        said.extend(self.temp_c.map(|temp_c| reader.temperature(temp_c)));
        said.extend(self.attenuation().map(|share| format!("{} attenuation", percent(share))));
        let alcohol = self.original().zip(now).and_then(|(original, now)| abv_percent(original, now.value).ok());
        said.extend(alcohol.map(|percent| format!("{:.1}\u{a0}% alcohol", percent.max(0.0))));
        let old = self.forecast.last_reading_at.filter(|at| self.forecast.as_of.hours_since(*at) > OLD_H);
        said.extend(old.map(|at| format!("no reading since {}", reader.hour(at))));
        let colon = if said.is_empty() { "" } else { ": " };
        format!("{}{colon}{}.", capital(self.state()), said.join(", "))
    }

    /// When it comes to rest, or did, and how likely it is ready.
    pub(super) fn rest(&self, reader: &Reader) -> String {
        let Forecast { finish, why, as_of, p_ready, .. } = self.forecast;
        let Some(finish) = finish else { return format!("No forecast: {why}.") };
        let verb = match (self.at_rest(), finish.p50 <= *as_of) {
            (true, _) if finish.p95 > *as_of => "It is at rest or nearly so:",
            (true, _) => "It came to rest",
            (false, _) if self.idle() => "If it starts as others did, it comes to rest",
            (false, true) if self.cooled_early() => "Kept warm, it would have come to rest",
            (false, false) if self.cooled_early() => "Kept warm, it would come to rest",
            (false, true) => "It may have come to rest",
            (false, false) => "It comes to rest",
        };
        let ready = match (self.early(), p_ready) {
            (true, _) => " Whether it is ready is open: its attenuation is unusually little for beer.".to_owned(),
            (false, Some(p)) => format!(" Ready now: {}.", percent(*p)),
            (false, None) => String::new(),
        };
        format!("{verb} {}.{ready}", when(finish, self.forecast.level(), reader))
    }

    /// How far it has come, and where it ends.
    pub(super) fn further(&self, reader: &Reader) -> String {
        let Forecast { terminal_sg, p_ready, progress, .. } = self.forecast;
        let mut said = Vec::new();
        // A curve that shows its end tells how far it is; before, other batches tell more.
        let ends = self.fit.filter(|fit| fit.finding(Trait::TerminalSg).value().is_some());
        let done = ends.map_or(progress, |fit| &fit.progress).value().filter(|_| !self.idle());
        said.extend(done.map(|done| format!("{} of its drop is done.", capital(&percent(done)))));
        // At rest its own curve knows best, and is what the batch's part of the page shows.
        let seen = ends.filter(|_| self.at_rest()).and_then(|fit| fit.finding(Trait::TerminalSg).estimate());
        let foretold = terminal_sg.as_ref().map(|q| (self.forecast.level(), q.p05, q.p95));
        said.extend(seen.map(|e| (e.level, e.lower, e.upper)).or(foretold).map(|(level, low, high)| {
            format!("Terminal gravity ({}): {}.", percent(level), reader.gravity_range(low, high))
        }));
        said.extend(p_ready.filter(|_| self.early()).map(|p| {
            format!("The limit of its wort was not measured. If its yeast always ends so early, the chance that it is ready is {}.", percent(p))
        }));
        said.join(" ")
    }
}

fn when(finish: &Quantiles<Instant>, level: f64, reader: &Reader) -> String {
    let sharp = finish.p95.hours_since(finish.p05) < SHARP_H;
    let [from, middle, to] =
        [finish.p05, finish.p50, finish.p95].map(|at| if sharp { reader.hour(at) } else { reader.day(at) });
    // The month is said once.
    let from = from.rsplit_once(' ').filter(|(_, month)| !sharp && to.ends_with(month)).map_or(&*from, |(day, _)| day);
    format!("about {middle} ({}: {from} to {to})", percent(level))
}

#[cfg(test)]
#[path = "../../tests/inside/running_batch.rs"]
mod tests;
