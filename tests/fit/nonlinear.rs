//! Bounds, priors, held parameters, directions the data do not see, and what the result says of them.

use crate::fit::linear::LinearSettings;
use crate::fit::nonlinear::{NonlinearFit, NonlinearSettings, Parameter, Residuals};
use ndarray::Array2;
use proptest::prelude::*;

use super::near;
use super::points::{Curve, CurveResiduals, numeric_jacobian};

/// a exp(-k x) + c
struct Decay;

impl Curve for Decay {
    fn value(&self, x: f64, p: &[f64]) -> f64 {
        p[0] * (-p[1] * x).exp() + p[2]
    }

    fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
        let e = (-p[1] * x).exp();
        out.copy_from_slice(&[e, -p[0] * x * e, 1.0]);
    }
}

/// A fixed wiggle in place of noise, so that no test hangs on a seed.
fn data(n: usize, wiggle: f64) -> (Vec<f64>, Vec<f64>) {
    let x: Vec<f64> = (0..n).map(|i| 10.0 * i as f64 / (n - 1) as f64).collect();
    let y = x.iter().enumerate().map(|(i, x)| Decay.value(*x, &[5.0, 0.5, 1.0]) + wiggle * (7.3 * i as f64).sin());
    let y = y.collect();
    (x, y)
}

fn parameters() -> [Parameter; 3] {
    [Parameter::new("a", 3.0), Parameter::new("k", 1.0), Parameter::new("c", 0.0)]
}

fn fit(settings: NonlinearSettings, wiggle: f64, parameters: &[Parameter]) -> NonlinearFit {
    let (x, y) = data(40, wiggle);
    settings.fit(&CurveResiduals::new(&Decay, &x, &y, None), parameters).unwrap()
}

#[test]
fn a_bound_that_is_not_touched_changes_nothing() {
    let free = fit(NonlinearSettings::default(), 0.1, &parameters());
    let [a, k, c] = parameters();
    let bounded = [a.within(0.0, 100.0), k.within(0.0, 10.0), c.within(-5.0, 5.0)];
    let bounded = fit(NonlinearSettings::default(), 0.1, &bounded);
    for i in 0..3 {
        near(bounded.values()[i], free.values()[i], 1e-12);
        near(bounded.covariance[[i, i]], free.covariance[[i, i]], 1e-10);
    }
}

#[test]
fn a_parameter_that_wants_out_rests_on_its_bound_and_the_rest_is_the_fit_with_it_held() {
    let [a, k, c] = parameters();
    let bounded = fit(NonlinearSettings::default(), 0.1, &[a.clone(), k.clone(), c.clone().within(-1.0, 0.8)]);
    let held = fit(NonlinearSettings::default(), 0.1, &[a, k, Parameter { start: 0.8, ..c.held() }]);
    assert_eq!((bounded.values()[2], bounded.covariance[[2, 2]]), (0.8, 0.0));
    for i in 0..2 {
        near(bounded.values()[i], held.values()[i], 1e-8);
        near(bounded.covariance[[i, i]], held.covariance[[i, i]], 1e-6);
    }
}

#[test]
fn a_start_on_a_bound_is_left_when_the_data_want_it() {
    let [a, k, c] = parameters();
    let start = [Parameter { start: 0.0, ..a.within(0.0, 50.0) }, k.within(0.01, 1.0), c.within(0.0, 9.0)];
    let bounded = fit(NonlinearSettings::default(), 0.1, &start);
    let free = fit(NonlinearSettings::default(), 0.1, &parameters());
    for (bounded, free) in bounded.values().into_iter().zip(free.values()) {
        near(bounded, free, 1e-8);
    }
}

