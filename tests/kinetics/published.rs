//! Published fermentations: every curve on every batch.

use std::path::{Path, PathBuf};

use heelwort::calibration::CalibrationSettings;
use heelwort::gravity::GravitySeries;
use heelwort::gravity::SeriesBuilder;
use heelwort::kinetics::{BatchFit, FermentationCurve, Kinetics, KineticsSettings, Trait};
use heelwort::season::Season;

use crate::season::published_data::Published;

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/published").join(name)
}

fn series(set: Published) -> Vec<GravitySeries> {
    let season = Season::load(folder(set.folder())).unwrap();
    // Samples alone: there is no probe to calibrate.
    let none = CalibrationSettings::default().fit(&season).unwrap();
    SeriesBuilder::new(&season, &none, &none.gravity(&season).unwrap()).all()
}

fn fits(series: &[GravitySeries], curve: FermentationCurve, candidates: bool) -> Kinetics {
    KineticsSettings { curves: vec![curve], candidates, ..Default::default() }.fit_all(series).unwrap()
}

#[test]
fn every_curve_fits_every_batch() {
    for set in Published::ALL {
        let (series, mut failures) = (series(set), Vec::new());
        for curve in [
            FermentationCurve::Logistic4,
            FermentationCurve::Logistic5,
            FermentationCurve::Gompertz,
            FermentationCurve::Smooth,
        ] {
            for fit in &fits(&series, curve, false).batches {
                if fit.fitted.is_none() {
                    failures.push(format!("{} {curve:?}: {}", fit.batch, fit.why));
                }
                assert!(fit.rmse_sg.is_none_or(|rmse| rmse < 0.01), "{} {curve:?}: {:?}", fit.batch, fit.rmse_sg);
            }
        }
        assert!(failures.is_empty(), "{failures:?}");
    }
}

#[test]
fn candidates_are_compared_and_one_is_chosen() {
    let kinetics = fits(&series(Published::AgaveMust), FermentationCurve::Smooth, true);
    let frame = kinetics.candidates_frame().unwrap();
    assert_eq!(frame.height(), 13 * FermentationCurve::ALL.len());
    let mut forward = vec![(0, 0.0); FermentationCurve::ALL.len()];
    for fit in &kinetics.batches {
        assert_eq!(fit.candidates.iter().filter(|c| c.chosen).count(), 1, "{}", fit.batch);
        for (i, candidate) in fit.candidates.iter().enumerate() {
            assert!(candidate.rmse_sg.is_some() || !candidate.why.is_empty(), "{} {candidate:?}", fit.batch);
            if let Some(rmse) = candidate.forward_rmse_sg {
                forward[i].0 += 1;
                forward[i].1 += rmse * rmse;
            } else {
                assert!(!candidate.why.is_empty(), "{} {candidate:?}", fit.batch);
            }
        }
    }
    for (kind, (n, square)) in FermentationCurve::ALL.iter().zip(forward) {
        assert!(n >= 10, "{kind}: {n}");
        println!("{kind}: {n} batches foretold, root mean square error {:.5} SG", (square / f64::from(n)).sqrt());
    }
}

#[test]
fn the_second_tube_lags_the_first_at_half_way() {
    for curve in [FermentationCurve::Logistic4, FermentationCurve::Smooth] {
        let kinetics = fits(&series(Published::AgaveMust), curve, false);
        let mid = |batch: &str| -> heelwort::fit::Estimate {
            let fit: &BatchFit = kinetics.get(batch).unwrap();
            // Eight hours apart, the tubes end before all curves have nine tenths behind them.
            fit.finding(Trait::MidH).estimate().unwrap_or_else(|| panic!("{fit}")).clone()
        };
        let (first, second) = (mid("T1"), mid("T2"));
        let (later, se) = (second.value - first.value, first.se.hypot(second.se));
        println!("{curve:?}: T2 is {later:.2} h later than T1 at half-way, standard error {se:.2} h");
        // SOURCE.md, by straight lines between samples: 4.7 h.
        assert!((later - 4.7).abs() < 1.645 * se, "{curve:?}: {later} +- {se}");
    }
}
