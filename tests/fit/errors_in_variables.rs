//! Lines and curves with errors in both variables.

use crate::fit::errors_in_variables::{DistanceResiduals, SlopedCurve};
use crate::fit::linear::LinearSettings;
use crate::fit::nonlinear::{NonlinearFit, NonlinearSettings, Parameter, Residuals};
use crate::fit::quantile::normal_two_sided;
use ndarray::Array2;
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use serde_json::Value;

use super::points::numeric_jacobian;
use super::{near, numbers, reference};

const KNOWN: NonlinearSettings = NonlinearSettings { tolerance: 1e-14, patience: 1000 };

/// y = intercept + slope x.
struct Line;

impl SlopedCurve for Line {
    fn at(&self, x: f64, p: &[f64]) -> (f64, f64) {
        (p[0] + p[1] * x, p[1])
    }

    fn gradient(&self, x: f64, _p: &[f64], out: &mut [f64]) {
        out.copy_from_slice(&[1.0, x]);
    }
}

fn fit_line(
    settings: &NonlinearSettings,
    x: &[f64],
    y: &[f64],
    sd_x: &[f64],
    sd_y: &[f64],
) -> crate::Result<NonlinearFit> {
    let problem = DistanceResiduals::new(&Line, x, y, sd_x, sd_y)?;
    let start = LinearSettings::default().fit(&[("slope", x)], y, Some(sd_y))?;
    let at = |name: &str| Parameter::new(name, start.value(name).unwrap());
    settings.fit(&problem, &[at("intercept"), at("slope")])
}

fn check(fit: &NonlinearFit, right: &Value, tolerance: f64) {
    let right = |name: &str| right[name].as_f64().unwrap();
    near(fit.values()[0], right("intercept"), tolerance);
    near(fit.values()[1], right("slope"), tolerance);
    near(fit.covariance[[0, 0]].sqrt(), right("se_intercept"), tolerance);
    near(fit.covariance[[1, 1]].sqrt(), right("se_slope"), tolerance);
    near(fit.covariance[[0, 1]], right("covariance"), 10.0 * tolerance);
    near(fit.sum_of_squares, right("sum_of_squares"), tolerance);
}

#[test]
fn pearsons_line_with_yorks_weights() {
    let line = &reference("errors_in_both.json")["pearson_york"];
    let sd = |name: &str| numbers(&line[name]).iter().map(|w| w.sqrt().recip()).collect::<Vec<_>>();
    let (x, y, sd_x, sd_y) = (numbers(&line["x"]), numbers(&line["y"]), sd("weight_x"), sd("weight_y"));
    check(&fit_line(&KNOWN, &x, &y, &sd_x, &sd_y).unwrap(), line, 1e-9);
    // The line of x on y is the same line.
    let swapped = fit_line(&KNOWN, &y, &x, &sd_y, &sd_x).unwrap();
    near(1.0 / swapped.values()[1], line["slope"].as_f64().unwrap(), 1e-9);
}

#[test]
fn the_line_of_iso_28037() {
    let line = &reference("errors_in_both.json")["iso_28037"];
    let (x, y, sd_x, sd_y) = (numbers(&line["x"]), numbers(&line["y"]), numbers(&line["sd_x"]), numbers(&line["sd_y"]));
    check(&fit_line(&KNOWN, &x, &y, &sd_x, &sd_y).unwrap(), line, 1e-8);
}

#[test]
fn bad_input_is_refused_with_the_reason() {
    let text = |x: &[f64], sd_x: &[f64], sd_y: &[f64]| {
        fit_line(&KNOWN, x, &[1.0, 2.0, 3.0], sd_x, sd_y).unwrap_err().to_string()
    };
    assert!(text(&[1.0, 1.0, 1.0], &[0.1; 3], &[0.1; 3]).contains("constant, like the intercept"));
    assert!(text(&[1.0, 2.0, 3.0], &[0.1; 3], &[0.0; 3]).contains("`sd_y`"));
    assert!(text(&[1.0, 2.0, 3.0], &[-0.1; 3], &[0.1; 3]).contains("`sd_x`"));
    assert!(text(&[1.0, f64::NAN, 3.0], &[0.1; 3], &[0.1; 3]).contains("point 1 is not finite"));
}

/// A saturating curve: a (1 - exp(-k x)) + c.
struct Saturating;

impl SlopedCurve for Saturating {
    fn at(&self, x: f64, p: &[f64]) -> (f64, f64) {
        (-p[0] * (-p[1] * x).exp_m1() + p[2], p[0] * p[1] * (-p[1] * x).exp())
    }

    fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
        out.copy_from_slice(&[-(-p[1] * x).exp_m1(), p[0] * x * (-p[1] * x).exp(), 1.0]);
    }
}

#[test]
fn the_derivatives_of_the_distance_are_right() {
    let (x, y) = ([0.1, 0.9, 1.2, 3.5, 6.0], [0.4, 1.1, 2.0, 2.7, 3.3]);
    let (sd_x, sd_y) = ([0.3, 0.2, 0.1, 0.5, 0.0], [0.1, 0.2, 0.3, 0.1, 0.2]);
    let problem = DistanceResiduals::new(&Saturating, &x, &y, &sd_x, &sd_y).unwrap();
    let p = [3.0, 0.6, 0.1];
    let mut analytic = Array2::zeros((5, 3));
    problem.jacobian(&p, analytic.view_mut()).unwrap();
    let numeric = numeric_jacobian(&problem, &p);
    for (a, b) in analytic.iter().zip(&numeric) {
        assert!((a - b).abs() < 1e-7, "{analytic} {numeric}");
    }
}

