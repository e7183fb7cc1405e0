//! Quantiles and tails over their whole range.

use crate::fit::quantile;
use proptest::prelude::*;

use super::{near, numbers, reference};

fn rows(name: &str) -> Vec<Vec<f64>> {
    reference("quantiles.json")[name].as_array().unwrap().iter().map(numbers).collect()
}

#[test]
fn student_t_over_the_whole_of_zero_to_one() {
    for row in rows("t") {
        let [df, p, t] = row[..] else { panic!() };
        let found = quantile::student_t(p, df).unwrap();
        // Near the middle the quantile is small and what counts is the probability: one unit there is 1e-16 / density.
        let error = (found - t).abs() / t.abs().max(1e-2);
        assert!(error < 1e-10, "t({p}, {df}): {found}, wanted {t}");
        let tail = quantile::student_t_upper_tail(t, df).unwrap();
        assert!((tail - (1.0 - p)).abs() < 1e-11, "tail of t({t}, {df}): {tail}, wanted {}", 1.0 - p);
    }
}

#[test]
fn chi_squared_f_and_normal() {
    for row in rows("chi2") {
        let [df, p, x] = row[..] else { panic!() };
        near(quantile::chi_squared(p, df).unwrap(), x, 1e-9);
        let tail = quantile::chi_squared_upper_tail(x, df).unwrap();
        assert!((tail - (1.0 - p)).abs() < 1e-10, "tail of chi2({x}, {df}): {tail}");
    }
    for row in rows("f") {
        let [df1, df2, p, x] = row[..] else { panic!() };
        near(quantile::fisher_f(p, df1, df2).unwrap(), x, 1e-9);
    }
    for row in rows("normal") {
        let [p, z] = row[..] else { panic!() };
        let found = quantile::normal(p).unwrap();
        assert!((found - z).abs() < 1e-12 * z.abs().max(1.0), "normal({p}): {found}, wanted {z}");
    }
}

#[test]
fn bad_probabilities_and_degrees_of_freedom_are_named() {
    for p in [0.0, 1.0, -0.1, 1.5, f64::NAN] {
        assert!(quantile::student_t(p, 3.0).is_err());
        assert!(quantile::normal(p).is_err());
        assert!(quantile::chi_squared(p, 3.0).is_err());
        assert!(quantile::fisher_f(p, 3.0, 3.0).is_err());
    }
    for df in [0.0, -1.0, f64::NAN] {
        let text = quantile::student_t(0.9, df).unwrap_err().to_string();
        assert!(text.contains("degrees of freedom"), "{text}");
    }
    let text = quantile::student_t_two_sided(90.0, 3.0).unwrap_err().to_string();
    assert_eq!(text, "setting `level` is 90; wanted a probability between 0 and 1");
}

#[test]
fn infinite_degrees_of_freedom_are_the_normal() {
    near(quantile::student_t(0.975, f64::INFINITY).unwrap(), quantile::normal(0.975).unwrap(), 1e-15);
    near(quantile::student_t_upper_tail(2.0, f64::INFINITY).unwrap(), quantile::normal_upper_tail(2.0), 1e-15);
}

#[test]
fn the_join_to_the_nearly_normal_is_smooth() {
    for p in [1e-6, 0.01, 0.3, 0.6, 0.975, 0.999_99] {
        // Between them only the first term of the expansion in 1 / df moves: z (z^2 + 1) / 4.
        let z = quantile::normal(p).unwrap();
        let step = z * (z * z + 1.0) / 4.0 * (1.0 / 20_001.0 - 1.0 / 19_999.0);
        let across = quantile::student_t(p, 20_001.0).unwrap() - quantile::student_t(p, 19_999.0).unwrap();
        assert!((across - step).abs() < 1e-10, "{p}: {across:e}, wanted {step:e}");
        let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
        let tail = |df: f64| quantile::student_t_upper_tail(z, df).unwrap();
        let across = tail(20_001.0) - tail(19_999.0);
        assert!((across - density * step).abs() < 1e-11, "tail at {p}: {across:e}, wanted {:e}", density * step);
    }
}

proptest! {
    #[test]
    fn t_goes_there_and_back(p in 1e-9_f64..1.0, df in 0.2_f64..1e6) {
        prop_assume!(p < 1.0 - 1e-9);
        let t = quantile::student_t(p, df).unwrap();
        let back = 1.0 - quantile::student_t_upper_tail(t, df).unwrap();
        prop_assert!((back - p).abs() < 1e-11, "{p} -> {t} -> {back}");
        let mirrored = quantile::student_t(1.0 - p, df).unwrap();
        prop_assert!((mirrored + t).abs() < 1e-6 * t.abs().max(1e-3));
    }

    #[test]
    fn chi_squared_and_f_go_there_and_back(p in 1e-9_f64..0.999_999, df in 0.2_f64..2e3, df2 in 0.5_f64..2e3) {
        let x = quantile::chi_squared(p, df).unwrap();
        let back = 1.0 - quantile::chi_squared_upper_tail(x, df).unwrap();
        prop_assert!((back - p).abs() < 1e-10, "chi2 {p} -> {x} -> {back}");
        let x = quantile::fisher_f(p, df, df2).unwrap();
        let mirrored = 1.0 / quantile::fisher_f(1.0 - p, df2, df).unwrap();
        prop_assert!((mirrored / x - 1.0).abs() < 1e-5, "F {p} -> {x} and {mirrored}");
    }

    #[test]
    fn t_rises_with_p(df in 0.2_f64..1e6, a in 0.0001_f64..0.9999, b in 0.0001_f64..0.9999) {
        prop_assume!((a - b).abs() > 1e-9);
        let (low, high) = (a.min(b), a.max(b));
        prop_assert!(quantile::student_t(low, df).unwrap() < quantile::student_t(high, df).unwrap());
    }
}
