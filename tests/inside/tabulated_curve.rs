//! Values, inverses and derivatives of tabulated fermentation curves.

use super::*;
use crate::kinetics::FermentationCurve;

fn logistic(original: f64, terminal: f64, scale_h: f64, steepness: f64, asymmetry: f64) -> GravityCurve {
    GravityCurve::plain(FermentationCurve::Logistic5, [original, terminal], scale_h, [steepness, asymmetry])
}

fn curves() -> Vec<GravityCurve> {
    let mut curves = Vec::new();
    for steepness in [0.02, 0.5, 1.3, 6.0] {
        for asymmetry in [0.2, 1.0, 4.0] {
            curves.push(logistic(1.052, 1.011, 38.0, steepness, asymmetry));
            let correction = std::array::from_fn(|k| 0.3 * (1.7 * k as f64).sin());
            let plain = logistic(1.052, 1.011, 38.0, steepness, asymmetry);
            curves.push(GravityCurve { correction, ..plain });
            curves.push(GravityCurve { correction, tail_share: 0.15, tail_pace: 0.12, ..plain });
            curves.push(GravityCurve::plain(FermentationCurve::Gompertz, [1.052, 1.011], 38.0, [steepness, asymmetry]));
        }
    }
    curves
}

#[test]
fn the_parameters_are_what_they_say() {
    for curve in curves() {
        let table = curve.tabulate();
        assert!((table.sg(0.0) - 1.052).abs() < 1e-14);
        assert!((table.sg(1e4) - 1.011).abs() < 1e-5);
        assert!((table.sg(table.time_of_progress_h(0.5)) - 1.0315).abs() < 1e-12);
        let finish = table.finish_h(0.001);
        assert!((table.sg(finish) - 1.012).abs() < 1e-12);
        if curve.correction == [0.0; N_BASIS] && curve.tail_share == 0.0 {
            assert!((table.time_of_progress_h(0.5) - 38.0).abs() < 1e-9);
        }
    }
}

#[test]
fn the_gradient_agrees_with_differences() {
    for curve in curves() {
        for hours in [0.0, 0.5, 10.1, 38.7, 60.1, 300.0] {
            let (value, gradient) = curve.tabulate().gradient(hours);
            assert!((value - curve.tabulate().sg(hours)).abs() < 1e-15);
            for (i, &analytic) in gradient.iter().enumerate() {
                let step = 1e-6;
                let moved = |by: f64| {
                    let mut vector = curve.to_vector();
                    vector[i] += by;
                    GravityCurve::from_vector(curve.kind, &vector).tabulate().sg(hours)
                };
                let numeric = (moved(step) - moved(-step)) / (2.0 * step);
                assert!((analytic - numeric).abs() < 1e-8, "{curve:?} {hours} {i}: {analytic} {numeric}");
            }
        }
    }
}

#[test]
fn four_parameters_are_the_plain_logistic() {
    let curve = logistic(1.05, 1.01, 40.0, 1.2, 1.0);
    let table = curve.tabulate();
    // The formulas of the module's text with s = 1: c = 1/2, w = 2 p, B = ln 2 + w, a = 1 / (2 (exp(w) - 1)).
    let k = (std::f64::consts::LN_2 + 2.4) / 40.0;
    let a = 0.5 / 2.4_f64.exp_m1();
    let m = -a.ln() / k;
    let d = curve.drop_sg() * (1.0 + a);
    for hours in [0.0, 13.0, 40.0, 90.0, 500.0] {
        let plain = 1.01 + d / (1.0 + (k * (hours - m)).exp());
        assert!((table.sg(hours) - plain).abs() < 1e-14);
    }
}

#[test]
fn the_gompertz_form_is_the_modified_one_from_pitching_on() {
    let curve = GravityCurve::plain(FermentationCurve::Gompertz, [1.05, 1.01], 40.0, [1.5, 1.0]);
    let table = curve.tabulate();
    // Zwietering's writing: exp(-exp(e R (lag - t) + 1)) of what is left at pitching without its start.
    let c = 6.0_f64;
    let k = (c / -(0.5 * (1.0 + (-c).exp())).ln()).ln() / 40.0;
    let rate = k / std::f64::consts::E;
    let lag = (c.ln() - 1.0) / k;
    let rise = |t: f64| (-((std::f64::consts::E * rate * (lag - t) + 1.0).exp())).exp();
    for hours in [0.0, 5.0, 40.0, 90.0] {
        let left = (1.0 - rise(hours)) / (1.0 - rise(0.0));
        assert!((table.sg(hours) - (1.01 + 0.04 * left)).abs() < 1e-14);
    }
    assert!((table.steepest_h() - c.ln() / k).abs() < 1e-9);
}
