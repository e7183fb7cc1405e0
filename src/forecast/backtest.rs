//! Forecasts of the past beside what came.

use crate::error::Result;
use crate::fit::quantile::fisher_f;
use crate::kinetics::{BatchFit, Status, Trait};
use crate::units::Instant;

use super::draws::share_by;
use super::result::{Backtest, BacktestRow, BacktestStatus, StageCoverage, StageScore};
use super::rivals::{Came, Rival, crps};
use super::run::Forecaster;

/// Level of the intervals of coverage.
const COVERAGE_LEVEL: f64 = 0.95;
/// Level of the interval from p05 to p95.
const LEVEL: f64 = 0.90;

/// What became of a batch.
struct BatchOutcome {
    status: BacktestStatus,
    /// Finish time, hours from pitching, with its standard error, where seen.
    seen: Option<(f64, f64)>,
    came: Came,
}

impl Forecaster<'_> {
    /// Forecasts every batch whose end is known by `now` as of the moments at which its whole-batch curve passed the stages,
    /// each from what was known then, in order of time. A cooling that is planned for later than `now` has not come. A batch
    /// that cannot be forecast is a row with its reason.
    pub fn backtest(&mut self, now: Instant) -> Backtest {
        let mut moments: Vec<(Instant, f64, &BatchFit, BatchOutcome)> = Vec::new();
        for fit in &self.kinetics.batches {
            let Some(fitted) = &fit.fitted else { continue };
            let table = fitted.timed();
            for stage in &self.settings.stages {
                let hours = table.time_of_progress_h(*stage);
                if let Some(outcome) = self.outcome(fit, now).filter(|_| hours <= fit.last_hours) {
                    moments.push((fit.instant(hours), *stage, fit, outcome));
                }
            }
        }
        moments.sort_by_key(|(as_of, ..)| *as_of);
        let asked: Vec<(&str, Instant)> =
            moments.iter().map(|(as_of, _, fit, _)| (fit.batch.as_str(), *as_of)).collect();
        let drawn = self.drawn(&asked);
        let mut rows = Vec::with_capacity(moments.len());
        for ((_, stage, fit, outcome), drawn) in moments.into_iter().zip(drawn) {
            let made = drawn.make();
            let finish_observed = outcome.seen.map(|(hours, _)| fit.instant(hours));
            let covered = made.forecast.finish.zip(finish_observed).map(|(q, at)| q.p05 <= at && at <= q.p95);
            let came = outcome.came;
            let score = |finishes_h: &Vec<f64>| (!finishes_h.is_empty()).then(|| crps(finishes_h, came));
            rows.push(BacktestRow {
                stage,
                forecast: made.forecast,
                status: outcome.status,
                finish_observed,
                finish_se_h: outcome.seen.map(|(_, se)| se),
                covered,
                crps_h: score(&made.finishes_h),
                rival_crps_h: made.rivals.each_ref().map(|finishes| finishes.as_ref().and_then(score)),
                p_later: match came {
                    Came::Later(hours) if !made.finishes_h.is_empty() => Some(1.0 - share_by(&made.finishes_h, hours)),
                    _ => None,
                },
            });
        }
        rows.sort_by(|a, b| a.forecast.batch.cmp(&b.forecast.batch).then(a.stage.total_cmp(&b.stage)));
        Backtest { rows, level: LEVEL }
    }

    /// What has become of a batch by `now`; none when its end is still open or cannot be told.
    fn outcome(&self, fit: &BatchFit, now: Instant) -> Option<BatchOutcome> {
        let finish = fit.finding(Trait::FinishH).estimate()?;
        let seen = fit.last_hours >= finish.value + self.settings.common.at_rest.seen_for_h;
        if seen && fit.status != Status::Restarted {
            let status = if fit.status == Status::Stuck { BacktestStatus::Stuck } else { BacktestStatus::Observed };
            return Some(BatchOutcome {
                status,
                seen: Some((finish.value, finish.se)),
                came: Came::Rest(finish.value),
            });
        }
        let cooled = fit.cooled_hours.filter(|&hours| fit.instant(hours) <= now);
        let status = match (cooled, fit.ended_hours) {
            (Some(cooled), Some(ended)) if ended < cooled => BacktestStatus::CutByEnd,
            (Some(_), _) => BacktestStatus::CutByCooling,
            (None, Some(_)) => BacktestStatus::CutByEnd,
            (None, None) => return None,
        };
        // A rest in the last hours of the data would not have been seen.
        let came = Came::Later(fit.last_hours - self.settings.common.at_rest.seen_for_h);
        Some(BatchOutcome { status, seen: None, came })
    }
}

