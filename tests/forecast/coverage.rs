//! Do nine in ten finishes lie in the 90 % intervals, for what the backtest observes and for the truth?

use std::collections::BTreeMap;

use heelwort::Instant;
use heelwort::forecast::{ForecastSettings, Truncated};
use heelwort::season::GravitySeries;

use crate::process::{Brewed, PROCESSES, Process, batches_of, brewery};

#[derive(Debug, Default)]
struct Stage {
    n: usize,
    covered: usize,
    truth_n: usize,
    truth_covered: usize,
    z: Vec<f64>,
    width_h: Vec<f64>,
    terminal_covered: usize,
    progress_error: Vec<f64>,
}

fn run(brewed: &[Brewed], stages: &mut BTreeMap<String, Stage>) -> Vec<(f64, bool)> {
    let batches = batches_of(brewed);
    let series: Vec<GravitySeries> = brewed.iter().map(|b| b.series.clone()).collect();
    let settings = ForecastSettings::default();
    let kinetics = settings.kinetics.fit_all(&series).unwrap();
    let source = Truncated(&series);
    let mut forecaster = settings.forecaster(&batches, &kinetics, &source).unwrap();
    let backtest = forecaster.backtest().unwrap();
    for row in &backtest.rows {
        let brew = brewed.iter().find(|b| b.series.batch == row.forecast.batch).unwrap();
        let stage = stages.entry(format!("{:.2}", row.stage)).or_default();
        if let Some(covered) = row.covered {
            stage.n += 1;
            stage.covered += usize::from(covered);
        }
        if let (Some(q), Some(terminal)) = (row.forecast.finish, row.forecast.terminal_sg) {
            let truth = brew.true_finish();
            stage.truth_n += 1;
            stage.truth_covered += usize::from(q.p05 <= truth && truth <= q.p95);
            let sd = q.p95.hours_since(q.p05) / 3.29;
            stage.z.push(truth.hours_since(q.p50) / sd);
            stage.width_h.push(q.p95.hours_since(q.p05));
            stage.terminal_covered += usize::from((terminal.p05..=terminal.p95).contains(&brew.truth.terminal_sg));
            let done = (brew.truth.original_sg - brew.truth.sg(row.forecast.as_of.hours_since(brew.series.pitched_at)))
                / (brew.truth.original_sg - brew.truth.terminal_sg);
            stage.progress_error.push(row.forecast.progress.value().unwrap() - done);
        }
    }
    // Is p_finished a probability? Asked at moments that do not depend on the truth.
    let asked: Vec<(String, Instant)> = brewed
        .iter()
        .flat_map(|b| {
            let days = (b.series.hours.last().unwrap() / 24.0) as u32;
            (2..=days).map(|day| (b.series.batch.clone(), b.series.pitched_at.plus_days(f64::from(day))))
        })
        .collect();
    let forecasts = forecaster.forecasts(&asked).unwrap();
    forecasts
        .rows
        .iter()
        .filter_map(|f| {
            let brew = brewed.iter().find(|b| b.series.batch == f.batch).unwrap();
            let cut = brew.series.cooled_hours.or(brew.series.ended_hours).unwrap_or(f64::INFINITY);
            let known = f.as_of.hours_since(brew.series.pitched_at) <= cut;
            let last = *brew.series.hours.last().unwrap() >= f.as_of.hours_since(brew.series.pitched_at) - 1.0;
            (known && last).then(|| (f.p_finished.unwrap(), brew.true_finish() <= f.as_of))
        })
        .collect()
}

fn report(process: Option<Process>, seeds: std::ops::Range<u64>) {
    let mut stages = BTreeMap::new();
    let mut finished: Vec<(f64, bool)> = Vec::new();
    for seed in seeds {
        finished.extend(run(&brewery(process, 36, 6, seed), &mut stages));
    }
    eprintln!("{process:?}");
    for (stage, s) in &stages {
        let n = s.truth_n as f64;
        let rms = (s.z.iter().map(|z| z.clamp(-5.0, 5.0).powi(2)).sum::<f64>() / n).sqrt();
        let mean = s.z.iter().map(|z| z.clamp(-5.0, 5.0)).sum::<f64>() / n;
        let mut width = s.width_h.clone();
        width.sort_by(f64::total_cmp);
        let rms_progress = (s.progress_error.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        eprintln!(
            "  stage {stage}: observed {:.3} of {}, truth {:.3} of {}, terminal {:.3}, z mean {mean:+.2} rms {rms:.2}, median width {:.0} h, progress rms error {rms_progress:.3}",
            s.covered as f64 / s.n as f64,
            s.n,
            s.truth_covered as f64 / n,
            s.truth_n,
            s.terminal_covered as f64 / n,
            width[width.len() / 2]
        );
    }
    for (low, high) in [(0.0, 0.05), (0.05, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.95), (0.95, 1.01)] {
        let of: Vec<&(f64, bool)> = finished.iter().filter(|(p, _)| (low..high).contains(p)).collect();
        let (n, hits) = (of.len(), of.iter().filter(|(_, hit)| *hit).count());
        let said = of.iter().map(|(p, _)| p).sum::<f64>() / n.max(1) as f64;
        eprintln!("  p_finished {low:.2}-{high:.2}: said {said:.3}, came {:.3} of {n}", hits as f64 / n.max(1) as f64);
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn nine_in_ten_finishes_lie_in_the_interval() {
    for process in PROCESSES {
        report(Some(process), 100..103);
    }
    report(None, 200..203);
}
