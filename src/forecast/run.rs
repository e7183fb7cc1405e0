//! Forecasts and their backtest, from the batches, their curves and a source of what was known when.

use rayon::prelude::*;

use crate::error::{Error, Result};
use crate::fit::robust::mean_of;
use crate::fit::{Estimate, Finding};
use crate::gravity::GravitySeries;
use crate::kinetics::Kinetics;
use crate::kinetics::population::PopulationPrior;
use crate::season::Batch;
use crate::units::Instant;

use super::archive::Archive;
use super::coordinates::{attenuation, base};
use super::draws::{Draws, RestRules, even_normals, quantiles, rising, share_by, stream};
use super::known::KnownSeries;
use super::mixture::{BY_PROBES, by_probes, mixture};
use super::posterior::{BatchAsKnown, NO_GRAVITY, Posterior};
use super::quantiles::Quantiles;
use super::result::{Forecast, Forecasts};
use super::rivals::{DAY_H, Situation};
use super::settings::ForecastSettings;
use super::stuck::LOW_ATTENUATION;
use super::tail::{Tail, Told};

/// What a forecast says of itself while no batch has been seen coming to rest, and the most that it then says of being ready.
const NOTHING_LEARNT: &str = "nothing has been learnt yet: no batch has been seen coming to rest";
const READY_UNLEARNT: f64 = 0.5;
/// Why a batch whose readings no beer could show is forecast without them.
const NO_CURVE: &str = "no curve that a beer can have fits the readings";
/// The share of the drop from which on it has.
const SLOWED: f64 = 0.9;
/// The probability from which a batch counts as at rest where little attenuation is remarked on.
const AT_REST: f64 = 0.5;
/// Standard deviations from what other batches tell beyond which readings contradict them.
const CONTRADICTS: f64 = 3.0;
/// Forecasts that are made side by side: those of one time need the same drift, of which only the last moments are kept.
const AT_ONCE: usize = 96;
/// Fewest batches whose times to rest make a forecast before the first reading.
const LEAST_DURATIONS: usize = 5;

assumed! {
    /// A batch does not read thinner than its end by more than this, which a probe may be off.
    const ENDS_ABOVE_SG: f64 = 0.006, "SG";
    /// Dry wine of grapes ends there: no wort does.
    const THINNEST_END_SG: f64 = 0.990, "SG";
}

/// Makes forecasts, and remembers what it has looked at.
pub struct Forecaster<'a> {
    pub(super) settings: &'a ForecastSettings,
    pub(super) batches: &'a [Batch],
    pub(super) kinetics: &'a Kinetics,
    pub(super) source: &'a dyn KnownSeries,
    archive: Archive<'a>,
    told: Vec<Told<'a>>,
}

impl std::fmt::Debug for Forecaster<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "forecaster of {} batches", self.batches.len())
    }
}

impl ForecastSettings {
    /// A forecaster for these batches. `kinetics` are their curves from all data: they say which moments the backtest looks
    /// at and what came, and never enter a forecast as of a moment before the end of the batch they are of.
    ///
    /// # Errors
    /// [`crate::Error::Setting`].
    pub fn forecaster<'a>(
        &'a self,
        batches: &'a [Batch],
        kinetics: &'a Kinetics,
        source: &'a dyn KnownSeries,
    ) -> Result<Forecaster<'a>> {
        self.check()?;
        let archive = Archive::new(batches, kinetics, source, &kinetics.settings);
        Ok(Forecaster { settings: self, batches, kinetics, source, archive, told: Told::all(kinetics) })
    }
}

/// A forecast with what the backtest needs of it.
pub(super) struct ForecastDraft {
    pub forecast: Forecast,
    /// Finish times, hours from pitching, equally likely and rising; empty where there is no forecast.
    pub finishes_h: Vec<f64>,
    /// The same by the rules of thumb.
    pub rivals: [Option<Vec<f64>>; 3],
}

