//! Forecasts and their backtest, from the batches, their curves and a source of what was known when.

use rayon::prelude::*;

use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding};
use crate::gravity::GravitySeries;
use crate::kinetics::Kinetics;
use crate::kinetics::population::{Population, PopulationPrior};
use crate::season::Batch;
use crate::units::Instant;

use super::archive::Archive;
use super::coordinates::{attenuation, base, worth};
use super::draws::{Draws, draw, quantiles, stream};
use super::known::KnownSeries;
use super::learned::{ScoredForecast, learned_scale};
use super::posterior::{BatchAsKnown, NO_GRAVITY, Posterior};
use super::result::{Forecast, Forecasts, Quantiles};
use super::settings::ForecastSettings;
use super::stuck;
use super::tail::Tail;

/// Attenuation of a batch that sticks, less than that of others by this, and its standard deviation: assumed; no reference.
const STUCK_ATTENUATION: (f64, f64) = (0.2, 0.15);

/// Makes forecasts, and remembers what it has looked at.
pub struct Forecaster<'a> {
    pub(super) settings: &'a ForecastSettings,
    pub(super) batches: &'a [Batch],
    pub(super) kinetics: &'a Kinetics,
    pub(super) source: &'a dyn KnownSeries,
    archive: Archive<'a>,
    /// How past forecasts did.
    pub(super) scored: Vec<ScoredForecast>,
}

impl std::fmt::Debug for Forecaster<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "forecaster of {} batches, {} past forecasts scored", self.batches.len(), self.scored.len())
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
        Ok(Forecaster { settings: self, batches, kinetics, source, archive, scored: Vec::new() })
    }
}

/// A forecast with what the backtest needs of it before the learned scale.
pub(super) struct ForecastDraft {
    pub forecast: Forecast,
    /// Quantiles of the finish, hours from pitching, before the learned scale.
    pub raw_finish_h: Option<Quantiles<f64>>,
}

impl Forecaster<'_> {
    /// Forecasts for batches as of moments. Run [`Forecaster::backtest`] first: a forecast learns from how past forecasts,
    /// whose outcome was known by its moment, did. A batch that cannot be forecast is a row with its reason.
    pub fn forecasts(&mut self, asked: &[(String, Instant)]) -> Forecasts {
        let asked: Vec<(&str, Instant)> = asked.iter().map(|(batch, as_of)| (batch.as_str(), *as_of)).collect();
        Forecasts { rows: self.drawn(&asked).into_iter().map(|drawn| self.make(drawn).forecast).collect() }
    }

    /// Draws for forecasts of batches as of moments, side by side, with all that they need to know of other batches.
    pub(super) fn drawn(&mut self, asked: &[(&str, Instant)]) -> Vec<DrawnForecast> {
        let index = |name: &str| self.batches.iter().position(|batch| batch.batch == name);
        let needed: Vec<_> = asked.iter().filter_map(|(name, as_of)| Some((*as_of, index(name)?))).collect();
        self.archive.look(&needed);
        let this = &*self;
        asked.par_iter().map(|(name, as_of)| this.draw(name, *as_of)).collect()
    }

    fn draw(&self, name: &str, as_of: Instant) -> DrawnForecast {
        let none = |batch, why: &str| DrawnForecast::None(Box::new(ForecastDraft::none(name, batch, as_of, why)));
        let Some((index, batch)) = self.batches.iter().enumerate().find(|(_, batch)| batch.batch == name) else {
            return none(None, "there is no batch of this name");
        };
        if as_of < batch.pitched_at {
            return none(Some(batch), "not yet pitched at this moment");
        }
        match self.source.series(batch, as_of) {
            Ok(None) => none(Some(batch), NO_GRAVITY),
            Ok(Some(series)) => match self.draw_from(index, batch, as_of, series) {
                Ok(from) => DrawnForecast::Some(Box::new(from)),
                Err(Error::NotEstimable { why, .. }) if why == NO_GRAVITY => none(Some(batch), NO_GRAVITY),
                Err(error) => none(Some(batch), &error.to_string()),
            },
            Err(error) => none(Some(batch), &error.to_string()),
        }
    }

    fn draw_from(&self, index: usize, batch: &Batch, as_of: Instant, series: GravitySeries) -> Result<FromDraws> {
        let mut own = BatchAsKnown::new(&series, &self.kinetics.settings, self.archive.error_model(as_of))?;
        let fleet = Population::new(&self.archive.known(as_of, index), &worth());
        let settings = &self.kinetics.settings;
        let elapsed_h = as_of.hours_since(batch.pitched_at);
        // Cold beer does not come to rest: what has not rested by then never did.
        let now_h = series.cooled_hours.map_or(elapsed_h, |cooled| cooled.min(elapsed_h));
        let prior = fleet.prior(&batch.strain);
        let mixture = mixture(&mut own, &prior)?;
        let mut rng = stream(self.settings.seed, &batch.batch, as_of.micros());
        let n = self.settings.draws;
        let tolerance_sg = settings.common.at_rest.within_sg;
        let strain = Tail::of_strain(self.kinetics, &batch.strain, &batch.batch, as_of);
        let draws = draw(&mixture, n, own.ln_pace, now_h, tolerance_sg, strain, &mut rng)?;
        Ok(FromDraws {
            batch: batch.clone(),
            as_of,
            series,
            last_reading_h: own.last_reading_h,
            now_h,
            others: (fleet.len(), fleet.of_strain(&batch.strain)),
            prior,
            draws,
        })
    }

    /// The forecast from its draws, its width as past forecasts teach it that were scored by its moment.
    pub(super) fn make(&self, drawn: DrawnForecast) -> ForecastDraft {
        let FromDraws { batch, as_of, series, last_reading_h, now_h, others, prior, mut draws } = match drawn {
            DrawnForecast::Some(from) => *from,
            DrawnForecast::None(made) => return *made,
        };
        let raw = quantiles(&draws.finish_h);
        let progress = quantiles(&draws.progress);
        let (scale, scored) = learned_scale(&self.scored, as_of, progress.p50);
        for finish in &mut draws.finish_h {
            *finish = (raw.p50 + scale * (*finish - raw.p50)).max(0.0);
        }
        let finish_h = quantiles(&draws.finish_h);
        let limit = |original: f64| limit(&series, &prior, original);
        let above = self.kinetics.settings.common.stuck_above_limit_sg;
        let (finished, is_stuck) = at_rest(&draws, now_h, above, limit);
        let instant = |hours: f64| batch.pitched_at.plus_hours(hours);
        let (known, of_strain) = others;
        let method = format!(
            "own curve with {known} other batches known by then, {of_strain} of the strain; width from {scored} scored forecasts"
        );
        let why = match series.cooled_hours {
            Some(_) => "cooled: as if held at its last fermentation temperature".to_owned(),
            None => String::new(),
        };
        let forecast = Forecast {
            batch: batch.batch.clone(),
            strain: batch.strain.clone(),
            vessel: batch.vessel.clone(),
            as_of,
            last_reading_at: Some(instant(last_reading_h)),
            progress: share(&draws.progress, progress),
            finish: Some(Quantiles {
                p05: instant(finish_h.p05),
                p25: instant(finish_h.p25),
                p50: instant(finish_h.p50),
                p75: instant(finish_h.p75),
                p95: instant(finish_h.p95),
            }),
            terminal_sg: Some(quantiles(&draws.terminal_sg)),
            p_finished: Some(finished),
            p_stuck: Some(is_stuck),
            p_ready: Some((finished - is_stuck).max(0.0)),
            method,
            why,
        };
        ForecastDraft { forecast, raw_finish_h: Some(raw) }
    }
}