impl Backtest {
    /// Coverage of each stage, and at the end of all together.
    ///
    /// # Errors
    /// [`crate::Error::Numeric`] when a quantile does not settle.
    pub fn coverage(&self) -> Result<Vec<StageCoverage>> {
        let counted = |stage: Option<f64>| {
            let hits: Vec<bool> = self.of(stage).filter_map(|row| row.covered).collect();
            let (n, covered) = (hits.len(), hits.iter().filter(|hit| **hit).count());
            let (lower, upper) = binomial_interval(covered, n, COVERAGE_LEVEL)?;
            Ok(StageCoverage { stage, n, covered, lower, upper })
        };
        self.stages().into_iter().map(counted).collect()
    }

    /// Mean scores beside each rule of thumb, by stage and at the end of all together; stages without a forecast are left out.
    pub fn scores(&self) -> Vec<StageScore> {
        let scored = |stage: Option<f64>, (k, rival): (usize, Rival)| {
            let both = |row: &BacktestRow| row.crps_h.zip(row.rival_crps_h.get(k).copied().flatten());
            let pairs: Vec<(f64, f64)> = self.of(stage).filter_map(both).collect();
            let n = pairs.len();
            let (own, other) = pairs.iter().fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0, sum.1 + pair.1));
            let (crps_h, rival_crps_h) = (own / n as f64, other / n as f64);
            (n > 0).then_some(StageScore { stage, rival, n, crps_h, rival_crps_h })
        };
        let of_stage = |stage| Rival::ALL.into_iter().enumerate().filter_map(move |rival| scored(stage, rival));
        self.stages().into_iter().flat_map(of_stage).collect()
    }

    /// Whether forecasts were worth having, in words; none where no rule of thumb could be held beside them.
    pub fn worth(&self) -> Option<String> {
        let all: Vec<StageScore> = self.scores().into_iter().filter(|score| score.stage.is_none()).collect();
        let best = all.iter().min_by(|a, b| (a.rival_crps_h / a.crps_h).total_cmp(&(b.rival_crps_h / b.crps_h)))?;
        let beside: Vec<String> =
            all.iter().map(|one| format!("{} {:.0} h", one.rival.words(), one.rival_crps_h)).collect();
        let judged = match best.crps_h / best.rival_crps_h {
            ratio if ratio <= 0.95 => "The forecasts are better than each of these.".to_owned(),
            ratio if ratio <= 1.05 => format!("The forecasts are no better than {}.", best.rival.words()),
            _ => format!("The forecasts are worse than {}: go by that.", best.rival.words()),
        };
        Some(format!(
            "Forecasts of the past missed by {:.0} h on average (CRPS). Simpler rules, for comparison: {}. {judged}",
            best.crps_h,
            beside.join(", ")
        ))
    }

    /// The stages, and at the end none for all together.
    fn stages(&self) -> Vec<Option<f64>> {
        let mut stages: Vec<f64> = self.rows.iter().map(|row| row.stage).collect();
        stages.sort_by(f64::total_cmp);
        stages.dedup_by(|a, b| a.total_cmp(b).is_eq());
        stages.into_iter().map(Some).chain([None]).collect()
    }

    fn of(&self, stage: Option<f64>) -> impl Iterator<Item = &BacktestRow> {
        self.rows.iter().filter(move |row| stage.is_none_or(|stage| row.stage.total_cmp(&stage).is_eq()))
    }
}

/// The exact interval of a share (C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404), by quantiles of F. It takes
/// the trials as independent; the forecasts of one batch are not quite.
fn binomial_interval(hits: usize, n: usize, level: f64) -> Result<(f64, f64)> {
    let (x, m, p) = (hits as f64, n as f64, 0.5 + 0.5 * level);
    let lower = if hits == 0 { 0.0 } else { x / (x + (m - x + 1.0) * fisher_f(p, 2.0 * (m - x + 1.0), 2.0 * x)?) };
    let upper = if hits == n {
        1.0
    } else {
        let f = (x + 1.0) * fisher_f(p, 2.0 * (x + 1.0), 2.0 * (m - x))?;
        f / (m - x + f)
    };
    Ok((lower, upper))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_exact_interval_has_its_tails() {
        // P(X >= 8 | n = 10, p = lower) = P(X <= 8 | upper) = 0.025, by summing the binomial.
        let (lower, upper) = binomial_interval(8, 10, 0.95).unwrap();
        let term = |k: i32, choose: f64, p: f64| choose * p.powi(k) * (1.0 - p).powi(10 - k);
        let at_least_8 = term(8, 45.0, lower) + term(9, 10.0, lower) + term(10, 1.0, lower);
        let above_8 = term(9, 10.0, upper) + term(10, 1.0, upper);
        assert!((at_least_8 - 0.025).abs() < 1e-9 && (above_8 - 0.975).abs() < 1e-9);
        assert_eq!(binomial_interval(0, 5, 0.95).unwrap().0, 0.0);
        assert_eq!(binomial_interval(5, 5, 0.95).unwrap().1, 1.0);
        assert_eq!(binomial_interval(0, 0, 0.95).unwrap(), (0.0, 1.0));
    }
}
