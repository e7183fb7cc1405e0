//! Baths that can make no curve: a stated reason, never a panic.

use heelwort::Instant;
use heelwort::calibration::{CalibrationSettings, Calibrations, CurveKind};
use heelwort::season::{EndShape, Probe, Reference, ReferenceUse, Season};

use super::floats::bath;

use crate::blank;

const GOOD: [(f64, f64); 6] = [(1.0, 25.0), (1.016, 31.1), (1.032, 39.0), (1.048, 47.8), (1.064, 55.4), (1.08, 60.7)];

fn at() -> Instant {
    Instant::parse("2031-03-01T10:00:00Z").unwrap()
}

fn baths(points: &[(f64, f64)]) -> Vec<Reference> {
    points
        .iter()
        .enumerate()
        .map(|(i, &(sg, tilt))| {
            let mut bath = bath(at().plus_hours(i as f64), sg, tilt, 0.3, 0.0005);
            bath.bath = Some(format!("b{i}"));
            bath
        })
        .collect()
}

fn fit(references: Vec<Reference>) -> Calibrations {
    CalibrationSettings::default().fit(&Season { references, ..Season::default() }).unwrap()
}

/// The reason why there is no curve.
fn why(references: Vec<Reference>) -> String {
    let found = fit(references);
    assert!(found.calibrations.is_empty(), "{found}");
    assert_eq!(found.without.len(), 1);
    found.without[0].why.clone()
}

fn forced(points: &[(f64, f64)]) -> Vec<Reference> {
    let mut baths = baths(points);
    for bath in &mut baths {
        bath.use_as = Some(ReferenceUse::Calibrate);
    }
    baths
}

#[test]
fn a_wrong_setting_is_named_with_its_value() {
    CalibrationSettings::default().check().unwrap();
    let mut wrong = CalibrationSettings::default();
    wrong.common.level = 90.0;
    assert_eq!(wrong.check().unwrap_err().to_string(), "setting `level` is 90; wanted 0.5 to 0.9999");
    let wrong = CalibrationSettings { window_min: f64::NAN, ..CalibrationSettings::default() };
    assert!(wrong.check().unwrap_err().to_string().contains("window_min"));
}

#[test]
fn an_empty_season_has_no_curves_and_no_error() {
    assert_eq!(fit(Vec::new()).calibrations.len(), 0);
}

#[test]
fn too_few_baths_are_told() {
    assert!(why(baths(&GOOD[..2])).contains("water and 1 other gravity"));
    assert!(why(baths(&GOOD[1..4])).contains("no water and 3 other gravities"));
    assert!(why(forced(&GOOD[1..2])).contains("one bath only"));
}

#[test]
fn water_and_two_others_give_a_provisional_curve_only_where_there_is_no_other() {
    let calibration = fit(baths(&GOOD[..3])).calibrations.remove(0);
    let next = calibration.next_bath().unwrap();
    assert!((next.sg - 1.08).abs() < 1e-9 && next.sucrose_g_per_l > 150.0, "{next:?}");
    let full = fit(baths(&GOOD)).calibrations.remove(0);
    assert!(full.next_bath().is_none());
    let mut later = baths(&GOOD[..3]);
    for bath in &mut later {
        bath.at = bath.at.plus_days(40.0);
    }
    let found = fit(baths(&GOOD).into_iter().chain(later).collect());
    assert_eq!(found.calibrations.len(), 1, "{found}");
    assert!(found.without.iter().any(|none| none.check && none.why.contains("2 other gravities")), "{found}");
}

#[test]
fn two_baths_that_are_forced_make_what_they_can() {
    let found = fit(forced(&[GOOD[0], GOOD[4]]));
    let calibration = &found.calibrations[0];
    let cubic = calibration.candidates.iter().find(|candidate| candidate.kind == CurveKind::Cubic).unwrap();
    assert!(cubic.refused.as_ref().unwrap().contains("2 baths for 4 free coefficients"), "{calibration}");
    assert!(calibration.rmse_sg.is_none_or(f64::is_finite));
}

#[test]
fn identical_baths_are_refused() {
    let same: Vec<(f64, f64)> = (0..5).map(|i| (1.04, 43.0 + 0.1 * f64::from(i))).collect();
    assert!(why(forced(&same)).contains("different gravities"));
}

