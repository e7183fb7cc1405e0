//! The whole chain on simulated seasons: baths, readings, drift, samples, curves; traits against the simulator's truth.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::DriftSettings;
use heelwort::gravity::GravitySeries;
use heelwort::kinetics::{BatchFit, KineticsSettings, Trait};
use heelwort::simulate::{BatchTruth, SimulateSettings, Simulated};
use rayon::prelude::*;

use super::coverage::Tally;

/// The series of a season's batches, as the whole study makes them.
pub fn series_of(simulated: &Simulated) -> Vec<GravitySeries> {
    let season = &simulated.season;
    let calibrations = CalibrationSettings::default().fit(season).unwrap();
    let gravity = calibrations.gravity(season).unwrap();
    let drift = DriftSettings::default().fit(season, &calibrations).unwrap();
    drift.series(season, &calibrations, &gravity).all()
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

/// The fits of whole seasons, one by one, with the truth of each batch.
fn studied(seeds: std::ops::Range<u64>, settings: &SimulateSettings) -> Vec<Vec<(BatchFit, BatchTruth)>> {
    let one = |seed: u64| {
        let simulated = SimulateSettings { seed, ..settings.clone() }.run().unwrap();
        let kinetics = KineticsSettings::default();
        let fits = kinetics.fit_all(&series_of(&simulated)).unwrap().batches;
        let truth = |fit: &BatchFit| simulated.truth.batches.iter().find(|t| t.batch == fit.batch).unwrap().clone();
        fits.into_iter().map(|fit| (fit.clone(), truth(&fit))).collect()
    };
    seeds.into_par_iter().map(one).collect()
}

/// Coverage of a trait, its Monte Carlo standard error with the batches of a season as one cluster, and all of its errors.
fn coverage(seasons: &[Vec<(BatchFit, BatchTruth)>], which: Trait) -> (f64, f64, Tally) {
    let mut all = Tally::default();
    let each: Vec<Tally> = seasons
        .iter()
        .map(|season| {
            let mut own = Tally::default();
            for (fit, truth) in season {
                own.add(fit, which, truth_of(truth, which));
                all.add(fit, which, truth_of(truth, which));
            }
            own
        })
        .collect();
    let share = all.coverage();
    let squares: f64 = each.iter().map(|own| (own.covered as f64 - share * own.n as f64).powi(2)).sum();
    let clusters = each.len() as f64;
    let se = (squares * clusters / (clusters - 1.0).max(1.0)).sqrt() / all.n as f64;
    (share, se, all)
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn intervals_cover_through_the_whole_chain() {
    let seasons = studied(8000..8032, &SimulateSettings::default());
    let batches: usize = seasons.iter().map(Vec::len).sum();
    println!("{batches} batches of {} seasons", seasons.len());
    assert!(batches >= 1000, "{batches}");
    for which in Trait::ALL {
        let (share, se, all) = coverage(&seasons, which);
        println!("  {which:22} {share:.3} +- {se:.3}: {all}");
        if matches!(which, Trait::TerminalSg | Trait::T90H | Trait::Attenuation) {
            let slack = 2.5 * se;
            assert!((0.87 - slack..=0.93 + slack).contains(&share), "{which}: {share:.3}, Monte Carlo error {se:.3}");
        }
    }
}

#[test]
fn a_small_season_goes_through_the_whole_chain() {
    let settings =
        SimulateSettings { batches: 8, probes: 3, strains: 2, reading_minutes: 60.0, ..SimulateSettings::default() };
    let seasons = studied(23..24, &settings);
    let (_, _, terminal) = coverage(&seasons, Trait::TerminalSg);
    assert!(terminal.n >= 4 && terminal.error.iter().all(|error| error.abs() < 0.005), "{terminal}");
}
