//! Robust regression by reweighting, from the helpers and the linear fit, against published data.

use crate::fit::linear::LinearSettings;
use crate::fit::robust::{huber_weight, median};

use super::{near, numbers, reference};

/// A median absolute deviation of normal data times this is their standard deviation.
const MAD_FACTOR: f64 = 1.482_602_218_505_602;

/// Reweights from least squares until nothing moves; the scale is the median absolute residual over its normal value.
fn reweight(columns: &[(&str, &[f64])], y: &[f64], weight: impl Fn(f64) -> f64) -> (Vec<f64>, f64, Vec<f64>) {
    let mut weights = vec![1.0; y.len()];
    let (mut coefficients, mut scale) = (Vec::new(), 0.0);
    for _ in 0..2000 {
        let sd: Vec<f64> = weights.iter().map(|w: &f64| w.max(1e-30).sqrt().recip()).collect();
        let fit = LinearSettings::default().fit(columns, y, Some(&sd)).unwrap();
        let fitted = |i: usize| {
            fit.coefficients[0] + columns.iter().zip(&fit.coefficients[1..]).map(|(c, b)| c.1[i] * b).sum::<f64>()
        };
        let residuals: Vec<f64> = y.iter().enumerate().map(|(i, y)| y - fitted(i)).collect();
        let sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
        scale = MAD_FACTOR * median(&sizes).unwrap();
        weights = residuals.iter().map(|r| weight(r / scale)).collect();
        let still =
            coefficients.iter().zip(&fit.coefficients).all(|(a, b): (&f64, &f64)| (a - b).abs() < 1e-13 * b.abs());
        let done = !coefficients.is_empty() && still;
        coefficients = fit.coefficients;
        if done {
            break;
        }
    }
    (coefficients, scale, weights)
}

#[test]
fn hubers_regressions() {
    for set in reference("robust.json")["sets"].as_array().unwrap() {
        let formula = set["formula"].as_str().unwrap();
        let (response, terms) = formula.split_once(" ~ ").unwrap();
        let y = numbers(&set["data"][response]);
        let columns: Vec<(&str, Vec<f64>)> =
            terms.split(" + ").map(|name| (name, numbers(&set["data"][name]))).collect();
        let columns: Vec<(&str, &[f64])> = columns.iter().map(|(name, x)| (*name, x.as_slice())).collect();
        let (name, tolerance) = ("huber_1.345_mad", 1e-9);
        let right = &set[name];
        let found = reweight(&columns, &y, |u| huber_weight(u, 1.345));
        for (a, b) in found.0.iter().zip(numbers(&right["coef"])) {
            near(*a, b, tolerance);
        }
        near(found.1, right["scale"].as_f64().unwrap(), tolerance);
        for (a, b) in found.2.iter().zip(numbers(&right["weights"])) {
            assert!((a - b).abs() < 1e-7, "{} {name}: weight {a}, wanted {b}", set["id"]);
        }
    }
}

#[test]
fn medians_and_their_deviations() {
    for set in reference("robust.json")["location"].as_array().unwrap() {
        let x = numbers(&set["x"]);
        near(median(&x).unwrap(), set["median"].as_f64().unwrap(), 1e-14);
        // The reference multiplies by 1.4826, rounded.
        let middle = median(&x).unwrap();
        let sizes: Vec<f64> = x.iter().map(|x| (x - middle).abs()).collect();
        near(median(&sizes).unwrap() * 1.4826, set["mad"].as_f64().unwrap(), 1e-12);
    }
}
