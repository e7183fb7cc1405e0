//! The batches that run at the end of the data, each in two sentences.

use std::cmp::Reverse;

use crate::forecast::{Forecast, Quantiles};
use crate::kinetics::{BatchFit, BatchState, Status, Trait};
use crate::liquid::{abv_percent, apparent_attenuation};
use crate::study::SeasonStudy;
use crate::units::Instant;

use super::reader::Reader;
use super::words::{list, percent};

/// Data older than this at the end of the season are said to be, hours.
const OLD_H: f64 = 6.0;
/// Most batches that are told of where none runs.
const MOST_RESULTS: usize = 4;
/// A finish known better than this is told to the hour, hours.
const SHARP_H: f64 = 72.0;

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
    /// Batch, yeast and vessel.
    pub(super) fn name(&self) -> String {
        let Forecast { batch, strain, vessel, .. } = self.forecast;
        let vessel = vessel.as_ref().map_or_else(String::new, |vessel| format!(" in {vessel}"));
        format!("{batch}, {strain}{vessel}")
    }

    /// Whether its curve says that it is at rest, and its forecast does not doubt it.
    pub(super) fn at_rest(&self) -> bool {
        let doubted = self.forecast.p_finished.is_some_and(|p| p < 0.5);
        self.fit.is_some_and(|fit| fit.state() == BatchState::AtRest && !doubted)
    }

    /// Its state for a reader.
    pub(super) fn state(&self) -> &'static str {
        match self.fit {
            Some(fit) if fit.state() == BatchState::AtRest && !self.at_rest() => "running, near rest",
            Some(fit) => fit.state_in_words(),
            None => "running",
        }
    }

    /// Where it stands: its state, then what was measured, then what has become of its sugar.
    pub(super) fn now(&self, reader: &Reader) -> String {
        let mut said = Vec::new();
        let level = self.forecast.level();
        let now = self.fit.and_then(|fit| fit.band(&[fit.last_hours], level).ok()?.first().cloned());
        // Of a batch that has not started it is the original gravity, and of its sugar nothing has become anything.
        let idle = self.fit.filter(|fit| fit.status == Status::NotStarted);
        let now = now.or_else(|| idle?.finding(Trait::OriginalSg).estimate().cloned());
        said.extend(now.as_ref().map(|sg| reader.gravity(sg)));
        said.extend(self.temp_c.map(|temp_c| reader.temperature(temp_c)));
        if let Some(fit) = self.fit {
            said.push(format!("day {:.0}", self.forecast.as_of.days_since(fit.pitched_at).ceil()));
        }
        let old = self.forecast.last_reading_at.filter(|at| self.forecast.as_of.hours_since(*at) > OLD_H);
        said.extend(old.map(|at| format!("no reading since {}", reader.hour(at))));
        let mut state = self.state().to_owned();
        if let Some(first) = state.get(..1).map(str::to_uppercase) {
            state.replace_range(..1, &first);
        }
        let mut so_far = Vec::new();
        // A curve that shows its end tells how far it is; before, other batches tell more.
        let ends = self.fit.filter(|fit| fit.finding(Trait::TerminalSg).value().is_some());
        let done = ends.map_or(&self.forecast.progress, |fit| &fit.progress).value();
        if let Some(done) = done.filter(|_| idle.is_none()) {
            so_far.push(format!("{} of its drop", percent(done)));
        }
        let original = self.fit.and_then(|fit| fit.finding(Trait::OriginalSg).value());
        if let Some((original, now)) = original.zip(now).filter(|_| idle.is_none()) {
            let attenuation = apparent_attenuation(original, now.value).ok();
            so_far.extend(attenuation.map(|share| format!("{:.0}\u{a0}% apparent attenuation", 100.0 * share)));
            let alcohol = abv_percent(original, now.value).ok();
            so_far.extend(alcohol.map(|percent| format!("about {:.1}\u{a0}% alcohol", percent.max(0.0))));
        }
        let so_far = if so_far.is_empty() { String::new() } else { format!(" So far {}.", list(&so_far)) };
        format!("{state}: {}.{so_far}", said.join(", "))
    }

    /// When and where it comes to rest; of one that probably has, when it did.
    pub(super) fn finish(&self, reader: &Reader) -> String {
        let Forecast { finish, terminal_sg, why, as_of, .. } = self.forecast;
        let Some(finish) = finish else { return format!("No forecast: {why}.") };
        let when = when(finish, self.forecast.level(), reader);
        let verb = match (self.at_rest(), finish.p50 <= *as_of) {
            (true, true) => "It came to rest",
            (false, true) => "It may have come to rest",
            (true, false) => "The forecast puts its rest",
            (false, false) => "It comes to rest",
        };
        let at = terminal_sg.map(|q| reader.gravity_range([q.p50, q.p05, q.p95]));
        let at = at.map_or_else(String::new, |sg| format!(", at {sg}"));
        let early = self.forecast.early_attenuation.map_or_else(String::new, |share| {
            format!(
                ", but {} apparent attenuation is unusually little for beer, and its limit was not measured",
                percent(share)
            )
        });
        let ready = self.forecast.p_ready.map_or_else(String::new, |p| {
            format!(" Chance that it is ready, at rest and not stuck: {}{early}.", percent(p))
        });
        format!("{verb} {when}{at}.{ready}")
    }
}

fn when(finish: &Quantiles<Instant>, level: f64, reader: &Reader) -> String {
    let sharp = finish.p95.hours_since(finish.p05) < SHARP_H;
    let moment = |at| if sharp { reader.hour(at) } else { reader.day(at) };
    format!("about {} ({}: {} to {})", moment(finish.p50), percent(level), moment(finish.p05), moment(finish.p95))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Finding;
    use crate::study::Study;

    #[test]
    fn ready_does_not_stand_alone_beside_little_attenuation() {
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
            RunningBatch { forecast: &forecast(early), fit: None, temp_c: None }.finish(&Reader::of(&study))
        };
        assert!(said(None).ends_with("at rest and not stuck: 93 %."), "{}", said(None));
        let early = said(Some(0.47));
        assert!(early.contains("93 %, but 47 % apparent attenuation is unusually little for beer"), "{early}");
    }
}
