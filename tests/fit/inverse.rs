//! Inverse prediction against independently computed answers: straight lines, a parabola, a logistic assay.

use heelwort::fit::inverse::{CurveResponse, InverseInterval, InversePrediction};
use heelwort::fit::linear::{LinearFit, LinearSettings};
use heelwort::fit::nonlinear::{Curve, CurveResiduals, NonlinearSettings, Parameter};
use serde_json::Value;

use super::{near, numbers, reference};

const LEVEL: f64 = 0.95;

fn powers(x: &[f64], y: &[f64], degree: i32) -> LinearFit {
    let columns: Vec<Vec<f64>> = (1..=degree).map(|k| x.iter().map(|x| x.powi(k)).collect()).collect();
    let names = ["x1", "x2"];
    let columns: Vec<(&str, &[f64])> = names.into_iter().zip(columns.iter().map(Vec::as_slice)).collect();
    LinearSettings::default().fit(&columns, y, None).unwrap()
}

fn response(fit: &LinearFit, x: f64) -> CurveResponse {
    let row: Vec<f64> = (0..fit.coefficients.len() as i32).map(|k| x.powi(k)).collect();
    let slope: f64 = (1..row.len()).map(|k| k as f64 * fit.coefficients[k] * x.powi(k as i32 - 1)).sum();
    let value: f64 = row.iter().zip(&fit.coefficients).map(|(a, b)| a * b).sum();
    let mut variance = 0.0;
    for (i, a) in row.iter().enumerate() {
        variance += row.iter().enumerate().map(|(j, b)| a * b * fit.covariance[[i, j]]).sum::<f64>();
    }
    CurveResponse { value, slope, variance }
}

/// Both intervals of a point, and the one of a reading without error of its own.
fn check(point: &Value, s: f64, df: f64, range: (f64, f64), at: impl Fn(f64) -> CurveResponse, tolerance: f64) {
    let number = |name: &str| point[name].as_f64().unwrap();
    let m = number("m");
    let reading = |variance: f64, method| InversePrediction { y: number("y0"), variance, df, level: LEVEL, method };
    let some = |x| Some(at(x));
    let delta = reading(s * s / m, InverseInterval::Delta).of(some, range.0, range.1).unwrap();
    near(delta.value, number("x0"), tolerance);
    near(delta.se, number("se_delta"), tolerance);
    let both = |name: &str| numbers(&point[name]);
    near(delta.lower, both("wald")[0], tolerance);
    near(delta.upper, both("wald")[1], tolerance);
    let inverted = reading(s * s / m, InverseInterval::Inversion).of(some, range.0, range.1).unwrap();
    near(inverted.lower, both("inversion")[0], tolerance);
    near(inverted.upper, both("inversion")[1], tolerance);
    if !point["mean_response_inversion"].is_null() {
        let mean = reading(0.0, InverseInterval::Inversion).of(some, range.0, range.1).unwrap();
        near(mean.lower, both("mean_response_inversion")[0], tolerance);
        near(mean.upper, both("mean_response_inversion")[1], tolerance);
    }
}

fn problem(name: &str) -> (Vec<f64>, Vec<f64>) {
    let all = reference("strd_linear.json");
    let found = all["problems"].as_array().unwrap().iter().find(|p| p["name"] == name).unwrap();
    (numbers(&found["data"]["x"]), numbers(&found["data"]["y"]))
}

#[test]
fn straight_lines_and_a_parabola() {
    let all = reference("inverse_prediction.json");
    for case in all["linear"].as_array().unwrap() {
        let name = case["data"].as_str().unwrap().rsplit(' ').next().unwrap();
        let (x, y) = problem(name);
        // StRD's Pontius is a parabola; here its straight line.
        let fit = powers(&x, &y, 1);
        let (low, high) = (x.iter().copied().fold(0.0, f64::min), x.iter().copied().fold(0.0, f64::max));
        for point in case["points"].as_array().unwrap() {
            let (s, df) = (case["s"].as_f64().unwrap(), case["df"].as_f64().unwrap());
            check(point, s, df, (low - 0.2 * high, 1.2 * high), |x| response(&fit, x), 1e-6);
        }
    }
    let case = &all["quadratic"];
    let (x, y) = problem("Pontius");
    let x: Vec<f64> = x.iter().map(|x| x / 1e6).collect();
    let fit = powers(&x, &y, 2);
    for point in case["points"].as_array().unwrap() {
        let (s, df) = (case["s"].as_f64().unwrap(), case["df"].as_f64().unwrap());
        check(point, s, df, (0.0, 4.0), |x| response(&fit, x), 1e-6);
    }
}

/// a / (1 + exp((m - x)/s)).
struct Logistic;

impl Curve for Logistic {
    fn value(&self, x: f64, p: &[f64]) -> f64 {
        p[0] / (1.0 + ((p[1] - x) / p[2]).exp())
    }

    fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
        let e = ((p[1] - x) / p[2]).exp();
        let d = 1.0 + e;
        out[0] = 1.0 / d;
        out[1] = -p[0] * e / (p[2] * d * d);
        out[2] = p[0] * e * (p[1] - x) / (p[2] * p[2] * d * d);
    }
}

#[test]
fn an_assay_with_a_logistic_curve() {
    let all = reference("inverse_prediction.json");
    let (x, y) = (numbers(&all["dnase_1"]["log_concentration"]), numbers(&all["dnase_1"]["density"]));
    let start = [Parameter::new("top", 2.4), Parameter::new("mid", 1.5), Parameter::new("scale", 1.0)];
    let problem = CurveResiduals::new(&Logistic, &x, &y, None).unwrap();
    let fit = NonlinearSettings::default().fit(&problem, &start).unwrap();
    let p = fit.values();
    let at = |x: f64| {
        let mut g = [0.0; 3];
        Logistic.gradient(x, &p, &mut g);
        let mut variance = 0.0;
        for i in 0..3 {
            variance += (0..3).map(|j| g[i] * g[j] * fit.covariance[[i, j]]).sum::<f64>();
        }
        CurveResponse { value: Logistic.value(x, &p), slope: p[0] / p[2] * g[0] * (1.0 - g[0]), variance }
    };
    for point in all["nonlinear"]["points"].as_array().unwrap() {
        check(point, fit.sigma, 13.0, (-6.0, 6.0), at, 2e-6);
    }
}

#[test]
fn a_slope_that_is_not_sure_has_no_interval() {
    let case = &reference("inverse_prediction.json")["unbounded"];
    let (x, y) = (numbers(&case["x"]), numbers(&case["y"]));
    let fit = powers(&x, &y, 1);
    let s = case["s"].as_f64().unwrap();
    let reading =
        InversePrediction { y: 2.2, variance: s * s, df: 4.0, level: LEVEL, method: InverseInterval::Inversion };
    let refused = reading.of(|x| Some(response(&fit, x)), -1e3, 1e3).unwrap_err().to_string();
    assert!(refused.contains("too flat"), "{refused}");
    let delta =
        InversePrediction { method: InverseInterval::Delta, ..reading }.of(|x| Some(response(&fit, x)), -1e3, 1e3);
    assert!(delta.unwrap().se.is_finite());
}