/// What a forecast is made from.
pub(super) enum DrawnForecast {
    /// Draws from the posterior.
    Some(Box<FromDraws>),
    /// Why there are none, as a forecast without numbers.
    None(Box<ForecastDraft>),
}

/// Draws from the posterior of one batch as of a moment.
pub(super) struct FromDraws {
    batch: Batch,
    as_of: Instant,
    series: GravitySeries,
    last_reading_h: f64,
    /// Hours from pitching to the moment, or to the cooling.
    now_h: f64,
    /// Other batches known by then, and those of the strain among them.
    others: (usize, usize),
    prior: PopulationPrior,
    draws: Draws,
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
            p_ready: None,
            method: "none".to_owned(),
            why: why.to_owned(),
        };
        Self { forecast, raw_finish_h: None }
    }
}

/// The posteriors of a batch that does not stick and of one that does, with their probabilities.
fn mixture(own: &mut BatchAsKnown, prior: &PopulationPrior) -> Result<Vec<(f64, Posterior)>> {
    let plain = own.posterior(prior, true)?;
    let mut sticking = prior.clone();
    sticking.mean[0] -= STUCK_ATTENUATION.0 / base(0).1;
    for k in 0..sticking.mean.len() {
        sticking.covariance[(0, k)] = 0.0;
        sticking.covariance[(k, 0)] = 0.0;
    }
    sticking.covariance[(0, 0)] = (STUCK_ATTENUATION.1 / base(0).1).powi(2);
    match own.posterior(&sticking, false) {
        Ok(stuck) => {
            let odds = stuck::SHARE / (1.0 - stuck::SHARE) * (stuck.ln_evidence - plain.ln_evidence).exp();
            let weight = if odds.is_finite() { odds / (1.0 + odds) } else { 1.0 };
            Ok(vec![(1.0 - weight, plain), (weight, stuck)])
        }
        Err(_) => Ok(vec![(1.0, plain)]),
    }
}

/// The limit of the wort: measured, or as the prior of a batch that does not stick has it.
fn limit(series: &GravitySeries, prior: &PopulationPrior, original_sg: f64) -> (f64, f64) {
    series.limit_sg.unwrap_or_else(|| {
        let extract = original_sg - 1.0;
        let sd = prior.covariance[(0, 0)].sqrt() * base(0).1;
        (original_sg - attenuation(prior.mean[0]) * extract, sd * extract)
    })
}

/// Probability of being at rest, and of being at rest and stuck.
fn at_rest(draws: &Draws, now_h: f64, stuck_above_sg: f64, limit: impl Fn(f64) -> (f64, f64)) -> (f64, f64) {
    let n = draws.finish_h.len().max(1) as f64;
    let (mut finished, mut is_stuck) = (0.0, 0.0);
    for ((finish, terminal), original) in draws.finish_h.iter().zip(&draws.terminal_sg).zip(&draws.original_sg) {
        if *finish <= now_h {
            finished += 1.0;
            is_stuck += stuck::probability(*terminal, limit(*original), stuck_above_sg);
        }
    }
    (finished / n, is_stuck / n)
}

fn share(values: &[f64], q: Quantiles<f64>) -> Finding {
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    let se = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
    let method = "posterior draws".into();
    Finding::Estimated(Estimate { value: q.p50, se, lower: q.p05, upper: q.p95, level: 0.90, method })
}
