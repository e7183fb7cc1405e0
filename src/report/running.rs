//! The batches that run at the end of the data, each in a few sentences.

use std::cmp::Reverse;

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
    temp_c: Option<f64>,
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
    fits.into_iter().take(MOST_RESULTS).filter_map(result).collect()
}

impl RunningBatch<'_> {
    /// Batch, yeast, vessel and age.
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
        let maybe_stuck = self.forecast.early_attenuation.is_some() || self.maybe_stuck().is_some();
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

    /// Of a batch that has not started, of whose sugar nothing has become anything.
    fn idle(&self) -> Option<&BatchFit> {
        self.fit.filter(|fit| fit.status == Status::NotStarted)
    }

    /// Where it stands: its state, what was measured, and what has become of its sugar.
    pub(super) fn now(&self, reader: &Reader) -> String {
        let mut said = Vec::new();
        let level = self.forecast.level();
        let now = self.fit.and_then(|fit| fit.band(&[fit.last_hours], level).ok()?.first().cloned());
        let idle = self.idle();
        let now = now.or_else(|| idle?.finding(Trait::OriginalSg).estimate().cloned());
        said.extend(now.as_ref().map(|sg| reader.gravity(sg)));
        said.extend(self.temp_c.map(|temp_c| reader.temperature(temp_c)));
        let original = self.fit.and_then(|fit| fit.finding(Trait::OriginalSg).value());
        if let Some((original, now)) = original.zip(now).filter(|_| idle.is_none()) {
            let attenuation = apparent_attenuation(original, now.value).ok();
            said.extend(attenuation.map(|share| format!("{} attenuation", percent(share))));
            let alcohol = abv_percent(original, now.value).ok();
            said.extend(alcohol.map(|percent| format!("{:.1}\u{a0}% alcohol", percent.max(0.0))));
        }
        let old = self.forecast.last_reading_at.filter(|at| self.forecast.as_of.hours_since(*at) > OLD_H);
        said.extend(old.map(|at| format!("no reading since {}", reader.hour(at))));
        format!("{}: {}.", capital(self.state()), said.join(", "))
    }

    /// When it comes to rest, or did, and how likely it is ready.
    pub(super) fn rest(&self, reader: &Reader) -> String {
        let Forecast { finish, why, as_of, p_ready, early_attenuation, .. } = self.forecast;
        let Some(finish) = finish else { return format!("No forecast: {why}.") };
        let verb = match (self.at_rest(), finish.p50 <= *as_of) {
            (true, true) => "It came to rest",
            (false, true) => "It may have come to rest",
            (true, false) => "The forecast puts its rest",
            (false, false) => "It comes to rest",
        };
        let ready = match (early_attenuation, p_ready) {
            (Some(_), _) => " Whether it is ready is open: its attenuation is unusually little for beer.".to_owned(),
            (None, Some(p)) => format!(" Ready now: {}.", percent(*p)),
            (None, None) => String::new(),
        };
        format!("{verb} {}.{ready}", when(finish, self.forecast.level(), reader))
    }

    /// How far it has come, and where it ends.
    pub(super) fn further(&self, reader: &Reader) -> String {
        let Forecast { terminal_sg, p_ready, early_attenuation, progress, .. } = self.forecast;
        let mut said = Vec::new();
        // A curve that shows its end tells how far it is; before, other batches tell more.
        let ends = self.fit.filter(|fit| fit.finding(Trait::TerminalSg).value().is_some());
        let done = ends.map_or(progress, |fit| &fit.progress).value().filter(|_| self.idle().is_none());
        said.extend(done.map(|done| format!("So far {} of its drop.", percent(done))));
        let range = |q: &Quantiles<f64>| {
            format!("Terminal gravity ({}): {}.", percent(self.forecast.level()), reader.gravity_range(q.p05, q.p95))
        };
        said.extend(terminal_sg.as_ref().map(range));
        said.extend(p_ready.filter(|_| early_attenuation.is_some()).map(|p| {
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
mod tests {
    use super::*;
    use crate::fit::Finding;
    use crate::study::Study;

    #[test]
    fn ready_is_not_said_beside_little_attenuation() {
        let study = Study::of(crate::season::Season::default()).run().unwrap();
        let at = Instant::parse("2031-01-29T12:00:00Z").unwrap();
        let at_once = Quantiles { p05: at, p25: at, p50: at, p75: at, p95: at };
        let forecast = |early_attenuation: Option<f64>| Forecast {
            batch: "b10".to_owned(),
            strain: "scurvygrass".to_owned(),
            vessel: None,
            as_of: at.plus_days(1.0),
            last_reading_at: Some(at),
            progress: Finding::missing("test"),
            finish: Some(at_once),
            terminal_sg: None,
            p_finished: Some(0.97),
            p_stuck: Some(0.04),
            p_stuck_now: Some(0.04),
            p_ready: Some(0.93),
            p_finished_in_days: Vec::new(),
            early_attenuation,
            method: String::new(),
            why: String::new(),
        };
        let said = |early: Option<f64>| {
            let (forecast, reader) = (forecast(early), Reader::of(&study));
            let one = RunningBatch { forecast: &forecast, fit: None, temp_c: None };
            format!("{} {}", one.rest(&reader), one.further(&reader))
        };
        assert!(said(None).contains("Ready now: 93 %."), "{}", said(None));
        let early = said(Some(0.47));
        assert!(early.contains("Whether it is ready is open: its attenuation is unusually little"), "{early}");
        assert!(!early.contains("Ready now") && early.ends_with("ready is 93 %."), "{early}");
    }
}