impl Forecaster<'_> {
    /// Forecasts for batches as of moments. A batch that cannot be forecast is a row with its reason.
    pub fn forecasts(&mut self, asked: &[(String, Instant)]) -> Forecasts {
        let asked: Vec<(&str, Instant)> = asked.iter().map(|(batch, as_of)| (batch.as_str(), *as_of)).collect();
        let rows = self.drawn(&asked).into_iter().map(|drawn| drawn.make().forecast).collect();
        Forecasts { rows, outlooks: Vec::new() }
    }

    /// Draws for forecasts of batches as of moments, side by side, with all that they need to know of other batches.
    pub(super) fn drawn(&mut self, asked: &[(&str, Instant)]) -> Vec<DrawnForecast> {
        let mut drawn = Vec::with_capacity(asked.len());
        for asked in asked.chunks(AT_ONCE) {
            let index = |name: &str| self.batches.iter().position(|batch| batch.batch == name);
            let needed: Vec<_> = asked.iter().filter_map(|(name, as_of)| Some((*as_of, index(name)?))).collect();
            self.archive.look(&needed);
            let this = &*self;
            drawn.par_extend(asked.par_iter().map(|(name, as_of)| this.draw(name, *as_of)));
        }
        drawn
    }

    fn draw(&self, name: &str, as_of: Instant) -> DrawnForecast {
        let none = |batch, why: &str| DrawnForecast::Made(Box::new(ForecastDraft::none(name, batch, as_of, why)));
        let Some((index, batch)) = self.batches.iter().enumerate().find(|(_, batch)| batch.batch == name) else {
            return none(None, "there is no batch of this name");
        };
        if as_of < batch.pitched_at {
            return none(Some(batch), "not yet pitched at this moment");
        }
        match self.source.series(batch, as_of) {
            Ok(None) => self.by_durations(batch, as_of, NO_GRAVITY),
            Ok(Some(series)) => match self.draw_from(index, batch, as_of, series) {
                Ok(from) => DrawnForecast::Drawn(Box::new(from)),
                Err(Error::NotEstimable { why, .. }) if [NO_GRAVITY, NO_CURVE].contains(&why.as_str()) => {
                    self.by_durations(batch, as_of, &why)
                }
                Err(error) => none(Some(batch), &error.to_string()),
            },
            Err(error) => none(Some(batch), &error.to_string()),
        }
    }

    /// Without a curve: the batch takes as long as others of its strain have, or of all where there is none.
    fn by_durations(&self, batch: &Batch, as_of: Instant, why: &str) -> DrawnForecast {
        let mut made = ForecastDraft::none(&batch.batch, Some(batch), as_of, why);
        let known_h = Tail::of_strain(&self.told, &batch.strain, &batch.batch, as_of).durations_h;
        if known_h.len() >= LEAST_DURATIONS {
            let now_h = as_of.hours_since(batch.pitched_at);
            let forecast = &mut made.forecast;
            forecast.finish = Some(quantiles(&known_h).map(|hours| batch.pitched_at.plus_hours(hours)));
            forecast.p_finished = Some(share_by(&known_h, now_h));
            forecast.p_finished_in_days = in_days(&known_h, now_h);
            forecast.method = format!("times to rest of {} other batches", known_h.len());
            made.finishes_h = known_h;
        }
        DrawnForecast::Made(Box::new(made))
    }

    fn draw_from(&self, index: usize, batch: &Batch, as_of: Instant, series: GravitySeries) -> Result<FromDraws> {
        let mut own = BatchAsKnown::new(&series, &self.kinetics.settings, self.archive.error_model(as_of))?;
        let fleet = self.archive.fleet(as_of, index).ok_or_else(|| Error::numeric("a forecast", "no look was made"))?;
        let settings = &self.kinetics.settings;
        let elapsed_h = as_of.hours_since(batch.pitched_at);
        // Cold beer does not come to rest: what has not rested by then never did.
        let now_h = series.cooled_hours.map_or(elapsed_h, |cooled| cooled.min(elapsed_h));
        let prior = fleet.prior(&batch.strain);
        let strain = Tail::of_strain(&self.told, &batch.strain, &batch.batch, as_of);
        let mut mixture = mixture(&mut own, &prior, &strain)?;
        let likeliest = mixture.iter().max_by(|a, b| a.weight.total_cmp(&b.weight));
        // No beer is thinner than its end, and none ends where wort cannot.
        let end_sg = likeliest.map_or(1.0, |of| of.posterior.curve(own.ln_pace).terminal_sg);
        if end_sg < *THINNEST_END_SG {
            return Err(Error::not_estimable("a forecast", NO_CURVE));
        }
        let now_sg = own.last_by(f64::INFINITY).map(|(_, drop_sg, _)| own.original_sg - drop_sg);
        let is_possible = now_sg.is_none_or(|sg| end_sg - sg <= *ENDS_ABOVE_SG);
        let fits = is_possible && likeliest.is_none_or(|likeliest| likeliest.posterior.fits);
        let plain = mixture.last().map(|plain| &plain.posterior);
        let (curve, unlike) = plain.map(|plain| (plain.curve(own.ln_pace).tabulate(), unlike(plain, &prior))).unzip();
        let hours_to = |share| curve.as_ref().map_or(now_h, |curve| curve.time_of_progress_h(share));
        let sampled_h = series.samples.iter().map(|sample| sample.hours).fold(0.0, f64::max);
        by_probes(&mut mixture, sampled_h);
        let rules = RestRules {
            ln_pace: own.ln_pace,
            now_h,
            tolerance_sg: settings.common.at_rest.within_sg,
            stuck_above_sg: settings.common.stuck_above_limit_sg,
            strain: &strain,
            slowing: own.slowing(hours_to(0.5), now_h),
            limit: &|original_sg| limit(&series, &prior, original_sg),
        };
        let z = even_normals()?;
        let last_day = series
            .hours
            .iter()
            .zip(&series.temp_c)
            .filter(|(h, t)| (now_h - DAY_H..=now_h).contains(*h) && t.is_finite());
        let now_c = mean_of(last_day.map(|(_, temp_c)| *temp_c));
        let draws = rules.draw(&mixture, &z, self.settings.draws, &mut stream(self.settings.seed, &batch.batch))?;
        let by = |hours| own.last_by(hours).filter(|(at, ..)| *at > 0.0).map(|(_, drop_sg, _)| drop_sg);
        let situation = Situation {
            now_h,
            last_day: by(now_h).zip(by(now_h - DAY_H)),
            whole_drop_sg: attenuation(prior.mean[0]) * (own.original_sg - 1.0),
            mid_h: hours_to(0.5),
            strain: &strain,
        };
        Ok(FromDraws {
            batch: batch.clone(),
            as_of,
            last_reading_h: own.last_reading_h,
            now_h,
            now_c,
            stop_c: settings.stop_c(now_c.unwrap_or(settings.reference_c)),
            others: Others { known: fleet.len(), of_strain: fleet.of_strain(&batch.strain), seen: strain.seen },
            cooled: series.cooled_hours.is_some(),
            shows_curve: own.shows_curve(),
            fits,
            sampled: sampled_h >= hours_to(SLOWED),
            unlimited_sg: series
                .limit_sg
                .is_none()
                .then_some(curve.as_ref().map_or(own.original_sg, |of| of.curve().original_sg)),
            unlike: unlike.unwrap_or_default(),
            rivals: situation.finishes(&z),
            draws,
        })
    }
}

