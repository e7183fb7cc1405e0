//! What was forecast, and how the forecasts did.

use crate::fit::Finding;
use crate::units::Instant;

use super::outlook::Outlook;
use super::quantiles::Quantiles;
use super::rivals::Rival;

/// The forecast of one batch as of one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The batch.
    pub batch: String,
    /// The strain.
    pub strain: String,
    /// The vessel.
    pub vessel: Option<String>,
    /// The moment as of which it was made.
    pub as_of: Instant,
    /// The last reading or sample known by then.
    pub last_reading_at: Option<Instant>,
    /// Share of the drop done by then, as known by then.
    pub progress: Finding,
    /// When it comes to rest, if held at its last fermentation temperature.
    pub finish: Option<Quantiles<Instant>>,
    /// Where it comes to rest, SG.
    pub terminal_sg: Option<Quantiles<f64>>,
    /// Probability that it is at rest by the moment.
    pub p_finished: Option<f64>,
    /// Probability that it is stuck at rest by the moment or will come to rest stuck.
    pub p_stuck: Option<f64>,
    /// Probability that it is at rest by the moment and stuck.
    pub p_stuck_now: Option<f64>,
    /// Probability that it is at rest by the moment and not stuck; never more than `p_finished`.
    pub p_ready: Option<f64>,
    /// Probability that it is at rest by each of the coming fourteen days at the same time of day, 1 to 14.
    pub p_finished_in_days: Vec<f64>,
    /// The share of its extract that it has eaten by appearance, where it is at rest by the moment, no limit of its wort was
    /// measured, and that is unusually little for beer, whatever other batches of its strain did.
    pub early_attenuation: Option<f64>,
    /// How it was made: from which past batches.
    pub method: String,
    /// Why there is no forecast, or what to know about it; empty when nothing.
    pub why: String,
}

impl Forecast {
    /// Level of the interval from `p05` to `p95`.
    pub const fn level(&self) -> f64 {
        0.90
    }
}

/// The forecasts asked for.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Forecasts {
    /// One per batch and moment.
    pub rows: Vec<Forecast>,
    /// What schedules ahead would bring, where they were asked for.
    pub outlooks: Vec<Outlook>,
}

impl Forecasts {
    /// Adds to what is to know about the forecasts of a batch.
    pub(crate) fn say(&mut self, batch: &str, words: &str) {
        for row in self.rows.iter_mut().filter(|row| row.batch == batch) {
            row.why = if row.why.is_empty() { words.to_owned() } else { format!("{}; {words}", row.why) };
        }
    }
}

named! {
    /// What became of a batch in the backtest.
    pub enum BacktestStatus {
        /// It was seen coming to rest.
        Observed = "observed",
        /// It was cooled first.
        CutByCooling = "cut_by_cooling",
        /// Its data end first.
        CutByEnd = "cut_by_end",
        /// It came to rest above the limit.
        Stuck = "stuck",
    }
}

/// One forecast of the past beside what came.
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestRow {
    /// Share of the drop of the whole-batch curve at which it was made.
    pub stage: f64,
    /// The forecast.
    pub forecast: Forecast,
    /// What became of the batch.
    pub status: BacktestStatus,
    /// Finish time from the whole batch; none where it was cut.
    pub finish_observed: Option<Instant>,
    /// Its standard error, hours.
    pub finish_se_h: Option<f64>,
    /// Whether the observed finish lies within p05 .. p95; none where nothing was observed.
    pub covered: Option<bool>,
    /// The continuous ranked probability score of the forecast, hours: 0 is best. Where the rest was not seen, of the time up to
    /// when it would have been.
    pub crps_h: Option<f64>,
    /// The same of the rules of thumb, in the order of [`Rival::ALL`].
    pub rival_crps_h: [Option<f64>; 3],
    /// Forecast probability of a rest after the last moment at which its rest would have been seen; none where it was seen.
    pub p_later: Option<f64>,
}

/// Mean scores of the forecasts of one stage, each beside a rule of thumb.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StageScore {
    /// The stage; none for all of them together.
    pub stage: Option<f64>,
    /// The rule of thumb.
    pub rival: Rival,
    /// Forecasts for which both have a score.
    pub n: usize,
    /// Mean score of the forecasts, hours.
    pub crps_h: f64,
    /// Mean score of the rule, hours.
    pub rival_crps_h: f64,
}

/// Coverage of the forecasts of one stage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StageCoverage {
    /// The stage; none for all of them together.
    pub stage: Option<f64>,
    /// Forecasts whose outcome was observed.
    pub n: usize,
    /// How many were covered.
    pub covered: usize,
    /// Exact (Clopper-Pearson) 95 % interval of the coverage, lower end.
    pub lower: f64,
    /// Its upper end.
    pub upper: f64,
}

/// The backtest of all finished batches.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Backtest {
    /// One row per batch and stage.
    pub rows: Vec<BacktestRow>,
    /// Level of the intervals that were checked.
    pub level: f64,
}