#[test]
fn tilts_that_fall_while_sg_rises_are_refused() {
    let falling: Vec<(f64, f64)> = GOOD.iter().map(|&(sg, tilt)| (sg, 90.0 - tilt)).collect();
    assert!(why(baths(&falling)).contains("it must rise with density"));
}

#[test]
fn a_bath_out_of_range_is_left_out_and_named() {
    for (sg, tilt) in [(1.25, 70.0), (0.90, 10.0), (1.05, 95.0), (1.05, -3.0)] {
        let mut points = GOOD.to_vec();
        points.push((sg, tilt));
        let found = fit(baths(&points));
        let calibration = &found.calibrations[0];
        assert_eq!(calibration.baths.len(), 6);
        assert!(calibration.remarks.iter().any(|remark| remark.contains("left out")), "{calibration}");
    }
}

#[test]
fn a_temperature_outside_the_formulas_leaves_the_bath_out() {
    let mut references = baths(&GOOD);
    references[3].temp_c = Some(70.0);
    let calibration = fit(references).calibrations.remove(0);
    assert_eq!(calibration.baths.len(), 5);
    assert!(calibration.remarks.iter().any(|remark| remark.contains("temperature is 70")), "{calibration}");
}

#[test]
fn a_mass_or_diameter_of_zero_is_not_used() {
    let probe = |mass: f64, diameter: f64| Probe {
        total_mass_g: Some(mass),
        diameter_mm: Some(diameter),
        length_mm: Some(140.0),
        bottom: Some(EndShape::Hemisphere),
        shell: Some("tin".into()),
        ..blank::probe("knot")
    };
    for (mass, diameter) in [(0.0, 36.0), (100.0, 0.0), (-5.0, f64::NAN)] {
        let season = Season { references: baths(&GOOD), probes: vec![probe(mass, diameter)], ..Season::default() };
        let calibration = CalibrationSettings::default().fit(&season).unwrap().calibrations.remove(0);
        assert!(calibration.remarks.iter().any(|remark| remark.contains("not used")), "{calibration}");
        assert!(calibration.remarks.iter().any(|remark| remark.contains("tin")), "{calibration}");
        let hull = &calibration.candidates[0];
        assert!(hull.refused.as_ref().unwrap().contains("not known"), "{calibration}");
    }
}

#[test]
fn missing_sds_have_defaults_and_a_wrong_bath_is_left_out() {
    let mut references = baths(&GOOD);
    for reference in &mut references {
        reference.tilt_sd_deg = None;
        reference.sg_sd = None;
    }
    let calm = fit(references.clone()).calibrations.remove(0);
    assert_eq!(calm.suspects, [], "{calm}");
    references[2].sg += 0.012;
    let calibration = fit(references).calibrations.remove(0);
    assert!(calibration.remarks.iter().any(|remark| remark.contains("does not fit the others")), "{calibration}");
    assert!(calibration.baths.iter().all(|bath| bath.sg != 1.032 + 0.012), "{calibration}");
}

#[test]
fn of_two_baths_that_may_as_well_be_the_wrong_one_neither_is_accused_alone_or_left_out() {
    let mut references = baths(&[GOOD[0], GOOD[2], GOOD[3], GOOD[5]]);
    references[1].sg += 0.010;
    let calibration = fit(references).calibrations.remove(0);
    let mut suspects: Vec<usize> = calibration.suspects.iter().map(|suspect| suspect.bath).collect();
    suspects.sort_unstable();
    assert_eq!((suspects, calibration.left_out.len(), calibration.baths.len()), (vec![1, 2], 0, 4), "{calibration}");
    assert!(calibration.suspects.iter().all(|suspect| suspect.is_slip && suspect.p < 1e-3), "{calibration}");
    let told = |remark: &String| remark.contains("its baths contradict each other") && remark.contains(" or ");
    assert!(calibration.remarks.iter().any(told), "{calibration}");
}

#[test]
fn settings_that_cannot_be_are_named() {
    let wrong = CalibrationSettings { window_min: 0.0, ..CalibrationSettings::default() };
    assert!(wrong.fit(&Season::default()).unwrap_err().to_string().contains("window_min"));
}