#[test]
fn the_distance_is_the_least_over_all_true_points() {
    let problem = DistanceResiduals::new(&Saturating, &[1.0], &[2.5], &[0.4], &[0.2]).unwrap();
    let p = [3.0, 0.6, 0.1];
    let mut r = [0.0];
    problem.residuals(&p, &mut r).unwrap();
    let squared = |xi: f64| ((1.0 - xi) / 0.4_f64).powi(2) + ((2.5 - Saturating.at(xi, &p).0) / 0.2).powi(2);
    let least = (0..40_000).map(|i| squared(f64::from(i) * 1e-4)).fold(f64::INFINITY, f64::min);
    assert!((r[0] * r[0] - least).abs() < 1e-6 * least, "{} {least}", r[0] * r[0]);
    let adjusted = problem.adjusted_x(&p)[0];
    assert!((squared(adjusted) - least).abs() < 1e-6 * least);
}

/// Simulated calibrations: true points on the curve, both coordinates with noise of the stated size.
fn coverage(repeats: usize, seed: u64) -> (f64, f64) {
    let truth = [3.0, 0.5, 0.2];
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut covered, mut counted, mut bias) = (0, 0, 0.0);
    for _ in 0..repeats {
        let (mut x, mut y) = (Vec::new(), Vec::new());
        let (sd_x, sd_y) = (vec![0.15; 10], vec![0.06; 10]);
        for i in 0..10 {
            let at = 0.5 * f64::from(i);
            let (a, b): (f64, f64) = (rng.sample(StandardNormal), rng.sample(StandardNormal));
            x.push(at + 0.15 * a);
            y.push(Saturating.at(at, &truth).0 + 0.06 * b);
        }
        let problem = DistanceResiduals::new(&Saturating, &x, &y, &sd_x, &sd_y).unwrap();
        let start = [Parameter::new("a", 2.0), Parameter::new("k", 1.0).within(0.01, 20.0), Parameter::new("c", 0.0)];
        let fit = KNOWN.fit(&problem, &start).unwrap();
        if fit.covariance.diag().iter().any(|v| !(*v > 0.0 && v.is_finite())) || !fit.stop.is_converged() {
            continue;
        }
        // The curve's value in the middle, a functional of all three parameters.
        let mut gradient = [0.0; 3];
        Saturating.gradient(2.0, &fit.values(), &mut gradient);
        let value = Saturating.at(2.0, &fit.values()).0;
        let gradient = ndarray::arr1(&gradient);
        let se = gradient.dot(&fit.covariance.dot(&gradient)).sqrt();
        let right = Saturating.at(2.0, &truth).0;
        counted += 1;
        bias += (value - right) / se;
        covered += usize::from((value - right).abs() <= normal_two_sided(0.9).unwrap() * se);
    }
    assert!(counted > repeats * 99 / 100, "{counted} of {repeats}");
    (covered as f64 / counted as f64, bias / counted as f64)
}

#[test]
fn the_interval_of_the_curve_covers() {
    let (coverage, bias) = coverage(1000, 20_260_101);
    println!("coverage of the 90 % interval: {coverage:.3}, bias {bias:.3} standard errors");
    // Monte Carlo error 0.0095: 0.90 +- 2.5 of it, and a bias that is small beside the standard error.
    assert!((0.876..=0.924).contains(&coverage), "{coverage}");
    assert!(bias.abs() < 0.15, "{bias}");
}

proptest! {
    #[test]
    fn without_errors_in_x_it_is_ordinary_least_squares(
        rows in prop::collection::vec((-3.0..3.0_f64, 0.1..1.0_f64), 4..20)
    ) {
        let x: Vec<f64> = (0..rows.len()).map(|i| i as f64).collect();
        let y: Vec<f64> = rows.iter().map(|row| row.0).collect();
        let sd: Vec<f64> = rows.iter().map(|row| row.1).collect();
        let plain = LinearSettings::default().fit(&[("slope", &x)], &y, Some(&sd)).unwrap();
        let both = fit_line(&KNOWN, &x, &y, &vec![0.0; x.len()], &sd).unwrap();
        prop_assert!((both.values()[1] - plain.value("slope").unwrap()).abs() < 1e-8);
        prop_assert!((both.covariance[[1, 1]] / plain.covariance[[1, 1]] - 1.0).abs() < 1e-8);
    }

    #[test]
    fn swapping_the_axes_gives_the_same_line(
        rows in prop::collection::vec((-1.0..1.0_f64, 0.1..0.5_f64, 0.1..0.5_f64), 6..20),
        slope in 0.5..3.0_f64,
    ) {
        let x: Vec<f64> = (0..rows.len()).map(|i| i as f64).collect();
        let y: Vec<f64> = x.iter().zip(&rows).map(|(x, row)| slope * x + row.0).collect();
        let (sd_x, sd_y): (Vec<f64>, Vec<f64>) = rows.iter().map(|row| (row.1, row.2)).unzip();
        let there = fit_line(&KNOWN, &x, &y, &sd_x, &sd_y).unwrap();
        let back = fit_line(&KNOWN, &y, &x, &sd_y, &sd_x).unwrap();
        prop_assert!((there.values()[1] * back.values()[1] - 1.0).abs() < 1e-7);
        prop_assert!((there.sum_of_squares - back.sum_of_squares).abs() < 1e-7 * there.sum_of_squares.max(1.0));
    }
}
