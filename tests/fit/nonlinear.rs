//! Bounds, priors, held parameters, directions the data do not see, and what the result says of them.

use heelwort::fit::linear::LinearSettings;
use heelwort::fit::nonlinear::Residuals;
use heelwort::fit::nonlinear::{
    Curve, CurveResiduals, NonlinearFit, NonlinearSettings, Parameter, ParameterState, numeric_jacobian,
};
use heelwort::fit::{Finding, Scale};
use ndarray::Array2;
use proptest::prelude::*;

use super::near;

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
    settings.fit(&CurveResiduals::new(&Decay, &x, &y, None).unwrap(), parameters).unwrap()
}

#[test]
fn a_bound_that_is_not_touched_changes_nothing() {
    let free = fit(NonlinearSettings::default(), 0.1, &parameters());
    let [a, k, c] = parameters();
    let bounded = [a.within(0.0, 100.0), k.within(0.0, 10.0), c.within(-5.0, 5.0)];
    let bounded = fit(NonlinearSettings::default(), 0.1, &bounded);
    for (i, name) in ["a", "k", "c"].iter().enumerate() {
        near(bounded.value(name).unwrap(), free.value(name).unwrap(), 1e-12);
        near(bounded.covariance[[i, i]], free.covariance[[i, i]], 1e-10);
    }
}

#[test]
fn a_parameter_that_wants_out_rests_on_its_bound_and_the_rest_is_the_fit_with_it_held() {
    let [a, k, c] = parameters();
    let bounded = fit(NonlinearSettings::default(), 0.1, &[a.clone(), k.clone(), c.clone().within(-1.0, 0.8)]);
    let held = fit(NonlinearSettings::default(), 0.1, &[a, k, Parameter { start: 0.8, ..c.held() }]);
    assert_eq!(bounded.parameter("c").unwrap().state, ParameterState::AtUpper);
    assert_eq!(bounded.notes(), ["`c` rests on its upper bound"]);
    for name in ["a", "k"] {
        near(bounded.value(name).unwrap(), held.value(name).unwrap(), 1e-8);
        near(bounded.finding(name, 0.9).unwrap().se().unwrap(), held.finding(name, 0.9).unwrap().se().unwrap(), 1e-6);
    }
    let finding = bounded.finding("c", 0.9).unwrap();
    assert_eq!(finding, Finding::Fixed { value: 0.8, why: "it rests on its upper bound".into() });
    assert_eq!(finding.se(), None);
}

