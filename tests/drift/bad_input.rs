//! Seasons that cannot tell drift: null with the reason, the rest still runs. And what counts as a pair.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{Drift, DriftSettings};
use heelwort::season::{Reference, Season};

use super::fleet::{Fleet, known};

fn season() -> Season {
    known(&Fleet { probes: 3, days: 150.0, ..Fleet::default() }, 5).season
}

fn drift(season: &Season) -> Drift {
    let calibrations = CalibrationSettings::default().fit(season).unwrap();
    DriftSettings::default().fit(season, &calibrations).unwrap()
}

fn why(drift: &Drift, probe: &str) -> String {
    drift.of_probe(probe).unwrap().drift_sg_per_30d.why().unwrap().to_owned()
}

fn of(reference: &Reference, probe: &str) -> bool {
    reference.probe.as_deref() == Some(probe)
}

#[test]
fn the_baths_of_the_first_curve_are_no_pairs_and_those_of_the_second_are() {
    let season = season();
    let calibrations = CalibrationSettings::default().fit(&season).unwrap();
    let drift = DriftSettings::default().fit(&season, &calibrations).unwrap();
    let baths = |day: f64| drift.pairs.iter().filter(|p| p.batch.is_none() && (p.age_d - day).abs() < 1.0).count();
    assert_eq!(baths(0.0), 0);
    assert_eq!(baths(120.0), 3 * 6);
    assert_eq!(calibrations.of_probe("p0").count(), 2);
    // As found, on the first curve: not what the second one says of its own baths.
    let second = drift.pairs.iter().filter(|p| p.probe == "p0" && p.batch.is_none() && p.age_d > 100.0);
    let mean = second.map(|p| p.difference_sg).sum::<f64>() / 6.0;
    assert!(mean.abs() > 0.0003, "{mean}");
}

#[test]
fn an_empty_season_has_no_probes_and_says_why_the_fleet_has_no_mean() {
    let drift = drift(&Season::default());
    assert!(drift.probes.is_empty() && drift.pairs.is_empty());
    let mean = &drift.term("mean_drift_sg_per_30d").unwrap().finding;
    assert!(mean.why().unwrap().contains("no reference beyond the first calibrations"));
    assert_eq!(drift.offset_prior, DriftSettings::default().offset_prior);
}

#[test]
fn one_probe_alone_has_a_rate_and_no_fleet() {
    let mut season = season();
    season.references.retain(|r| of(r, "p1"));
    season.probes.retain(|p| p.probe == "p1");
    let drift = drift(&season);
    assert!(drift.of_probe("p1").unwrap().drift_sg_per_30d.estimate().is_some());
    assert!(drift.term("mean_drift_sg_per_30d").unwrap().finding.why().unwrap().contains("1 probes with a drift rate"));
}

#[test]
fn a_probe_without_calibration_or_with_nothing_after_it_says_so_and_the_rest_runs() {
    let mut season = season();
    // p0 loses its first calibration and its second; p1 keeps its first session alone.
    season.references.retain(|r| !(of(r, "p0") && r.bath.is_some()));
    let first_day = season.references[0].at;
    season.references.retain(|r| !of(r, "p1") || r.at.days_since(first_day) < 1.0);
    let drift = drift(&season);
    assert_eq!(why(&drift, "p0"), "the probe has no calibration");
    assert_eq!(why(&drift, "p1"), "no reference beyond its first calibration");
    assert!(drift.of_probe("p2").unwrap().drift_sg_per_30d.estimate().is_some());
}

#[test]
fn one_later_reference_or_identical_times_are_too_little() {
    let mut season = season();
    let samples: Vec<Reference> =
        season.references.iter().filter(|r| of(r, "p0") && r.batch.is_some()).cloned().collect();
    season.references.retain(|r| !of(r, "p0") || r.bath.as_deref().is_some_and(|bath| bath.starts_with("s0")));
    season.references.push(samples[8].clone());
    assert_eq!(why(&drift(&season), "p0"), "references at one time only");
    season.references.push(samples[8].clone());
    assert_eq!(why(&drift(&season), "p0"), "references at one time only");
}

#[test]
fn the_tables_have_their_columns() {
    let drift = drift(&season());
    let pairs = drift.pairs_frame().unwrap();
    for name in ["at", "probe", "reference_sg", "difference_sg", "own_se", "curve_se", "age_d", "temp_c", "method"] {
        assert_eq!(pairs.column(name).unwrap().null_count(), 0, "{name}");
    }
    let probes = drift.probes_frame().unwrap();
    for name in ["probe", "n", "drift_sg_per_30d", "se", "lower", "upper", "level", "method", "why"] {
        assert!(probes.column(name).is_ok(), "{name}");
    }
    let fleet = drift.fleet_frame().unwrap();
    for name in ["term", "estimate", "se", "lower", "upper", "level", "df", "method", "why"] {
        assert!(fleet.column(name).is_ok(), "{name}");
    }
    assert!(drift.to_string().contains("p0"));
}

#[test]
fn settings_that_cannot_be_are_named() {
    let season = season();
    let calibrations = CalibrationSettings::default().fit(&season).unwrap();
    let wrong = DriftSettings { level: 1.5, ..DriftSettings::default() };
    assert!(wrong.fit(&season, &calibrations).unwrap_err().to_string().contains("`level` is 1.5"));
}
