//! The whole chain on simulated seasons: baths, readings, curves; traits against the simulator's truth.

use heelwort::calibration::{CalibrationSettings, OffsetPrior};
use heelwort::kinetics::{KineticsSettings, Status, Trait};
use heelwort::season::GravitySeries;
use heelwort::simulate::{BatchTruth, SimulateSettings, Simulated};

use super::coverage::Tally;

pub fn series_of(simulated: &Simulated) -> Vec<GravitySeries> {
    let season = &simulated.season;
    let calibrations = CalibrationSettings::default().fit(season).unwrap();
    let gravity = calibrations.gravity(season).unwrap();
    gravity.all_series(season, &calibrations, &OffsetPrior::default())
}

pub fn truth_of(truth: &BatchTruth, which: Trait) -> f64 {
    match which {
        Trait::OriginalSg => truth.original_sg,
        Trait::TerminalSg => truth.terminal_sg,
        Trait::MaxRateSgPerDay => truth.max_rate_sg_per_day,
        Trait::LagH => truth.lag_h,
        Trait::MidH => truth.mid_h,
        Trait::T90H => truth.t90_h,
        Trait::FinishH => truth.finish_h,
        Trait::Attenuation => truth.attenuation,
        Trait::AttenuationExtract => truth.attenuation_extract,
        Trait::AbvPercent => truth.abv_percent,
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn intervals_cover_through_the_whole_chain() {
    let mut tallies: Vec<(Trait, Tally)> = Trait::ALL.into_iter().map(|which| (which, Tally::default())).collect();
    let mut words: Vec<(Status, &str)> = Vec::new();
    for seed in 11..14 {
        let simulated = settings_from_env(seed).run().unwrap();
        let kinetics =
            KineticsSettings { candidates: false, ..Default::default() }.fit_all(&series_of(&simulated)).unwrap();
        for fit in &kinetics.batches {
            let truth = simulated.truth.batches.iter().find(|t| t.batch == fit.batch).unwrap();
            for (which, tally) in &mut tallies {
                tally.add(fit, *which, truth_of(truth, *which));
            }
            if fit.status == Status::Restarted {
                eprintln!(
                    "RESTARTED {} seed {seed} cooled {:?} last {}: finish {} {:?}",
                    fit.batch,
                    fit.cooled_hours,
                    fit.last_hours,
                    truth.finish_h,
                    fit.points
                        .iter()
                        .step_by(6)
                        .map(|p| (p.hours.round(), (p.sg * 1e4).round() / 1e4))
                        .collect::<Vec<_>>()
                );
            }
            let end = if truth.terminal_sg > truth.limit_sg + 0.003 { "stuck" } else { "normal" };
            words.push((fit.status, end));
        }
    }
    for (which, tally) in &tallies {
        eprintln!("  {which:22} {tally}");
    }
    for status in [
        Status::NotStarted,
        Status::Lagging,
        Status::Active,
        Status::Slowing,
        Status::Finished,
        Status::Stuck,
        Status::Restarted,
        Status::TooFewData,
    ] {
        let of: Vec<&str> = words.iter().filter(|(s, _)| *s == status).map(|(_, end)| *end).collect();
        eprintln!("  {status}: {} of which truly stuck {}", of.len(), of.iter().filter(|end| **end == "stuck").count());
    }
}

fn settings_from_env(seed: u64) -> SimulateSettings {
    let get = |name: &str, d: f64| std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(d);
    SimulateSettings {
        seed,
        bubble_scale: get("BUB", 1.0),
        drift_scale: get("DRI", 1.0),
        shift_scale: get("SHI", 1.0),
        noise_scale: get("NOI", 1.0),
        reference_scale: get("REF", 1.0),
        stuck_share: get("STU", 0.06),
        early_cooling_share: get("COO", 0.15),
        tail_days: get("TAIL", 35.0),
        ..Default::default()
    }
}

#[test]
#[ignore = "look"]
fn look() {
    let simulated = settings_from_env(11).run().unwrap();
    let season = &simulated.season;
    let all = series_of(&simulated);
    for series in all.iter().step_by(5) {
        let truth = simulated.truth.batches.iter().find(|t| t.batch == series.batch).unwrap();
        let fit = KineticsSettings::default().fit(series).unwrap();
        eprintln!(
            "{truth:?}\ncooled {:?} ended {:?} last {} probes {:?} samples {:?}",
            series.cooled_hours, series.ended_hours, fit.last_hours, series.probes, series.samples
        );
        eprintln!("{fit}");
        eprintln!("{:?}", fit.fitted.as_ref().map(|f| f.errors));
        let curve = fit.fitted.as_ref().unwrap().curve.tabulate();
        let mut next = 0.0;
        for (row, h) in series.rows.iter().zip(&series.hours) {
            if *h >= next {
                let sg = simulated.truth.gravity.sg[*row].unwrap_or(f64::NAN);
                eprintln!(
                    "  {h:6.1} temp {:5.1} true {sg:.5} left {:.4}  fit {:.5} left {:.4}",
                    season.readings.temp_c[*row],
                    (sg - truth.terminal_sg) / (truth.original_sg - truth.terminal_sg),
                    curve.sg(*h),
                    1.0 - curve.progress(*h)
                );
                next = h + 12.0;
            }
        }
    }
}

#[test]
#[ignore = "look"]
fn misread() {
    let mut sums = vec![(0.0f64, 0.0f64, 0.0f64); 12];
    for seed in 11..14 {
        let simulated = settings_from_env(seed).run().unwrap();
        for series in &series_of(&simulated) {
            let truth = simulated.truth.batches.iter().find(|t| t.batch == series.batch).unwrap();
            let n = series.hours.len().saturating_sub(1);
            let last: Vec<f64> = (0..n)
                .filter(|i| {
                    series.hours[*i] > series.cooled_hours.unwrap_or(1e9).min(series.hours[n]) - 24.0
                        && series.hours[*i] < series.cooled_hours.unwrap_or(1e9)
                })
                .map(|i| series.sg[i] - simulated.truth.gravity.sg[series.rows[i]].unwrap())
                .collect();
            let base = last.iter().sum::<f64>() / last.len().max(1) as f64;
            for i in 0..n {
                let true_sg = simulated.truth.gravity.sg[series.rows[i]].unwrap();
                let progress = (truth.original_sg - true_sg) / (truth.original_sg - truth.terminal_sg);
                if series.cooled_hours.is_some_and(|c| series.hours[i] > c) {
                    continue;
                }
                let cell = &mut sums[(progress * 11.0).clamp(0.0, 11.0) as usize];
                let d = series.sg[i] - true_sg - base;
                cell.0 += 1.0;
                cell.1 += d;
                cell.2 += d * d;
            }
        }
    }
    for (k, (n, s, q)) in sums.iter().enumerate() {
        eprintln!("progress {:.2}: n {n} mean {:+.5} sd {:.5}", k as f64 / 11.0, s / n, (q / n).sqrt());
    }
}
