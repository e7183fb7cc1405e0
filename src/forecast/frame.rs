//! The tables `forecasts` and `backtest`, and how forecasts print.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::FrameBuilder;
use crate::units::Instant;

use super::quantiles::Quantiles;
use super::result::{Backtest, BacktestRow, Forecast, Forecasts};
use super::rivals::Rival;

type Pick<T> = fn(&Quantiles<T>) -> T;

impl Forecasts {
    /// The table `forecasts`: one row per batch and moment.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.forecasts()?.to_frame()?;")]
    pub fn to_frame(&self) -> Result<DataFrame> {
        let rows = &self.rows;
        let finish = |pick: Pick<Instant>| rows.iter().map(move |row| row.finish.as_ref().map(pick));
        let terminal = |pick: Pick<f64>| rows.iter().map(move |row| row.terminal_sg.as_ref().map(pick));
        FrameBuilder::new("forecasts")
            .text("batch", rows.iter().map(|row| Some(&row.batch)))
            .text("strain", rows.iter().map(|row| Some(&row.strain)))
            .text("vessel", rows.iter().map(|row| row.vessel.as_ref()))
            .time("as_of", rows.iter().map(|row| Some(row.as_of)))
            .time("last_reading_at", rows.iter().map(|row| row.last_reading_at))
            .number("progress", rows.iter().map(|row| row.progress.value()))
            .time("finish_p05", finish(|q| q.p05))
            .time("finish_p25", finish(|q| q.p25))
            .time("finish_p50", finish(|q| q.p50))
            .time("finish_p75", finish(|q| q.p75))
            .time("finish_p95", finish(|q| q.p95))
            .number("terminal_p05", terminal(|q| q.p05))
            .number("terminal_p50", terminal(|q| q.p50))
            .number("terminal_p95", terminal(|q| q.p95))
            .number("p_finished", rows.iter().map(|row| row.p_finished))
            .number("p_stuck", rows.iter().map(|row| row.p_stuck))
            .number("p_stuck_now", rows.iter().map(|row| row.p_stuck_now))
            .number("p_ready", rows.iter().map(|row| row.p_ready))
            .text("method", rows.iter().map(|row| Some(&row.method)))
            .text("why", rows.iter().map(|row| why(&row.why)))
            .finish()
    }
}

impl Forecasts {
    /// The table `fortnight`: one row per forecast and coming day.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn fortnight_frame(&self) -> Result<DataFrame> {
        let days = self
            .rows
            .iter()
            .flat_map(|row| row.p_finished_in_days.iter().zip(1_u32..).map(move |(p, day)| (row, day, *p)));
        let days: Vec<(&Forecast, u32, f64)> = days.collect();
        FrameBuilder::new("fortnight")
            .text("batch", days.iter().map(|(row, ..)| Some(&row.batch)))
            .time("as_of", days.iter().map(|(row, ..)| Some(row.as_of)))
            .time("at", days.iter().map(|(row, day, _)| Some(row.as_of.plus_days(f64::from(*day)))))
            .number("p_finished", days.iter().map(|(_, _, p)| Some(*p)))
            .finish()
    }

    /// The table `what_if`: one row per batch and schedule.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn what_if_frame(&self) -> Result<DataFrame> {
        let rows = &self.outlooks;
        let finish = |pick: Pick<Option<Instant>>| rows.iter().map(move |row| pick(&row.finish));
        let later = |pick: Pick<Option<f64>>| rows.iter().map(move |row| pick(&row.later_h));
        let left = |pick: Pick<f64>| rows.iter().map(move |row| row.left_sg.as_ref().map(pick));
        FrameBuilder::new("what_if")
            .text("batch", rows.iter().map(|row| Some(&row.batch)))
            .time("as_of", rows.iter().map(|row| Some(row.as_of)))
            .text("schedule", rows.iter().map(|row| Some(&row.schedule)))
            .time("finish_p05", finish(|q| q.p05))
            .time("finish_p50", finish(|q| q.p50))
            .time("finish_p95", finish(|q| q.p95))
            .number("later_p05_h", later(|q| q.p05))
            .number("later_p50_h", later(|q| q.p50))
            .number("later_p95_h", later(|q| q.p95))
            .time("cold_at", rows.iter().map(|row| row.cold_at))
            .number("p_rest_before_cold", rows.iter().map(|row| row.p_rest_before_cold))
            .number("left_p05", left(|q| q.p05))
            .number("left_p50", left(|q| q.p50))
            .number("left_p95", left(|q| q.p95))
            .finish()
    }
}