#[test]
fn a_start_on_a_bound_is_left_when_the_data_want_it() {
    let [a, k, c] = parameters();
    let start = [Parameter { start: 0.0, ..a.within(0.0, 50.0) }, k.within(0.01, 1.0), c.within(0.0, 9.0)];
    let bounded = fit(NonlinearSettings::default(), 0.1, &start);
    let free = fit(NonlinearSettings::default(), 0.1, &parameters());
    for name in ["a", "k", "c"] {
        near(bounded.value(name).unwrap(), free.value(name).unwrap(), 1e-8);
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
    let problem = CurveResiduals::new(&Doubled, &x, &y, None).unwrap();
    let fit = NonlinearSettings::default().fit(&problem, &[a, k, c, Parameter::new("d", 0.0)]).unwrap();
    assert_eq!(fit.notes(), ["the data do not determine `c`", "the data do not determine `d`"]);
    let plain = self::fit(NonlinearSettings::default(), 0.1, &parameters());
    near(fit.value("k").unwrap(), plain.value("k").unwrap(), 1e-8);
    // One direction is not seen, so three parameters are spent, as in the plain fit.
    near(fit.df, plain.df, 1e-9);
    near(fit.finding("k", 0.9).unwrap().se().unwrap(), plain.finding("k", 0.9).unwrap().se().unwrap(), 1e-6);
    assert!(fit.finding("c", 0.9).unwrap().why().unwrap().contains("do not determine `c`"));
    let sum = fit.functional(0.0, &[0.0, 0.0, 1.0, 1.0], 0.9).unwrap();
    assert!(sum.se().is_none());
}

#[test]
fn a_prior_that_says_little_changes_little_and_a_sharp_one_wins() {
    let settings = NonlinearSettings { scale: Scale::Known, ..Default::default() };
    let free = fit(settings, 0.1, &parameters());
    let [a, k, c] = parameters();
    let vague = fit(settings, 0.1, &[a.clone(), k.clone().with_prior(2.0, 1e4), c.clone()]);
    near(vague.value("k").unwrap(), free.value("k").unwrap(), 1e-6);
    near(vague.df, free.df, 1e-5);
    let sharp = fit(settings, 0.1, &[a, k.with_prior(2.0, 1e-6), c]);
    near(sharp.value("k").unwrap(), 2.0, 1e-6);
    near(sharp.finding("k", 0.9).unwrap().se().unwrap(), 1e-6, 1e-3);
    near(sharp.df, free.df + 1.0, 1e-4);
}

#[test]
fn a_fit_that_does_not_converge_says_so_and_gives_no_errors() {
    let fit = fit(NonlinearSettings { patience: 1, ..Default::default() }, 0.1, &parameters());
    assert!(!fit.stop.is_converged());
    assert_eq!(fit.finding("a", 0.9).unwrap().why(), Some("not converged: too many evaluations"));
}

#[test]
fn an_exact_fit_has_errors_of_zero_and_says_why() {
    let fit = fit(NonlinearSettings::default(), 0.0, &parameters());
    near(fit.value("k").unwrap(), 0.5, 1e-10);
    assert!(fit.stop.is_converged());
    assert!(fit.sigma < 1e-10);
}

#[test]
fn bad_settings_and_starts_are_named() {
    let (x, y) = data(40, 0.1);
    let problem = CurveResiduals::new(&Decay, &x, &y, None).unwrap();
    let text = |settings: NonlinearSettings, p: &[Parameter]| settings.fit(&problem, p).unwrap_err().to_string();
    let [a, k, c] = parameters();
    let outside = [a.clone(), k.clone().within(2.0, 3.0), c.clone()];
    assert!(text(NonlinearSettings::default(), &outside).contains("`k`, bounds 2 to 3"));
    let twice = [a.clone(), a.clone(), c.clone()];
    let known = [a.clone().with_prior(4.0, 0.05), k.clone(), c.clone()];
    assert!(text(NonlinearSettings::default(), &known).contains("scale must be known"));
    assert!(text(NonlinearSettings::default(), &twice).contains("two parameters are named `a`"));
    let overflow = [a.clone(), Parameter::new("k", -1e4), c.clone()];
    assert!(text(NonlinearSettings::default(), &overflow).contains("not finite"));
    assert!(text(NonlinearSettings { tolerance: -1.0, ..Default::default() }, &[a, k, c]).contains("tolerance"));
    let short = CurveResiduals::new(&Decay, &x[..3], &y[..3], None).unwrap();
    let error = NonlinearSettings::default().fit(&short, &parameters()).unwrap_err().to_string();
    assert!(error.contains("3 residuals and 0 priors; 4 are needed"), "{error}");
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
        let problem = CurveResiduals::new(&Decay, &x, &y, None).unwrap();
        problem.jacobian(&p, out.view_mut()).unwrap();
        numeric_jacobian(&problem, &p).unwrap()
    });
    let wrong = check(&|out| {
        let problem = CurveResiduals::new(&Wrong, &x, &y, None).unwrap();
        problem.jacobian(&p, out.view_mut()).unwrap();
        numeric_jacobian(&problem, &p).unwrap()
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
        let problem = CurveResiduals::new(&Straight, &x, &y, Some(&sd)).unwrap();
        let fit = NonlinearSettings::default().fit(&problem, &parameters).unwrap();
        prop_assert!(fit.stop.is_converged());
        for (i, name) in ["c", "b"].iter().enumerate() {
            let se = linear.covariance[[i, i]].sqrt();
            prop_assert!((fit.value(name).unwrap() - linear.coefficients[i]).abs() < 1e-7 * se);
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
        for (found, given) in fit.parameters.iter().zip(&parameters) {
            prop_assert!(found.value >= given.lower && found.value <= given.upper);
        }
        // At the end no allowed direction leads down: the gradient of every parameter off its bounds is zero.
        if fit.stop.is_converged() {
            for (j, found) in fit.parameters.iter().enumerate() {
                let column = fit.jacobian.column(j);
                let slope: f64 = column.iter().zip(&fit.residuals).map(|(d, r)| d * r).sum();
                let size = column.iter().map(|d| d * d).sum::<f64>().sqrt() * fit.sum_of_squares.sqrt();
                let cosine = if size > 0.0 { slope / size } else { 0.0 };
                match found.state {
                    ParameterState::AtLower => prop_assert!(cosine > -1e-5, "{cosine} {fit:?}"),
                    ParameterState::AtUpper => prop_assert!(cosine < 1e-5, "{cosine} {fit:?}"),
                    _ => prop_assert!(cosine.abs() < 1e-5 || fit.sum_of_squares < 1e-20, "{cosine} {fit:?}"),
                }
            }
        }
    }
}
