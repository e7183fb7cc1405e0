//! Studentised maximum modulus, all pairs, Holm.

use crate::fit::compare::maximum_modulus::maximum_modulus_quantile;
use crate::fit::compare::pairs::{GroupMean, all_pairs, holm};
use crate::fit::quantile;
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use serde_json::Value;

use super::{near, numbers, reference};

fn rows(name: &str) -> Vec<Value> {
    reference("simultaneous_quantiles.json")[name].as_array().unwrap().clone()
}

/// Infinite where the reference has none.
fn df(row: &Value) -> f64 {
    row["df"].as_f64().unwrap_or(f64::INFINITY)
}

#[test]
fn the_maximum_modulus() {
    for row in rows("maximum_modulus_quantiles") {
        let (p, k, q) = (row["p"].as_f64().unwrap(), row["k"].as_u64().unwrap() as usize, row["q"].as_f64().unwrap());
        near(maximum_modulus_quantile(p, k, df(&row)).unwrap(), q, 1e-8);
    }
}

#[test]
fn for_one_comparison_it_is_students_t() {
    for df in [1.3, 3.0, 17.5, 1e6, f64::INFINITY] {
        let t = quantile::student_t_two_sided(0.95, df).unwrap();
        near(maximum_modulus_quantile(0.95, 1, df).unwrap(), t, 1e-8);
    }
}

#[test]
fn holms_p_values() {
    for example in reference("holm.json")["examples"].as_array().unwrap() {
        for (found, right) in holm(&numbers(&example["p"])).iter().zip(numbers(&example["holm"])) {
            near(*found, right, 1e-12);
        }
    }
    assert!(holm(&[]).is_empty());
}

#[test]
fn impossible_groups_are_refused_with_the_reason() {
    let flat = group("flat", &[0.8, 0.8]);
    let good = group("good", &[0.7, 0.8]);
    let error = all_pairs(&[flat, good.clone()], 0.95).unwrap_err();
    assert!(error.is_not_estimable() && error.to_string().contains("flat"), "{error}");
    assert!(all_pairs(std::slice::from_ref(&good), 0.95).unwrap().is_empty());
    assert!(all_pairs(&[good.clone(), good], 95.0).is_err());
}

/// The mean of independent values with its own standard error.
fn group(name: &str, values: &[f64]) -> GroupMean {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|x| (x - mean).powi(2)).sum();
    GroupMean { name: name.to_owned(), mean, se: (squares / (n - 1.0) / n).sqrt(), df: n - 1.0 }
}

/// Share of simulated seasons in which every interval of all pairs holds its true difference.
fn all_cover(sizes: &[usize], sds: &[f64], repeats: usize, seed: u64) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut covered = 0;
    for _ in 0..repeats {
        let groups: Vec<GroupMean> = sizes
            .iter()
            .zip(sds)
            .enumerate()
            .map(|(i, (n, sd))| {
                let values: Vec<f64> = (0..*n)
                    .map(|_| {
                        let z: f64 = rng.sample(StandardNormal);
                        i as f64 + sd * z
                    })
                    .collect();
                group(&i.to_string(), &values)
            })
            .collect();
        let contrasts = all_pairs(&groups, 0.95).unwrap();
        covered += usize::from(contrasts.iter().all(|contrast| {
            let truth = contrast.a.parse::<f64>().unwrap() - contrast.b.parse::<f64>().unwrap();
            (contrast.difference.lower..=contrast.difference.upper).contains(&truth)
        }));
    }
    covered as f64 / repeats as f64
}

#[test]
fn intervals_of_all_pairs_cover_together() {
    // 0.95 with a Monte Carlo error of 0.011.
    let covered = all_cover(&[3, 4, 5, 8], &[1.0, 0.5, 2.0, 1.0], 400, 7);
    println!("simultaneous coverage at 0.95: {covered:.3}");
    assert!((0.925..=0.99).contains(&covered), "{covered}");
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn coverage_of_all_pairs_for_several_designs() {
    let designs: [(&[usize], &[f64]); 6] = [
        (&[3, 3, 3, 3], &[1.0; 4]),
        (&[3, 4, 5, 8], &[1.0, 0.5, 2.0, 1.0]),
        (&[3, 4, 5, 8], &[2.0, 2.0, 0.5, 0.5]),
        (&[6; 6], &[1.0; 6]),
        (&[6; 6], &[0.5, 0.5, 1.0, 1.0, 2.0, 2.0]),
        (&[12, 12, 12, 12], &[1.0, 1.0, 2.0, 3.0]),
    ];
    for (sizes, sds) in designs {
        let t3 = all_cover(sizes, sds, 1500, 11);
        println!("{sizes:?} {sds:?}: Dunnett T3 {t3:.4}");
        // Monte Carlo error 0.0056.
        assert!(t3 > 0.935, "{sizes:?} {sds:?}: {t3}");
    }
}

fn groups() -> impl Strategy<Value = Vec<Vec<f64>>> {
    prop::collection::vec(prop::collection::vec(-3.0..3.0_f64, 2..7), 2..5)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_p_value_and_the_interval_say_the_same(values in groups()) {
        let means: Vec<GroupMean> =
            values.iter().enumerate().map(|(i, v)| group(&i.to_string(), v)).collect();
        prop_assume!(means.iter().all(|m| m.se > 1e-3));
        for contrast in all_pairs(&means, 0.95).unwrap() {
            let outside = contrast.difference.lower > 0.0 || contrast.difference.upper < 0.0;
            prop_assume!((contrast.p_adjusted - 0.05).abs() > 1e-7);
            prop_assert_eq!(outside, contrast.p_adjusted < 0.05, "{:?}", contrast);
            prop_assert!(contrast.p_holm >= 0.0 && contrast.p_holm <= 1.0);
        }
    }

    #[test]
    fn groups_in_another_order_give_the_same_contrasts(values in groups()) {
        let means: Vec<GroupMean> =
            values.iter().enumerate().map(|(i, v)| group(&i.to_string(), v)).collect();
        prop_assume!(means.iter().all(|m| m.se > 1e-3));
        let back: Vec<GroupMean> = means.iter().rev().cloned().collect();
        let there = all_pairs(&means, 0.95).unwrap();
        for contrast in all_pairs(&back, 0.95).unwrap() {
            let same = there.iter().find(|other| other.a == contrast.b && other.b == contrast.a).unwrap();
            prop_assert!((same.difference.lower + contrast.difference.upper).abs() < 1e-9);
            prop_assert!((same.p_adjusted - contrast.p_adjusted).abs() < 1e-9);
            prop_assert!((same.p_holm - contrast.p_holm).abs() < 1e-12);
        }
    }
}