#[test]
fn what_the_data_do_not_see_is_named_and_the_rest_is_estimated() {
    /// a exp(-k x) + c + d: only the sum of c and d is seen.
    struct Doubled;
    impl Curve for Doubled {
        fn value(&self, x: f64, p: &[f64]) -> f64 {
            Decay.value(x, p) + p[3]
        }
        fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
            Decay.gradient(x, &p[..3], &mut out[..3]);
            out[3] = 1.0;
        }
    }
    let (x, y) = data(40, 0.1);
    let [a, k, c] = parameters();
    let problem = CurveResiduals::new(&Doubled, &x, &y, None);
    let fit = NonlinearSettings::default().fit(&problem, &[a, k, c, Parameter::new("d", 0.0)]).unwrap();
    let plain = self::fit(NonlinearSettings::default(), 0.1, &parameters());
    near(fit.values()[1], plain.values()[1], 1e-8);
    // One direction is not seen, so three parameters are spent, as in the plain fit.
    near(fit.df, plain.df, 1e-9);
    near(fit.covariance[[1, 1]], plain.covariance[[1, 1]], 1e-6);
    assert!(fit.covariance[[2, 2]].is_infinite() && fit.covariance[[3, 3]].is_infinite());
}

#[test]
fn a_prior_that_says_little_changes_little_and_a_sharp_one_wins() {
    let settings = NonlinearSettings::default();
    let free = fit(settings, 0.1, &parameters());
    let [a, k, c] = parameters();
    let vague = fit(settings, 0.1, &[a.clone(), k.clone().with_prior(2.0, 1e4), c.clone()]);
    near(vague.values()[1], free.values()[1], 1e-6);
    near(vague.df, free.df, 1e-5);
    let sharp = fit(settings, 0.1, &[a, k.with_prior(2.0, 1e-6), c]);
    near(sharp.values()[1], 2.0, 1e-6);
    near(sharp.covariance[[1, 1]].sqrt(), 1e-6, 1e-3);
    near(sharp.df, free.df + 1.0, 1e-4);
}

#[test]
fn a_fit_that_does_not_converge_says_so_and_gives_no_errors() {
    let fit = fit(NonlinearSettings { patience: 1, ..Default::default() }, 0.1, &parameters());
    assert!(!fit.stop.is_converged());
    assert_eq!(fit.stop.to_string(), "not converged: too many evaluations");
}

#[test]
fn an_exact_fit_converges() {
    let fit = fit(NonlinearSettings::default(), 0.0, &parameters());
    near(fit.values()[1], 0.5, 1e-10);
    assert!(fit.stop.is_converged());
    assert!(fit.sum_of_squares < 1e-20);
}

#[test]
fn bad_settings_and_starts_are_named() {
    let (x, y) = data(40, 0.1);
    let problem = CurveResiduals::new(&Decay, &x, &y, None);
    let text = |settings: NonlinearSettings, p: &[Parameter]| settings.fit(&problem, p).unwrap_err().to_string();
    let [a, k, c] = parameters();
    let outside = [a.clone(), k.clone().within(2.0, 3.0), c.clone()];
    assert!(text(NonlinearSettings::default(), &outside).contains("`k`, bounds 2 to 3"));
    let twice = [a.clone(), a.clone(), c.clone()];
    assert!(text(NonlinearSettings::default(), &twice).contains("two parameters are named `a`"));
    let overflow = [a.clone(), Parameter::new("k", -1e4), c.clone()];
    assert!(text(NonlinearSettings::default(), &overflow).contains("not finite"));
    assert!(text(NonlinearSettings { tolerance: -1.0, ..Default::default() }, &[a, k, c]).contains("tolerance"));
    let short = CurveResiduals::new(&Decay, &x[..2], &y[..2], None);
    let error = NonlinearSettings::default().fit(&short, &parameters()).unwrap_err().to_string();
    assert!(error.contains("2 residuals and 0 priors; 3 are needed"), "{error}");
}

#[test]
fn the_derivative_check_sees_a_wrong_derivative() {
    struct Wrong;
    impl Curve for Wrong {
        fn value(&self, x: f64, p: &[f64]) -> f64 {
            Decay.value(x, p)
        }
        fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
            Decay.gradient(x, p, out);
            out[1] *= 1.001;
        }
    }
    let (x, y) = data(10, 0.0);
    let check = |problem: &dyn Fn(&mut Array2<f64>) -> Array2<f64>| {
        let mut analytic = Array2::zeros((10, 3));
        let numeric = problem(&mut analytic);
        (&analytic - &numeric).iter().fold(0.0_f64, |most, d| most.max(d.abs()))
    };
    let p = [5.0, 0.5, 1.0];
    let right = check(&|out| {
        let problem = CurveResiduals::new(&Decay, &x, &y, None);
        problem.jacobian(&p, out.view_mut()).unwrap();
        numeric_jacobian(&problem, &p)
    });
    let wrong = check(&|out| {
        let problem = CurveResiduals::new(&Wrong, &x, &y, None);
        problem.jacobian(&p, out.view_mut()).unwrap();
        numeric_jacobian(&problem, &p)
    });
    assert!(right < 1e-8 && wrong > 1e-4, "{right:e} {wrong:e}");
}

