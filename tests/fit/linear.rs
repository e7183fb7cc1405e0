//! Linear fits: published lines, weights, and what makes them impossible.

use crate::fit::linear::{LinearFit, LinearSettings};
use proptest::prelude::*;

use super::{near, numbers, reference};

const KNOWN: LinearSettings = LinearSettings { intercept: true };

#[test]
fn the_thermometer_of_the_gum() {
    let lines = reference("straight_lines.json");
    let line = &lines["gum_h3_thermometer"];
    let (x, y, right) = (numbers(&line["x"]), numbers(&line["y"]), &line["recomputed"]);
    let fit = LinearSettings::default().fit(&[("x", &x)], &y, None).unwrap();
    let right = |name: &str| right[name].as_f64().unwrap();
    near(fit.value("intercept").unwrap(), right("y1"), 1e-9);
    near(fit.value("x").unwrap(), right("y2"), 1e-9);
    let scale = fit.sum_of_squares / (y.len() - fit.names.len()) as f64;
    near((scale * fit.covariance[[0, 0]]).sqrt(), right("s_y1"), 1e-9);
    near((scale * fit.covariance[[1, 1]]).sqrt(), right("s_y2"), 1e-9);
    near(scale.sqrt(), right("s"), 1e-9);
    let variance = fit.covariance[[0, 0]] + 20.0 * fit.covariance[[0, 1]] + 100.0 * fit.covariance[[1, 1]];
    near(fit.coefficients[0] + 10.0 * fit.coefficients[1], right("b_30C"), 1e-9);
    near((scale * variance).sqrt(), right("u_b_30C"), 1e-9);
}

#[test]
fn known_unequal_errors() {
    let lines = reference("straight_lines.json");
    let line = &lines["iso_28037_unequal_weights"];
    let (x, y, sd, right) = (numbers(&line["x"]), numbers(&line["y"]), numbers(&line["sd"]), &line["recomputed"]);
    let fit = KNOWN.fit(&[("x", &x)], &y, Some(&sd)).unwrap();
    near(fit.coefficients[0], right["a"].as_f64().unwrap(), 1e-9);
    near(fit.coefficients[1], right["b"].as_f64().unwrap(), 1e-9);
    near(fit.covariance[[0, 0]].sqrt(), right["u_a"].as_f64().unwrap(), 1e-9);
    near(fit.covariance[[1, 1]].sqrt(), right["u_b"].as_f64().unwrap(), 1e-9);
    near(fit.covariance[[0, 1]], right["cov"].as_f64().unwrap(), 1e-8);
    near(fit.sum_of_squares, right["chi2"].as_f64().unwrap(), 1e-9);
}

#[test]
fn collinear_columns_are_named() {
    let x: Vec<f64> = (0..8).map(f64::from).collect();
    let twice: Vec<f64> = x.iter().map(|x| 2.0 * x - 3.0).collect();
    let other: Vec<f64> = x.iter().map(|x| (x * 1.7).sin()).collect();
    let y: Vec<f64> = x.iter().map(|x| x * x).collect();
    let columns: [(&str, &[f64]); 3] = [("temp_c", &x), ("wave", &other), ("temp_f", &twice)];
    let error = LinearSettings::default().fit(&columns, &y, None).unwrap_err();
    assert!(error.is_not_estimable());
    assert_eq!(
        error.to_string(),
        "the coefficient of `temp_f` is not estimable: its column is a linear combination of `temp_c`"
    );
    let level = [4.0; 8];
    let error = LinearSettings::default().fit(&[("level", &level)], &y, None).unwrap_err().to_string();
    assert!(error.contains("constant, like the intercept"), "{error}");
    let zero = [0.0; 8];
    let error = LinearSettings::default().fit(&[("zero", &zero)], &y, None).unwrap_err().to_string();
    assert!(error.contains("zero everywhere"), "{error}");
}

#[test]
fn bad_input_is_refused_with_the_reason() {
    let fit = |x: &[f64], y: &[f64], sd: Option<&[f64]>| LinearSettings::default().fit(&[("x", x)], y, sd);
    let text = |result: crate::Result<LinearFit>| result.unwrap_err().to_string();
    assert!(text(fit(&[1.0], &[1.0], None)).contains("1 observations"));
    assert!(text(fit(&[1.0, f64::NAN, 3.0, 4.0], &[1.0; 4], None)).contains("row 1"));
    assert!(text(fit(&[1.0, 2.0, 3.0], &[1.0; 4], None)).contains("3 rows and the response has 4"));
    assert!(text(fit(&[1.0, 2.0, 3.0], &[1.0; 3], Some(&[1.0, 0.0, 1.0]))).contains("above 0"));
    let one: &[f64] = &[1.0, 2.0, 4.0];
    let twice = LinearSettings::default().fit(&[("a", one), ("a", one)], one, None);
    assert!(text(twice).contains("two columns are named `a`"));
}

fn points() -> impl Strategy<Value = (Vec<f64>, Vec<f64>, Vec<f64>)> {
    prop::collection::vec((-10.0..10.0_f64, -5.0..5.0_f64, 0.1..3.0_f64), 5..25).prop_map(|rows| {
        let mut columns = (Vec::new(), Vec::new(), Vec::new());
        for (i, (x, y, sd)) in rows.into_iter().enumerate() {
            columns.0.push(x + 25.0 * i as f64);
            columns.1.push(y);
            columns.2.push(sd);
        }
        columns
    })
}

proptest! {
    #[test]
    fn rows_in_another_order_give_the_same_fit((x, y, sd) in points()) {
        let back = |values: &[f64]| values.iter().rev().copied().collect::<Vec<_>>();
        let (xr, yr, sr) = (back(&x), back(&y), back(&sd));
        let there = KNOWN.fit(&[("x", &x)], &y, Some(&sd)).unwrap();
        let again = KNOWN.fit(&[("x", &xr)], &yr, Some(&sr)).unwrap();
        prop_assert!((there.coefficients[1] - again.coefficients[1]).abs() < 1e-11);
        prop_assert!((there.covariance[[0, 1]] - again.covariance[[0, 1]]).abs() < 1e-11);
    }

    #[test]
    fn units_of_x_only_rescale((x, y, sd) in points(), factor in 1e-6..1e6_f64, shift in -1e3..1e3_f64) {
        let other: Vec<f64> = x.iter().map(|x| factor * x + shift).collect();
        let plain = KNOWN.fit(&[("x", &x)], &y, Some(&sd)).unwrap();
        let scaled = KNOWN.fit(&[("x", &other)], &y, Some(&sd)).unwrap();
        let (b, s) = (plain.value("x").unwrap(), scaled.value("x").unwrap());
        let (b_se, s_se) = (plain.covariance[[1, 1]].sqrt(), scaled.covariance[[1, 1]].sqrt());
        prop_assert!((s * factor - b).abs() < 1e-7 * b_se.max(b.abs()));
        prop_assert!((s_se * factor - b_se).abs() < 1e-7 * b_se);
        prop_assert!((plain.sum_of_squares - scaled.sum_of_squares).abs() < 1e-7);
    }
}
