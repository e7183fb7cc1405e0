//! Seasons that cannot tell drift: null with the reason, the rest still runs. And what counts as a pair.

use heelwort::calibration::CalibrationSettings;
use heelwort::common::CommonSettings;
use heelwort::drift::{Drift, DriftSettings, KindVerdict, ProbeVerdict, Recalibrate, ShiftKind};
use heelwort::season::{Event, Reference, Season};

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
    assert!(
        drift
            .term("mean_drift_sg_per_30d")
            .unwrap()
            .finding
            .why()
            .unwrap()
            .contains("fewer than two probes with a drift rate")
    );
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
    for name in [
        "probe",
        "n",
        "drift_sg_per_30d",
        "se",
        "lower",
        "upper",
        "level",
        "method",
        "gradual_sg_per_30d",
        "gradual_se",
        "gradual_lower",
        "gradual_upper",
        "offset_sg",
        "offset_se",
        "since_last_sg",
        "since_last_se",
        "since_last_lower",
        "since_last_upper",
        "recalibrate_by",
        "recalibrate",
        "why",
    ] {
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
    let wrong =
        DriftSettings { common: CommonSettings { level: 1.5, ..Default::default() }, ..DriftSettings::default() };
    assert!(wrong.fit(&season, &calibrations).unwrap_err().to_string().contains("`level` is 1.5"));
}

#[test]
fn references_at_one_gravity_give_a_rate_and_no_kind() {
    let mut season = season();
    season
        .references
        .retain(|r| r.batch.is_none() && (r.bath.as_deref().is_some_and(|b| b.starts_with("s0")) || r.sg < 1.001));
    let drift = drift(&season);
    assert!(drift.of_probe("p0").unwrap().drift_sg_per_30d.estimate().is_some());
    let kind = drift.kinds.iter().find(|k| k.probe == "p0").unwrap();
    assert!(kind.p_proportional.is_none() && kind.verdict == KindVerdict::CannotTell);
    assert!(kind.why.as_deref().unwrap().contains("span 0.000 SG only"), "{kind:?}");
}

#[test]
fn a_probe_whose_pairs_make_no_covariance_says_so_and_the_rest_runs() {
    let mut season = season();
    let usual = drift(&season);
    for reference in season.references.iter_mut().filter(|r| of(r, "p1") && r.batch.is_some()) {
        reference.tilt_sd_deg = Some(f64::INFINITY);
    }
    let drift = drift(&season);
    assert_eq!(why(&drift, "p1"), "the covariance of the probe's pairs is not positive definite");
    assert!(
        matches!(&drift.of_probe("p1").unwrap().verdict, ProbeVerdict::Unknown { why } if why.contains("covariance"))
    );
    assert!(drift.pairs.iter().filter(|pair| pair.probe == "p1").all(|pair| pair.left_out.is_some()));
    for probe in ["p0", "p2"] {
        let of = |drift: &Drift| drift.of_probe(probe).unwrap().drift_sg_per_30d.estimate().unwrap().clone();
        let (with, before) = (of(&drift), of(&usual));
        assert!((with.value - before.value).abs() < before.se, "{with} {before}");
    }
}

#[test]
fn references_without_a_reading_beside_them_are_no_pairs_and_the_reason_stands_in_the_tables() {
    let mut season = season();
    for reference in season.references.iter_mut().filter(|r| r.batch.is_some()) {
        reference.tilt_deg = None;
    }
    season.references.retain(|r| r.batch.is_some() || r.bath.as_deref().is_some_and(|b| b.starts_with("s0")));
    let drift = drift(&season);
    assert!(drift.pairs.is_empty());
    for probe in &drift.probes {
        assert_eq!(probe.drift_sg_per_30d.why(), Some("no reference beyond its first calibration"));
        assert_eq!(probe.recalibrate, Recalibrate::NotEstimable("no reference beyond its first calibration".into()));
    }
    let frame = drift.probes_frame().unwrap();
    assert_eq!(frame.column("why").unwrap().null_count(), 0);
    assert!(drift.interval_d.why().is_some());
    for empty in [drift.shifts_frame(), drift.kinds_frame()] {
        assert_eq!(empty.unwrap().height(), 0);
    }
    assert!(drift.chart().unwrap().is_empty() && drift.limit_chart().unwrap().is_empty());
    assert!(drift.kinds_chart().unwrap().is_empty());
}

#[test]
fn a_known_event_is_sized_at_its_date_and_not_searched() {
    let mut season = season();
    let at = season.references[0].at.plus_days(75.0);
    season.events.push(Event {
        at,
        kind: "cell_swap".into(),
        probe: Some("p1".into()),
        batch: None,
        total_mass_g: None,
        cell_mass_g: None,
        value: None,
        note: None,
    });
    // What the swap did to the tilt: about 0.005 SG.
    for reference in season.references.iter_mut().filter(|r| of(r, "p1") && r.at > at) {
        reference.tilt_deg = reference.tilt_deg.map(|tilt| tilt + 2.0);
    }
    let drift = drift(&season);
    let shift = drift.shifts.iter().find(|s| s.probe == "p1").unwrap();
    assert_eq!((shift.at, shift.kind.clone()), (at, ShiftKind::Known("cell_swap".into())));
    let e = shift.shift_sg.estimate().unwrap();
    assert!(e.lower > 0.002 && e.upper < 0.009, "{e}");
    assert!(drift.shifts.iter().filter(|s| s.probe == "p1").count() == 1);
    // The slope through all of it holds the swap, the other one does not.
    let p1 = drift.of_probe("p1").unwrap();
    assert!(p1.drift_sg_per_30d.value().unwrap() > p1.gradual_sg_per_30d.value().unwrap() + 0.0005);
}
