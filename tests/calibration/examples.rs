//! Worked calibrations of others, and facts of the trade.
//!
//! The straight line with errors in both variables: K. Pearson's data (1901) with the weights of D. York (Can. J. Phys. 44
//! (1966) 1079); slope and intercept by the exact solution of Neri, Saitta and Chiofalo (J. Phys. E 22 (1989) 215),
//! standard errors as York and others (Am. J. Phys. 72 (2004) 367).

use heelwort::Instant;
use heelwort::calibration::{Calibration, CalibrationSettings};
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::Season;

use super::floats::bath;

/// Pearson's x and y with York's weights, put on the scale of tilts and densities: tilt = 25 + 5 x, SG = 1.06 - 0.01 y.
/// A change of origin and unit leaves the exact solution the same.
fn pearson() -> (Season, [f64; 2]) {
    let x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4];
    let y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5];
    let wx = [1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0];
    let wy = [1.0f64, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0];
    let at = Instant::parse("2031-03-01T10:00:00Z").unwrap();
    let references = (0..10)
        .map(|i| {
            let (sd_x, sd_y) = (1.0 / f64::sqrt(wx[i]), 1.0 / wy[i].sqrt());
            let mut bath =
                bath(at.plus_hours(i as f64), 1.06 - 0.01 * y[i], 25.0 + 5.0 * x[i], 5.0 * sd_x, 0.01 * sd_y);
            bath.use_as = Some(heelwort::season::ReferenceUse::Calibrate);
            bath.bath = Some(format!("b{i}"));
            bath
        })
        .collect();
    (Season { references, ..Season::default() }, [5.479_910_224_033, -0.480_533_407_446_2])
}

#[test]
fn a_straight_line_with_errors_in_both_variables_is_the_published_one() {
    let (season, [intercept, slope]) = pearson();
    // Independent errors only, as in the example.
    let found = CalibrationSettings { weighed_gain: 0.0, ..CalibrationSettings::default() }.fit(&season).unwrap();
    let calibration = &found.calibrations[0];
    let line = calibration.candidates.iter().find(|c| c.kind.name() == "polynomial_1").unwrap();
    let fitted = line.fitted.as_ref().unwrap();
    let sg_at = |tilt: f64| fitted.curve.at(tilt).unwrap().density_kg_m3 / WATER_20C_KG_M3;
    let y_at = |x: f64| (1.06 - sg_at(25.0 + 5.0 * x)) / 0.01;
    assert!((y_at(0.0) / intercept - 1.0).abs() < 1e-8, "{} {intercept}", y_at(0.0));
    assert!(((y_at(1.0) - y_at(0.0)) / slope - 1.0).abs() < 1e-8, "{} {slope}", y_at(1.0) - y_at(0.0));
    // The covariance is scaled by the residuals; without that it is York's of 2004, weights at the adjusted points.
    let point = fitted.curve.at(25.0).unwrap();
    let se = fitted.variance(&point).sqrt() / WATER_20C_KG_M3 / 0.01 / fitted.scale;
    assert!((se / 0.294_970_735_493_108_54 - 1.0).abs() < 1e-6, "{se}");
}

/// Common practice, no source: a good probe rests at 25 +- 5 degrees in pure water.
#[test]
fn a_probe_off_the_usual_water_tilt_is_told() {
    for (shift, ok) in [(0.0, true), (4.0, true), (7.0, false), (-6.0, false)] {
        let calibration = calibrated(|sg| 25.0 + shift + 420.0 * (sg - 1.0));
        assert_eq!(calibration.water_ok, Some(ok), "{calibration}");
        let tilt = calibration.water_tilt_deg.estimate().unwrap();
        assert!((tilt.value - 25.0 - shift).abs() < 0.5 && tilt.se > 0.0, "{tilt}");
    }
}

#[test]
fn the_difference_of_two_readings_is_surer_than_either() {
    let calibration = calibrated(|sg| 25.0 + 420.0 * (sg - 1.0));
    let tilts = [30.0, 31.0];
    let (own, factor) = calibration.gravity_covariance(&tilts, 0.05).unwrap();
    let shared = |i: usize| factor.row(i).dot(&factor.row(i));
    for (i, &tilt) in tilts.iter().enumerate() {
        let se = calibration.sg_at(tilt).unwrap().se;
        assert!((shared(i).sqrt() / se - 1.0).abs() < 1e-9);
    }
    let difference = shared(0) + shared(1) - 2.0 * factor.row(0).dot(&factor.row(1));
    assert!(difference < 0.1 * shared(0) && own.iter().all(|v| *v > 0.0));
    let fall = calibration.sg_difference(31.0, 30.0, 0.05).unwrap();
    assert!((fall.se / (own[0] + own[1] + difference).sqrt() - 1.0).abs() < 1e-9 && fall.value > 0.0, "{fall}");
    let ends = [31.0, 30.0].map(|tilt| calibration.sg_at(tilt).unwrap().value);
    assert!((fall.value - (ends[0] - ends[1])).abs() < 1e-12);
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