impl Backtest {
    /// The table `backtest`: one row per batch and stage.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(no_run "let table = study.backtest()?.to_frame()?;")]
    pub fn to_frame(&self) -> Result<DataFrame> {
        let rows = &self.rows;
        let finish = |pick: Pick<Instant>| rows.iter().map(move |row| row.forecast.finish.as_ref().map(pick));
        let rival = |rival: Rival| rows.iter().map(move |row| row.rival_crps_h[rival as usize]);
        FrameBuilder::new("backtest")
            .text("batch", rows.iter().map(|row| Some(&row.forecast.batch)))
            .number("stage", rows.iter().map(|row| Some(row.stage)))
            .time("as_of", rows.iter().map(|row| Some(row.forecast.as_of)))
            .number("progress", rows.iter().map(|row| row.forecast.progress.value()))
            .text("status", rows.iter().map(|row| Some(row.status.name())))
            .time("finish_observed", rows.iter().map(|row| row.finish_observed))
            .number("finish_se_h", rows.iter().map(|row| row.finish_se_h))
            .time("finish_p05", finish(|q| q.p05))
            .time("finish_p50", finish(|q| q.p50))
            .time("finish_p95", finish(|q| q.p95))
            .number("level", rows.iter().map(|_| Some(self.level)))
            .truth("covered", rows.iter().map(|row| row.covered))
            .number("crps_h", rows.iter().map(|row| row.crps_h))
            .number(Rival::LastDayRate.column(), rival(Rival::LastDayRate))
            .number(Rival::PastDurations.column(), rival(Rival::PastDurations))
            .number(Rival::UsualTail.column(), rival(Rival::UsualTail))
            .number("p_later", rows.iter().map(|row| row.p_later))
            .text("method", rows.iter().map(|row| Some(&row.forecast.method)))
            .text("why", rows.iter().map(reason))
            .finish()
    }
}

fn why(text: &str) -> Option<&str> {
    (!text.is_empty()).then_some(text)
}

/// Why a row has no answer.
fn reason(row: &BacktestRow) -> Option<&str> {
    match row.finish_observed {
        Some(_) => why(&row.forecast.why),
        None => Some("the batch was not seen coming to rest"),
    }
}

impl fmt::Display for Forecast {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "batch {} as of {}: ", self.batch, self.as_of)?;
        let Some(finish) = &self.finish else {
            return write!(f, "no forecast, {}", self.why);
        };
        if let Some(progress) = self.progress.value() {
            write!(f, "{:.0} % of the drop done, ", 100.0 * progress)?;
        }
        write!(f, "comes to rest between {} and {} ({:.0} %)", finish.p05, finish.p95, 100.0 * self.level())?;
        if let Some(terminal) = &self.terminal_sg {
            write!(f, " at SG {:.4} ({:.4} to {:.4})", terminal.p50, terminal.p05, terminal.p95)?;
        }
        if let (Some(finished), Some(stuck)) = (self.p_finished, self.p_stuck_now) {
            write!(f, "; at rest by then with probability {finished:.2}, stuck {stuck:.2}")?;
        }
        if !self.why.is_empty() {
            write!(f, "; {}", self.why)?;
        }
        Ok(())
    }
}

impl fmt::Display for Forecasts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.rows.iter().try_for_each(|row| writeln!(f, "{row}"))
    }
}

impl fmt::Display for Backtest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let level = 100.0 * self.level;
        writeln!(f, "{} forecasts of the past, {level:.0} % intervals", self.rows.len())?;
        let stages = self.coverage().map_err(|_| fmt::Error)?;
        for stage in stages {
            let name = stage.stage.map_or_else(|| "all".to_owned(), |stage| format!("{stage:.2} of the drop"));
            let share = 100.0 * stage.covered as f64 / stage.n.max(1) as f64;
            let (lower, upper) = (100.0 * stage.lower, 100.0 * stage.upper);
            writeln!(f, "  {name:16} {share:3.0} % of {} held the finish ({lower:.0} to {upper:.0} %)", stage.n)?;
        }
        self.worth().map_or(Ok(()), |words| writeln!(f, "{words}"))
    }
}
