//! The pairs in a linear mixed model.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{Drift, DriftSettings, MixedTermKind};
use heelwort::season::{Batch, Season};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::fleet::{Fleet, Known, known};
use crate::blank;

fn studied(season: &Season, settings: &DriftSettings) -> Drift {
    let calibrations = CalibrationSettings::default().fit(season).unwrap();
    settings.fit(season, &calibrations).unwrap()
}

fn season() -> Season {
    known(&Fleet { probes: 5, days: 150.0, ..Fleet::default() }, 5_001).season
}

#[test]
fn the_model_names_its_terms_methods_and_boundaries() {
    let drift = studied(&season(), &DriftSettings { bootstrap: 99, ..DriftSettings::default() });
    let mixed = &drift.mixed;
    assert_eq!(mixed.why, None);
    let slope = mixed.term("gradual_drift_sg_per_30d").unwrap();
    let found = slope.finding.estimate().unwrap();
    assert_eq!(found.method, "REML, Kenward-Roger, t");
    assert!(slope.df.is_some_and(|df| df > 1.0 && df < 60.0), "{slope:?}");
    // The study's own mean over the same probes.
    let mean = drift.term("mean_drift_sg_per_30d").unwrap().finding.estimate().unwrap();
    assert!((found.value - mean.value).abs() < 0.5 * mean.se, "{found} {mean}");
    let (lower, upper) = slope.bootstrap.unwrap();
    assert!(lower < found.value && found.value < upper);
    assert!(((upper - lower) / (found.upper - found.lower) - 1.0).abs() < 0.4, "{lower} {upper} {found}");
    let sd = mixed.term("sd of gradual_drift_sg_per_30d by probe").unwrap();
    assert_eq!(sd.kind, MixedTermKind::Component);
    assert_eq!(sd.finding.estimate().unwrap().method, "ML, profile likelihood");
    let zero = mixed.terms.iter().filter_map(|t| t.finding.value()).any(|v| v == 0.0);
    assert_eq!(zero, mixed.boundary.iter().any(|b| b.to_string().ends_with("is 0")), "{mixed:?}");
    assert!(drift.mixed_frame().unwrap().height() == mixed.terms.len());
    let other = studied(&season(), &DriftSettings::default()).mixed;
    let other = other.term("gradual_drift_sg_per_30d").unwrap();
    assert_eq!(other.finding, slope.finding);
    assert_eq!(other.bootstrap, None);
}

#[test]
fn a_covariate_that_was_put_in_comes_out() {
    let settings = DriftSettings::default();
    let mut season = season();
    let warm = |i: usize| if i.is_multiple_of(2) { 5.0 } else { -5.0 };
    let samples: Vec<usize> = (0..season.references.len()).filter(|i| season.references[*i].is_sample()).collect();
    for (k, &i) in samples.iter().enumerate() {
        season.references[i].temp_c = Some(20.0 + warm(k));
    }
    let per_10_c = |season: &Season| {
        let mixed = studied(season, &settings).mixed;
        mixed.term("per_10_c_sg").unwrap().finding.estimate().unwrap().clone()
    };
    let before = per_10_c(&season);
    for (k, &i) in samples.iter().enumerate() {
        season.references[i].sg -= 0.002 * warm(k) / 10.0;
    }
    let after = per_10_c(&season);
    assert!((after.value - before.value - 0.002).abs() < 0.0002, "{before} {after}");
    assert!(after.lower > 0.0 && after.se < 0.0005, "{after}");
    let mixed = studied(&season, &settings).mixed;
    let supply = mixed.term("per_0.1_v_of_supply_sg").unwrap();
    assert!(supply.finding.why().is_some_and(|why| why.contains("12 are needed")), "{supply:?}");
}

#[test]
fn one_probe_has_no_fleet() {
    let season = known(&Fleet { probes: 1, days: 150.0, ..Fleet::default() }, 5_002).season;
    let drift = studied(&season, &DriftSettings::default());
    assert!(drift.mixed.why.as_deref().is_some_and(|why| why.contains("a fleet needs two")), "{:?}", drift.mixed);
    assert_eq!(drift.mixed_frame().unwrap().height(), 0);
}

/// Each sample's batch in the table of batches, but for a third: how many a probe had been in goes with nothing else.
fn with_batches(known: &mut Known, seed: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    for reference in known.season.references.iter().filter(|r| r.is_sample() && rng.random_bool(0.67)) {
        known.season.batches.push(Batch {
            probes: reference.probe.iter().cloned().collect(),
            ..blank::batch(reference.batch.clone().unwrap(), "glasswort", reference.at.plus_days(-3.0))
        });
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn kenward_roger_intervals_of_the_fleet_and_of_a_covariate_hold() {
    let settings = DriftSettings { shift_alarm: 0.0, ..DriftSettings::default() };
    let one = |i: u64| {
        let seed = 87 * 1_000_003 + i;
        let mut known = known(&Fleet::default(), seed);
        with_batches(&mut known, seed + 1);
        let mixed = studied(&known.season, &settings).mixed;
        let holds = |term: &str, truth: f64| {
            let e = mixed.term(term).unwrap().finding.estimate().unwrap();
            f64::from(u8::from(e.lower <= truth && truth <= e.upper))
        };
        [holds("gradual_drift_sg_per_30d", known.population_mean), holds("per_10_batches_before_sg", 0.0)]
    };
    let n = 50;
    let all: Vec<[f64; 2]> = (0..n).into_par_iter().map(one).collect();
    let se = (0.09 / n as f64).sqrt();
    for (k, what) in ["the fleet's drift", "batches before, which do nothing"].into_iter().enumerate() {
        let coverage = all.iter().map(|holds| holds[k]).sum::<f64>() / n as f64;
        println!("mixed model, {n} seasons: {what} covered {coverage:.3} ({se:.3})");
        assert!((coverage - 0.9).abs() <= (2.5 * se).max(0.03), "{what}: {coverage}");
    }
}