/// c + b x, so that the nonlinear solver must find what the linear one does.
struct Straight;

impl Curve for Straight {
    fn value(&self, x: f64, p: &[f64]) -> f64 {
        p[0] + p[1] * x
    }
    fn gradient(&self, x: f64, _: &[f64], out: &mut [f64]) {
        out.copy_from_slice(&[1.0, x]);
    }
}

proptest! {
    #[test]
    fn a_straight_line_is_the_linear_fit(
        rows in prop::collection::vec((-5.0..5.0_f64, 0.2..2.0_f64), 6..30),
        start in prop::array::uniform2(-50.0..50.0_f64),
    ) {
        let x: Vec<f64> = (0..rows.len()).map(|i| i as f64).collect();
        let y: Vec<f64> = rows.iter().map(|row| row.0).collect();
        let sd: Vec<f64> = rows.iter().map(|row| row.1).collect();
        let linear = LinearSettings::default().fit(&[("b", &x)], &y, Some(&sd)).unwrap();
        let parameters = [Parameter::new("c", start[0]), Parameter::new("b", start[1])];
        let problem = CurveResiduals::new(&Straight, &x, &y, Some(&sd));
        let fit = NonlinearSettings::default().fit(&problem, &parameters).unwrap();
        prop_assert!(fit.stop.is_converged());
        for i in 0..2 {
            let se = linear.covariance[[i, i]].sqrt();
            prop_assert!((fit.values()[i] - linear.coefficients[i]).abs() < 1e-7 * se);
            prop_assert!((fit.covariance[[i, i]].sqrt() - se).abs() < 1e-9 * se);
        }
    }

    #[test]
    fn no_bound_is_ever_crossed(
        lower in prop::array::uniform3(-2.0..2.0_f64),
        width in prop::array::uniform3(0.1..6.0_f64),
        place in prop::array::uniform3(0.0..1.0_f64),
        wiggle in 0.0..0.5_f64,
    ) {
        let parameters: Vec<Parameter> = (0..3)
            .map(|i| {
                let (low, high) = (lower[i], lower[i] + width[i]);
                Parameter::new(["a", "k", "c"][i], (low + place[i] * width[i]).min(high)).within(low, high)
            })
            .collect();
        let fit = fit(NonlinearSettings::default(), wiggle, &parameters);
        let values = fit.values();
        for (found, given) in values.iter().zip(&parameters) {
            prop_assert!(*found >= given.lower && *found <= given.upper);
        }
        // At the end no allowed direction leads down: the gradient of every parameter off its bounds is zero.
        if fit.stop.is_converged() {
            let (x, y) = data(40, wiggle);
            let mut jacobian = Array2::zeros((40, 3));
            CurveResiduals::new(&Decay, &x, &y, None).jacobian(&values, jacobian.view_mut()).unwrap();
            for (column, (found, given)) in jacobian.columns().into_iter().zip(values.iter().zip(&parameters)) {
                let slope: f64 = column.iter().zip(&fit.residuals).map(|(d, r)| d * r).sum();
                let size = column.iter().map(|d| d * d).sum::<f64>().sqrt() * fit.sum_of_squares.sqrt();
                let cosine = if size > 0.0 { slope / size } else { 0.0 };
                if *found <= given.lower {
                    prop_assert!(cosine > -1e-5, "{cosine} {fit:?}");
                } else if *found >= given.upper {
                    prop_assert!(cosine < 1e-5, "{cosine} {fit:?}");
                } else {
                    prop_assert!(cosine.abs() < 1e-5 || fit.sum_of_squares < 1e-20, "{cosine} {fit:?}");
                }
            }
        }
    }
}
