//! Errors of readings: their own and what they share.

use super::*;
use crate::calibration::ErrorSource;
use crate::calibration::{CalibrationCurve, CalibrationSettings};
use crate::float::WallSided;
use crate::liquid::WATER_20C_KG_M3;
use crate::season::{Reference, Season};
use crate::units::Instant;

fn errors(own: f64, shared: &[(usize, f64)]) -> ReadingErrors {
    let mut errors = ReadingErrors { own: [own; OWN_SOURCES], shared: Vec::new() };
    for (source, effect) in shared {
        errors.add(*source, *effect);
    }
    errors
}

#[test]
fn what_two_errors_have_in_common_is_their_covariance() {
    let (a, b) = (errors(1.0, &[(7, 2.0), (3, 1.0), (5, 4.0)]), errors(0.5, &[(5, 3.0), (3, -2.0), (1, 9.0)]));
    assert_eq!(a.covariance(&b, |_| true), 6.0 * 0.5 + 12.0 - 2.0);
    assert_eq!(a.covariance(&b, |source| source != 5), 3.0 - 2.0);
    assert_eq!(a.clone().minus(&a).covariance(&b, |_| true), 0.0);
}
/// Two probes through the same baths of one hydrometer.
#[test]
fn own_and_shared_parts_make_up_the_error_of_the_curve() {
    let float = WallSided { k_kg_m3: 5458.0, h: 2.609, eps: 0.0797, kappa: 2.0 / 9.0 };
    let curve = CalibrationCurve::of_wall_sided(float, 0.0);
    let start = Instant::parse("2031-03-01T10:00:00Z").unwrap();
    let mut season = Season::default();
    for probe in ["knot", "ruff"] {
        for b in 0..6 {
            let sg = 1.0 + 0.015 * f64::from(b);
            let tilt = curve.tilt_deg(sg * WATER_20C_KG_M3).unwrap() + 0.2 * f64::from((3 * b) % 5 - 2);
            let method = if b == 0 { "water" } else { "hydrometer" };
            season.references.push(Reference {
                probe: Some(probe.into()),
                bath: Some(format!("bath {b}")),
                method: Some(method.into()),
                tilt_deg: Some(tilt),
                temp_c: Some(20.0),
                ..Reference::new(start.plus_hours(f64::from(b)), sg)
            });
        }
    }
    season.references.sort_by_key(|r| r.at);
    let found = CalibrationSettings::default().fit(&season).unwrap();
    let sugar = BeerDensity::unfermented().unwrap();
    for calibration in &found.calibrations {
        let root = CovarianceRoot::of_own(&calibration.fitted);
        for tilt in [28.0, 40.0, 55.0] {
            let errors = calibration.reading_errors(&root, &sugar, tilt, 20.0, 0.3).unwrap();
            let point = calibration.gravity_at(&sugar, tilt, 20.0, 0.3).unwrap();
            let total = errors.covariance(&errors, |_| true);
            assert!((total / point.shared_se.powi(2) - 1.0).abs() < 1e-9, "{total} {point:?}");
            // The hydrometer is nearly all of what the probes share, and more than half of the error in strong baths.
            let hydrometer = errors
                .shared
                .iter()
                .find(|(s, _)| found.sources.get(*s) == Some(&ErrorSource::Instrument("hydrometer".into())))
                .unwrap()
                .1;
            assert!(hydrometer > 0.0 && hydrometer < 0.0007, "{hydrometer}");
            assert!(errors.covariance(&errors, |_| false) > 0.1 * total);
        }
    }
}
