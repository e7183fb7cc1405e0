//! A straight line with errors in both variables against the published answer.

use super::super::errors::BathError;
use super::*;

/// K. Pearson's data (1901) with the weights of D. York (Can. J. Phys. 44 (1966) 1079); slope and intercept by the exact
/// solution of Neri, Saitta and Chiofalo (J. Phys. E 22 (1989) 215), standard error as York and others (Am. J. Phys. 72
/// (2004) 367). Put on the scale of tilts and densities, tilt = 25 + 5 x, density = 1060 - 10 y: a change of origin and
/// unit leaves the exact solution the same.
#[test]
fn a_straight_line_with_errors_in_both_variables_is_the_published_one() {
    let x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4];
    let y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5];
    let wx = [1000.0f64, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0];
    let wy = [1.0f64, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0];
    let points: Vec<FitPoint> = (0..10)
        .map(|i| FitPoint {
            tilt_deg: 25.0 + 5.0 * x[i],
            tilt_sd_deg: 5.0 / wx[i].sqrt(),
            density_kg_m3: 1060.0 - 10.0 * y[i],
            density_sd_kg_m3: 0.0,
            errors: vec![BathError { source: i, effect: 10.0 / wy[i].sqrt() }],
        })
        .collect();
    let known = FloatPrior { hull: None, kappa: 0.25, k_known: None, size_source: None };
    let line = fit_curve(CurveKind::Line, &points, &known, 0.9).unwrap();
    let y_at = |x: f64| (1060.0 - line.curve.at(25.0 + 5.0 * x).unwrap().density_kg_m3) / 10.0;
    assert!((y_at(0.0) / 5.479_910_224_033 - 1.0).abs() < 1e-8, "{}", y_at(0.0));
    assert!(((y_at(1.0) - y_at(0.0)) / -0.480_533_407_446_2 - 1.0).abs() < 1e-8, "{}", y_at(1.0) - y_at(0.0));
    // The covariance is scaled by the residuals; without that it is York's of 2004, weights at the adjusted points.
    let se = line.variance(&line.curve.at(25.0).unwrap()).sqrt() / 10.0 / line.scale;
    assert!((se / 0.294_970_735_493_108_54 - 1.0).abs() < 1e-6, "{se}");
}