impl DrawnForecast {
    /// The forecast.
    pub fn make(self) -> ForecastDraft {
        let from = match self {
            Self::Drawn(from) => *from,
            Self::Made(made) => return *made,
        };
        let FromDraws { batch, as_of, last_reading_h, now_h, others, cooled, rivals, draws, .. } = from;
        let progress = quantiles(&rising(draws.progress.iter().copied()));
        let finishes_h = rising(draws.rests.iter().map(|rest| rest.finish_h));
        let finish_h = quantiles(&finishes_h);
        let chances = draws.chances(now_h);
        let instant = |hours: f64| batch.pitched_at.plus_hours(hours);
        let Others { known, of_strain, seen } = others;
        let method = format!(
            "own curve with {known} other batches known by then, {of_strain} of the strain; time to rest from {seen} batches"
        );
        let terminal_sg = quantiles(&rising(draws.rests.iter().map(|rest| rest.terminal_sg)));
        let early_attenuation = from
            .unlimited_sg
            .filter(|_| chances.finished >= AT_REST)
            .map(|original_sg| (original_sg - terminal_sg.p50) / (original_sg - 1.0))
            .filter(|share| *share < *LOW_ATTENUATION);
        let early = early_attenuation.map(|share| {
            let percent = 100.0 * share;
            format!("at rest at {percent:.0} % apparent attenuation, unusually little for beer, and its limit was not measured")
        });
        let mut why: Vec<&str> = from.unlike;
        why.extend(early.as_deref());
        if cooled {
            why.push("cooled: as if held at its last fermentation temperature");
        }
        if seen == 0 {
            why.push(NOTHING_LEARNT);
        }
        let ready = (chances.finished - chances.stuck_now).max(0.0);
        let most = match (seen, from.sampled) {
            (0, _) => READY_UNLEARNT,
            (_, false) => BY_PROBES,
            (_, true) => 1.0,
        };
        if seen > 0 && ready > most {
            why.push("no sample since the fall has slowed: probes alone do not tell that it is ready");
        }
        let p_ready = (from.shows_curve && from.fits).then_some(ready.min(most));
        if !from.fits {
            why.push("no curve fits the last readings: whether it is ready cannot be told");
        }
        if !from.shows_curve {
            why.push("too few points for a curve: whether it is ready cannot be told");
        }
        let forecast = Forecast {
            batch: batch.batch.clone(),
            strain: batch.strain.clone(),
            vessel: batch.vessel.clone(),
            as_of,
            last_reading_at: Some(instant(last_reading_h)),
            progress: share(&draws.progress, progress),
            finish: Some(finish_h.map(instant)),
            terminal_sg: Some(terminal_sg),
            p_finished: Some(chances.finished),
            p_stuck: Some(chances.stuck),
            p_stuck_now: Some(chances.stuck_now),
            p_ready,
            p_finished_in_days: in_days(&finishes_h, now_h),
            early_attenuation,
            method,
            why: why.join("; "),
        };
        ForecastDraft { forecast, finishes_h, rivals }
    }
}

