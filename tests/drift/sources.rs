//! Errors that probes share: what an instrument did to the curves it is in again when it reads the checks.

use std::path::Path;

use heelwort::calibration::CalibrationSettings;
use heelwort::common::{CommonSettings, InstrumentErrors};
use heelwort::drift::{Drift, DriftSettings};
use heelwort::season::{Reference, ReferenceUse, Season};

use super::fleet::{Fleet, known};

fn drift(season: &Season, settings: CalibrationSettings) -> Drift {
    let calibrations = settings.fit(season).unwrap();
    DriftSettings::default().fit(season, &calibrations).unwrap()
}

/// Probes of unknown size, calibrated once with a poor hydrometer h1 and without water, which would tell on it; and checked
/// late, by this method with the instrument of this name.
fn read_with(method: &str, instrument: &str) -> Drift {
    let mut season = known(&Fleet { probes: 4, ..Fleet::default() }, 17).season;
    season.probes.clear();
    let start = season.references[0].at;
    let first = |r: &Reference| r.bath.as_deref().is_some_and(|bath| bath.starts_with("s0")) && r.sg > 1.001;
    season.references.retain(|r| first(r) || (r.batch.is_some() && r.at.days_since(start) > 150.0));
    for reference in &mut season.references {
        reference.sg_sd = Some(0.0007);
        if reference.batch.is_some() {
            (reference.method, reference.instrument) = (Some(method.into()), Some(instrument.into()));
        } else {
            reference.use_as = Some(ReferenceUse::Calibrate);
        }
    }
    drift(
        &season,
        CalibrationSettings {
            common: CommonSettings {
                instruments: InstrumentErrors { hydrometer_bias_sg: 0.003, ..Default::default() },
                ..Default::default()
            },
            ..CalibrationSettings::default()
        },
    )
}

#[test]
fn one_wrong_hydrometer_in_curves_and_checks_falls_out_of_drift_and_not_of_the_offset() {
    let same = read_with("hydrometer", "h1");
    let p0 = |drift: &Drift| drift.of_probe("p0").unwrap().clone();
    let (drift, offset) = (|d: &Drift| p0(d).drift_sg_per_30d.se().unwrap(), |d: &Drift| p0(d).offset_sg.se().unwrap());
    let other = read_with("hydrometer", "h2");
    assert!(drift(&same) < 0.9 * drift(&other), "{} {}", drift(&same), drift(&other));
    // Nobody but another instrument can tell that h1 was wrong from the first day.
    let good = read_with("pycnometer", "bottle");
    assert!(offset(&same) > 1.1 * offset(&good), "{} {}", offset(&same), offset(&good));
}

#[test]
fn a_bath_of_several_probes_is_one_error_of_their_curves() {
    // Probes of unknown size that drift alike, and only poor baths to tell: four probes in the same ones, or each in its own.
    // Later water, which nobody gets wrong, is left out.
    let alike = Fleet { probes: 4, mass_drift: (-0.0004, 0.0), turn_deg: 0.0, walk_deg: 0.0, ..Fleet::default() };
    let mut together = known(&alike, 18).season;
    together.probes.clear();
    let first = |r: &Reference| r.bath.as_deref().is_some_and(|bath| bath.starts_with("s0"));
    together.references.retain(|r| first(r) || (r.bath.is_some() && r.sg > 1.001));
    for reference in together.references.iter_mut().filter(|r| r.instrument.is_some()) {
        (reference.instrument, reference.method) = (None, Some("pycnometer".into()));
        reference.sg_sd = Some(0.003);
    }
    let mut apart = together.clone();
    for reference in &mut apart.references {
        reference.bath = Some(format!("{:?} of {:?}", reference.bath, reference.probe));
    }
    let mean = |drift: &Drift| drift.term("mean_drift_sg_per_30d").unwrap().finding.se().unwrap();
    let drift = |season: &Season| drift(season, CalibrationSettings::default());
    let (together, apart) = (mean(&drift(&together)), mean(&drift(&apart)));
    assert!(together > 1.15 * apart, "{together} {apart}");
}

#[test]
fn batches_without_samples_end_where_their_probes_settled() {
    let season = Season::load(Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/tern-island")).unwrap();
    let calibrations = CalibrationSettings::default().fit(&season).unwrap();
    let settings = DriftSettings { shift_alarm: 0.0, ..DriftSettings::default() };
    let ends = |season: &Season| settings.fit(season, &calibrations).unwrap().ends_sg;
    let mut without = season.clone();
    for reference in without.references.iter_mut().filter(|r| r.batch.is_some()) {
        // Early samples tell nothing of the end.
        reference.at = season.batches[0].pitched_at.plus_days(-1.0);
    }
    let (with, without) = (ends(&season), ends(&without));
    assert_eq!(with.len(), without.len());
    for (sample, settled) in with.iter().zip(&without) {
        assert!((sample - settled).abs() < 0.004 && sample != settled, "{with:?} {without:?}");
    }
}
