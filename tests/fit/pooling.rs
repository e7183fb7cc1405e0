//! Random-effects pooling.

use crate::fit::compare::pool::pool;
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::{close, near, numbers, reference};

#[test]
fn the_pooled_mean_of_published_data_sets() {
    for set in reference("pooling.json")["sets"].as_array().unwrap() {
        let y = numbers(&set["yi"]);
        let se: Vec<f64> = numbers(&set["vi"]).iter().map(|v| v.sqrt()).collect();
        let right = |how: &str, key: &str| numbers(&set["fits"]["REML"][how][key])[0];
        let found = pool(&y, &se, 0.95).unwrap();
        near(found.mean.value, right("hartung_knapp", "beta"), 1e-8);
        close(found.tau * found.tau, right("hartung_knapp", "tau2"), 1e-8);
        // The spread of the estimates, but at least what the weights alone say.
        let how = ["normal", "hartung_knapp"].into_iter().max_by(|a, b| right(a, "se").total_cmp(&right(b, "se")));
        near(found.mean.se, right(how.unwrap(), "se"), 1e-8);
        if how == Some("hartung_knapp") {
            close(found.mean.lower, right("hartung_knapp", "ci_lower"), 1e-8);
            close(found.mean.upper, right("hartung_knapp", "ci_upper"), 1e-8);
        }
    }
}

#[test]
fn bad_input_is_refused_with_the_reason() {
    let refused = |y: &[f64], se: &[f64]| pool(y, se, 0.9).unwrap_err().to_string();
    assert!(refused(&[1.0], &[0.1]).contains("1 units; two are needed"));
    assert!(refused(&[1.0, 2.0], &[0.1]).contains("2 estimates and 1 standard errors"));
    assert!(refused(&[1.0, 2.0], &[0.1, 0.0]).contains("not above 0"));
    assert!(refused(&[1.0, f64::NAN], &[0.1, 0.1]).contains("not finite"));
    assert!(pool(&[1.0, 2.0], &[0.1, 0.1], 1.0).is_err());
}

/// Coverage of the mean and of a further unit.
fn coverage(tau: f64, units: usize, repeats: usize, seed: u64) -> (f64, f64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || rng.sample::<f64, _>(StandardNormal);
    let (mut covered, mut further) = (0, 0);
    for _ in 0..repeats {
        let (mut y, mut se) = (Vec::new(), Vec::new());
        for i in 0..units {
            let s = 0.3 + 0.3 * (i % 4) as f64;
            y.push(2.0 + tau * normal() + s * normal());
            se.push(s);
        }
        let found = pool(&y, &se, 0.9).unwrap();
        covered += usize::from((found.mean.lower..=found.mean.upper).contains(&2.0));
        further += usize::from((found.new_unit.lower..=found.new_unit.upper).contains(&(2.0 + tau * normal())));
    }
    (covered as f64 / repeats as f64, further as f64 / repeats as f64)
}

#[test]
fn the_pooled_interval_covers_with_few_units() {
    for (tau, units) in [(0.0, 8), (0.5, 5), (2.0, 8)] {
        let (covered, further) = coverage(tau, units, 1000, 3);
        println!("tau {tau}, {units} units: {covered:.3}, further unit {further:.3}");
        // Monte Carlo error 0.0095. Units that do not differ are the price: the interval is then too wide.
        let most = if tau > 0.0 { 0.925 } else { 0.985 };
        assert!((0.876..=most).contains(&covered), "tau {tau}, {units} units: {covered}");
        assert!((0.86..=0.995).contains(&further), "tau {tau}, {units} units, a further one: {further}");
    }
}

proptest! {
    #[test]
    fn units_and_order_do_not_matter(
        rows in prop::collection::vec((-5.0..5.0_f64, 0.05..3.0_f64), 2..12),
        factor in 1e-3..1e3_f64,
        shift in -10.0..10.0_f64,
    ) {
        let (y, se): (Vec<f64>, Vec<f64>) = rows.iter().copied().unzip();
        let there = pool(&y, &se, 0.9).unwrap();
        let other: Vec<f64> = y.iter().rev().map(|y| factor * (y + shift)).collect();
        let other_se: Vec<f64> = se.iter().rev().map(|s| factor * s).collect();
        let again = pool(&other, &other_se, 0.9).unwrap();
        let scale = factor * (1.0 + there.mean.value.abs() + shift.abs());
        prop_assert!((again.mean.value - factor * (there.mean.value + shift)).abs() < 1e-6 * scale);
        prop_assert!((again.tau - factor * there.tau).abs() < 1e-5 * factor, "{} {}", again.tau, there.tau);
        prop_assert!((again.mean.se - factor * there.mean.se).abs() < 1e-5 * factor);
    }

    #[test]
    fn the_mean_lies_among_the_estimates(rows in prop::collection::vec((-5.0..5.0_f64, 0.05..3.0_f64), 2..12)) {
        let (y, se): (Vec<f64>, Vec<f64>) = rows.into_iter().unzip();
        let found = pool(&y, &se, 0.9).unwrap();
        let low = y.iter().copied().fold(f64::INFINITY, f64::min);
        let high = y.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        prop_assert!(found.mean.value >= low - 1e-12 && found.mean.value <= high + 1e-12);
    }
}
