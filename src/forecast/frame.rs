//! The tables `forecasts` and `backtest`, and how forecasts print.

use std::fmt;

use super::result::{Backtest, BacktestRow, Forecast, Forecasts};
use super::rivals::Rival;

tables! {
    impl Forecasts {
        /// The table `forecasts`: one row per batch and moment.
        #[doc = example!(study "let table = study.forecasts()?.to_frame()?;")]
        fn to_frame(self) = "forecasts", |row| &self.rows => {
            "batch": &row.batch,
            "strain": &row.strain,
            "vessel": row.vessel.as_ref(),
            "as_of": row.as_of,
            "last_reading_at": row.last_reading_at,
            "progress": row.progress.value(),
            ["finish_p05", "finish_p25", "finish_p50", "finish_p75", "finish_p95"]:
                row.finish.map(|q| [q.p05, q.p25, q.p50, q.p75, q.p95]),
            ["terminal_p05", "terminal_p50", "terminal_p95"]: row.terminal_sg.map(|q| [q.p05, q.p50, q.p95]),
            "p_finished": row.p_finished,
            "p_stuck": row.p_stuck,
            "p_stuck_now": row.p_stuck_now,
            "p_ready": row.p_ready,
            "method": &row.method,
            "why": why(&row.why),
        }

        /// The table `fortnight`: one row per forecast and coming day.
        fn fortnight_frame(self) = "fortnight", |(row, day, p)| self.rows.iter().flat_map(|row| {
            row.p_finished_in_days.iter().zip(1_u32..).map(move |(p, day)| (row, f64::from(day), *p))
        }) => {
            "batch": &row.batch,
            "as_of": row.as_of,
            "at": row.as_of.plus_days(*day),
            "p_finished": *p,
        }

        /// The table `what_if`: one row per batch and schedule.
        fn what_if_frame(self) = "what_if", |row| &self.outlooks => {
            "batch": &row.batch,
            "as_of": row.as_of,
            "schedule": &row.schedule,
            "finish_p05": row.finish.p05,
            "finish_p50": row.finish.p50,
            "finish_p95": row.finish.p95,
            "later_p05_h": row.later_h.p05,
            "later_p50_h": row.later_h.p50,
            "later_p95_h": row.later_h.p95,
            "cold_at": row.cold_at,
            "p_rest_before_cold": row.p_rest_before_cold,
            ["left_p05", "left_p50", "left_p95"]: row.left_sg.map(|q| [q.p05, q.p50, q.p95]),
        }
    }
}

tables! {
    impl Backtest {
        /// The table `backtest`: one row per batch and stage.
        #[doc = example!(no_run "let table = study.backtest()?.to_frame()?;")]
        fn to_frame(self) = "backtest", |row| &self.rows => {
            "batch": &row.forecast.batch,
            "stage": row.stage,
            "as_of": row.forecast.as_of,
            "progress": row.forecast.progress.value(),
            "status": row.status,
            "finish_observed": row.finish_observed,
            "finish_se_h": row.finish_se_h,
            ["finish_p05", "finish_p50", "finish_p95"]: row.forecast.finish.map(|q| [q.p05, q.p50, q.p95]),
            "level": self.level,
            "covered": row.covered,
            "crps_h": row.crps_h,
            (Rival::LastDayRate.column()): row.rival_crps_h[Rival::LastDayRate as usize],
            (Rival::PastDurations.column()): row.rival_crps_h[Rival::PastDurations as usize],
            (Rival::UsualTail.column()): row.rival_crps_h[Rival::UsualTail as usize],
            "p_later": row.p_later,
            "method": &row.forecast.method,
            "why": reason(row),
        }
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
