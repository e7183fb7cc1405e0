//! Facts of the trade, and of errors that two readings share.
use heelwort::Instant;
use heelwort::calibration::{Calibration, CalibrationSettings};
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::Season;

use super::floats::bath;

/// Common practice, no source: probes rest at 25 +- 5 degrees in pure water. A calibration tells the tilt wherever it is.
#[test]
fn the_water_tilt_is_told_and_not_judged() {
    for shift in [0.0, 4.0, 7.0, -6.0] {
        let calibration = calibrated(|sg| 25.0 + shift + 420.0 * (sg - 1.0));
        let tilt = calibration.water_tilt_deg.estimate().unwrap();
        assert!((tilt.value - 25.0 - shift).abs() < 0.5 && tilt.se > 0.0, "{tilt}");
    }
}

#[test]
fn the_difference_of_two_readings_is_surer_than_either() {
    let calibration = calibrated(|sg| 25.0 + 420.0 * (sg - 1.0));
    let ends = [31.0, 30.0].map(|tilt| calibration.sg_at(tilt).unwrap());
    let fall = calibration.sg_difference(31.0, 30.0, 0.0).unwrap();
    assert!(fall.se < 0.3 * ends[1].se, "{fall} {}", ends[1]);
    assert!((fall.value - (ends[0].value - ends[1].value)).abs() < 1e-12 && fall.value > 0.0);
    // What each reading has of its own comes in full from both.
    let per_deg = [31.0, 30.0].map(|tilt| calibration.fitted.curve.at(tilt).unwrap().per_deg / WATER_20C_KG_M3);
    let noisy = calibration.sg_difference(31.0, 30.0, 0.05).unwrap();
    let own = (0.05 * per_deg[0]).hypot(0.05 * per_deg[1]);
    assert!((noisy.se / fall.se.hypot(own) - 1.0).abs() < 1e-9, "{noisy}");
}

/// A probe with these tilts in water and five baths.
fn calibrated(tilt: impl Fn(f64) -> f64) -> Calibration {
    let at = Instant::parse("2031-03-01T10:00:00Z").unwrap();
    let references = (0..6)
        .map(|i| 1.0 + 0.016 * f64::from(i))
        .enumerate()
        .map(|(i, sg)| bath(at.plus_hours(i as f64), sg, tilt(sg), 0.3, if i == 0 { 0.0001 } else { 0.0005 }))
        .collect();
    let season = Season { references, ..Season::default() };
    CalibrationSettings::default().fit(&season).unwrap().calibrations.remove(0)
}
