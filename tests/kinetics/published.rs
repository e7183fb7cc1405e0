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

fn fits(series: &[GravitySeries], curve: FermentationCurve) -> Kinetics {
    KineticsSettings { curves: vec![curve], ..Default::default() }.fit_all(series).unwrap()
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
            for fit in &fits(&series, curve).batches {
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
fn the_second_tube_lags_the_first_at_half_way() {
    for curve in [FermentationCurve::Logistic4, FermentationCurve::Smooth] {
        let kinetics = fits(&series(Published::AgaveMust), curve);
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
