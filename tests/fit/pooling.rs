//! Random-effects pooling.

use heelwort::fit::compare::{PoolSettings, Precision};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::{close, near, numbers, reference};

#[test]
fn two_intervals_of_three_data_sets() {
    for set in reference("pooling.json")["sets"].as_array().unwrap() {
        let y = numbers(&set["yi"]);
        let se: Vec<f64> = numbers(&set["vi"]).iter().map(|v| v.sqrt()).collect();
        for (how, precision) in [("normal", Precision::Normal), ("hartung_knapp", Precision::HartungKnapp)] {
            let right = &set["fits"]["REML"][how];
            let right = |key: &str| numbers(&right[key])[0];
            let found = PoolSettings { precision, level: 0.95 }.pool(&y, &se).unwrap();
            near(found.mean.value, right("beta"), 1e-8);
            near(found.mean.se, right("se"), 1e-8);
            close(found.mean.lower, right("ci_lower"), 1e-8);
            close(found.mean.upper, right("ci_upper"), 1e-8);
            close(found.tau * found.tau, right("tau2"), 1e-8);
            near(found.q, right("QE"), 1e-10);
            near(found.q_p, right("QEp"), 1e-6);
            let right = numbers(&set["fits"]["q_profile_tau2_ci95"]);
            close(found.tau_lower * found.tau_lower, right[0], 1e-6);
            near(found.tau_upper * found.tau_upper, right[1], 1e-5);
        }
    }
}

#[test]
fn bad_input_is_refused_with_the_reason() {
    let pool = |y: &[f64], se: &[f64]| PoolSettings::default().pool(y, se).unwrap_err().to_string();
    assert!(pool(&[1.0], &[0.1]).contains("1 units; two are needed"));
    assert!(pool(&[1.0, 2.0], &[0.1]).contains("2 estimates and 1 standard errors"));
    assert!(pool(&[1.0, 2.0], &[0.1, 0.0]).contains("not above 0"));
    assert!(pool(&[1.0, f64::NAN], &[0.1, 0.1]).contains("not finite"));
    assert!(PoolSettings { level: 1.0, ..Default::default() }.pool(&[1.0, 2.0], &[0.1, 0.1]).is_err());
}

/// Coverage of the mean and of a further unit.
fn coverage(settings: PoolSettings, tau: f64, units: usize, repeats: usize, seed: u64) -> (f64, f64) {
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
        let found = settings.pool(&y, &se).unwrap();
        covered += usize::from((found.mean.lower..=found.mean.upper).contains(&2.0));
        further += usize::from((found.new_unit.lower..=found.new_unit.upper).contains(&(2.0 + tau * normal())));
    }
    (covered as f64 / repeats as f64, further as f64 / repeats as f64)
}

#[test]
fn the_pooled_interval_covers_with_few_units() {
    for (tau, units) in [(0.0, 8), (0.5, 5), (2.0, 8)] {
        let with = |precision| coverage(PoolSettings { precision, ..Default::default() }, tau, units, 1000, 3);
        let ((floor, further), (knapp, _)) = (with(Precision::AtLeastStated), with(Precision::HartungKnapp));
        println!(
            "tau {tau}, {units} units: at least stated {floor:.3}, Hartung-Knapp {knapp:.3}, further unit {further:.3}"
        );
        // Monte Carlo error 0.0095. Units that do not differ are the price: the interval is then too wide.
        let most = if tau > 0.0 { 0.925 } else { 0.985 };
        assert!((0.876..=most).contains(&floor), "tau {tau}, {units} units: {floor}");
        assert!((0.86..=0.995).contains(&further), "tau {tau}, {units} units, a further one: {further}");
        assert!(knapp <= floor);
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
        let there = PoolSettings::default().pool(&y, &se).unwrap();
        let other: Vec<f64> = y.iter().rev().map(|y| factor * (y + shift)).collect();
        let other_se: Vec<f64> = se.iter().rev().map(|s| factor * s).collect();
        let again = PoolSettings::default().pool(&other, &other_se).unwrap();
        let scale = factor * (1.0 + there.mean.value.abs() + shift.abs());
        prop_assert!((again.mean.value - factor * (there.mean.value + shift)).abs() < 1e-6 * scale);
        prop_assert!((again.tau - factor * there.tau).abs() < 1e-5 * factor, "{} {}", again.tau, there.tau);
        prop_assert!((again.mean.se - factor * there.mean.se).abs() < 1e-5 * factor);
    }

    #[test]
    fn the_mean_lies_among_the_estimates(rows in prop::collection::vec((-5.0..5.0_f64, 0.05..3.0_f64), 2..12)) {
        let (y, se): (Vec<f64>, Vec<f64>) = rows.into_iter().unzip();
        let found = PoolSettings::default().pool(&y, &se).unwrap();
        let low = y.iter().copied().fold(f64::INFINITY, f64::min);
        let high = y.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        prop_assert!(found.mean.value >= low - 1e-12 && found.mean.value <= high + 1e-12);
    }
}
