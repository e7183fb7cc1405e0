//! A curve by linfa's conventions: the same numbers as the study's, and errors for what makes no curve.

use heelwort::Error;
use heelwort::calibration::{CalibrationSettings, CurveKind, CurveParams};
use heelwort::season::ReferenceUse;
use linfa::Dataset;
use linfa::prelude::ParamGuard;
use linfa::traits::{Fit, Predict};
use ndarray::{Array1, Array2, array};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::floats::{Case, Float, hull, season};

const TILTS: [f64; 6] = [25.0, 31.1, 39.0, 47.8, 55.4, 60.7];
const SGS: [f64; 6] = [1.0, 1.016, 1.032, 1.048, 1.064, 1.08];

fn dataset(tilts: &[f64], sgs: &[f64]) -> Dataset<f64, f64, ndarray::Ix1> {
    let records = Array2::from_shape_vec((tilts.len(), 1), tilts.to_vec()).unwrap();
    Dataset::new(records, Array1::from(sgs.to_vec()))
}

fn refused(kind: CurveKind, tilts: &[f64], sgs: &[f64]) -> Error {
    CurveParams::new(kind).fit(&dataset(tilts, sgs)).unwrap_err()
}

#[test]
fn it_gives_the_numbers_of_the_study() {
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    let case = Case {
        float: Float::Long,
        baths: SGS.to_vec(),
        tilt_sd_deg: 0.3,
        bath_sd: 0.0005,
        weighed: true,
        length_known: true,
    };
    let (hull, shape) = hull(case.float, &mut rng);
    let mut season = season(&case, &hull, &shape, &mut rng);
    for reference in &mut season.references {
        (reference.sg_sd, reference.use_as) = (Some(0.0005), Some(ReferenceUse::Calibrate));
    }
    // Here each bath has its own error and no other.
    let settings = CalibrationSettings { weighed_gain: 0.0, tilt_sd_deg: 0.3, ..CalibrationSettings::default() };
    let calibration = settings.fit(&season).unwrap().calibrations.remove(0);
    let (tilts, sgs): (Vec<f64>, Vec<f64>) = calibration.baths.iter().map(|bath| (bath.tilt_deg, bath.sg)).unzip();
    for candidate in &calibration.candidates {
        let Some(fitted) = candidate.fitted.as_ref().filter(|_| candidate.refused.is_none()) else { continue };
        let params = CurveParams::new(candidate.kind).probe(season.probes[0].clone()).settings(settings.clone());
        let learned = params.fit(&dataset(&tilts, &sgs)).unwrap();
        let asked = array![[24.0], [30.0], [45.0], [58.0]];
        let predicted = learned.predict(&asked);
        for (&tilt, &sg) in asked.iter().zip(&predicted) {
            let study = calibration.sg_on(fitted, tilt).unwrap();
            let own = learned.sg_at(tilt).unwrap();
            assert!((sg - study.value).abs() < 1e-9 && (own.value - sg).abs() < 1e-15, "{} {tilt}", candidate.kind);
            assert!((own.se / study.se - 1.0).abs() < 1e-6, "{} {tilt}: {} {}", candidate.kind, own.se, study.se);
        }
    }
}

#[test]
fn a_data_set_of_views_is_fitted_too() {
    let whole = dataset(&TILTS, &SGS);
    let view = whole.view();
    let (train, _) = view.split_with_ratio(0.8);
    let curve = CurveParams::new(CurveKind::WallSidedFree).fit(&train).unwrap();
    let sg = curve.predict(&train);
    assert_eq!(sg.len(), 5);
    assert!(sg.iter().all(|sg| (0.99..1.1).contains(sg)));
}

#[test]
fn baths_that_make_no_curve_are_refused() {
    let cubic = CurveKind::Polynomial(3);
    let told = |error: Error, part: &str| assert!(error.to_string().contains(part), "{error}; wanted {part}");
    told(refused(cubic, &TILTS[..3], &SGS[..3]), "3 baths for 4 free coefficients");
    told(refused(cubic, &[], &[]), "no bath");
    told(refused(cubic, &[43.0, 43.1, 43.2, 42.9], &[1.04; 4]), "different gravities");
    let falling: Vec<f64> = TILTS.iter().map(|tilt| 90.0 - tilt).collect();
    told(refused(cubic, &falling, &SGS), "must rise with density");
    for (i, sg) in [(0, 0.94), (5, 1.21), (3, f64::NAN)] {
        let mut sgs = SGS;
        sgs[i] = sg;
        assert!(matches!(refused(cubic, &TILTS, &sgs), Error::Domain { .. }), "{sg}");
    }
    for tilt in [-1.0, 95.0, f64::NAN, f64::INFINITY] {
        let mut tilts = TILTS;
        tilts[2] = tilt;
        assert!(matches!(refused(cubic, &tilts, &SGS), Error::Domain { .. }), "{tilt}");
    }
    // A parabola through an S that bends down at its end does not rise there.
    let bent = refused(CurveKind::Polynomial(2), &[25.0, 40.0, 50.0, 55.0], &[1.0, 1.05, 1.06, 1.0601]);
    assert!(matches!(bent, Error::NotEstimable { .. }), "{bent}");
    let unknown = CurveParams::new(CurveKind::Hull).fit(&dataset(&TILTS, &SGS)).unwrap_err();
    told(unknown, "not known");
}

#[test]
fn other_shapes_and_weights_are_refused() {
    let two = Dataset::new(Array2::<f64>::zeros((4, 2)), Array1::from(vec![1.0; 4]));
    let params = || CurveParams::new(CurveKind::Polynomial(1));
    assert!(matches!(params().fit(&two), Err(Error::Usage(_))));
    let weighted = dataset(&TILTS, &SGS).with_weights(Array1::from(vec![1.0f32; 6]));
    assert!(matches!(params().fit(&weighted), Err(Error::Usage(_))));
    let curve = params().fit(&dataset(&TILTS, &SGS)).unwrap();
    let none = curve.predict(&Array2::<f64>::zeros((2, 3)));
    assert!(none.iter().all(|sg| sg.is_nan()), "no tilt, no gravity");
}

#[test]
fn settings_are_checked_before_the_fit() {
    let wrong = [
        ("bath_sd_sg", CurveParams::new(CurveKind::Polynomial(1)).bath_sd_sg(0.0)),
        ("bath_sd_sg", CurveParams::new(CurveKind::Polynomial(1)).bath_sd_sg(f64::NAN)),
        ("tilt_sd_deg", CurveParams::new(CurveKind::Polynomial(1)).tilt_sd_deg(-1.0)),
        ("kind", CurveParams::new(CurveKind::Polynomial(0))),
        ("kind", CurveParams::new(CurveKind::Polynomial(4))),
    ];
    for (name, params) in wrong {
        assert!(params.check_ref().unwrap_err().to_string().contains(name));
        assert!(params.fit(&dataset(&TILTS, &SGS)).unwrap_err().to_string().contains(name));
    }
    assert!(CurveParams::new(CurveKind::Polynomial(2)).check().is_ok());
}