/// Probabilities of a rest by each of the coming fourteen days.
fn in_days(finishes_h: &[f64], now_h: f64) -> Vec<f64> {
    (1..=14).map(|day| share_by(finishes_h, now_h + DAY_H * f64::from(day))).collect()
}

/// What a forecast is made from.
pub(super) enum DrawnForecast {
    /// Draws from the posterior.
    Drawn(Box<FromDraws>),
    /// A forecast without draws: by the times of other batches alone, or without numbers and with the reason.
    Made(Box<ForecastDraft>),
}

/// Draws from the posterior of one batch as of a moment.
pub(super) struct FromDraws {
    pub batch: Batch,
    pub as_of: Instant,
    last_reading_h: f64,
    /// Hours from pitching to the moment, or to the cooling.
    pub now_h: f64,
    /// The mean temperature of the last day, C, where any is known.
    pub now_c: Option<f64>,
    /// The temperature below which its yeast stops, C.
    pub stop_c: f64,
    others: Others,
    cooled: bool,
    /// Whether the points suffice for a curve.
    shows_curve: bool,
    /// Whether the most probable curve is where the last readings are.
    fits: bool,
    /// Whether a sample was taken since the fall has slowed.
    sampled: bool,
    /// The original gravity of a batch whose wort has no measured limit.
    unlimited_sg: Option<f64>,
    /// In what the readings contradict other batches.
    unlike: Vec<&'static str>,
    rivals: [Option<Vec<f64>>; 3],
    pub draws: Draws,
}

/// Other batches known by a moment.
struct Others {
    known: usize,
    of_strain: usize,
    /// Those seen coming to rest.
    seen: usize,
}

impl ForecastDraft {
    fn none(name: &str, batch: Option<&Batch>, as_of: Instant, why: &str) -> Self {
        let forecast = Forecast {
            batch: name.to_owned(),
            strain: batch.map(|b| b.strain.clone()).unwrap_or_default(),
            vessel: batch.and_then(|b| b.vessel.clone()),
            as_of,
            last_reading_at: None,
            progress: Finding::missing(why),
            finish: None,
            terminal_sg: None,
            p_finished: None,
            p_stuck: None,
            p_stuck_now: None,
            p_ready: None,
            p_finished_in_days: Vec::new(),
            early_attenuation: None,
            method: "none".to_owned(),
            why: why.to_owned(),
        };
        Self { forecast, finishes_h: Vec::new(), rivals: [None, None, None] }
    }
}

/// In what a most probable curve is further than [`CONTRADICTS`] from what other batches tell.
fn unlike(plain: &Posterior, prior: &PopulationPrior) -> Vec<&'static str> {
    let words = [
        "the readings contradict other batches: they fall further",
        "the readings contradict other batches: they fall more slowly",
        "the readings contradict other batches: they fall less far",
        "the readings contradict other batches: they fall faster",
    ];
    let away = |i: usize| (plain.mean[i + 1] - prior.mean[i]) / prior.covariance[(i, i)].sqrt();
    let aways = [away(0), away(1), -away(0), -away(1)];
    words.into_iter().zip(aways).filter(|(_, away)| *away > CONTRADICTS).map(|(words, _)| words).collect()
}

/// The limit of the wort: measured, or as the prior of a batch that does not stick has it.
fn limit(series: &GravitySeries, prior: &PopulationPrior, original_sg: f64) -> (f64, f64) {
    series.limit_sg.unwrap_or_else(|| {
        let extract = original_sg - 1.0;
        let sd = prior.covariance[(0, 0)].sqrt() * base(0).1;
        (original_sg - attenuation(prior.mean[0]) * extract, sd * extract)
    })
}

fn share(values: &[f64], q: Quantiles<f64>) -> Finding {
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    let se = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
    let method = "posterior draws".into();
    Finding::Estimated(Estimate { value: q.p50, se, lower: q.p05, upper: q.p95, level: 0.90, method })
}
