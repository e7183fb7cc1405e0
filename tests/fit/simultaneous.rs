//! The largest of several correlated t's, Holm.

use crate::fit::compare::holm;
use crate::fit::compare::max_t::MaxT;
use crate::fit::quantile;
use nalgebra::DMatrix;
use serde_json::Value;

use super::{near, numbers, reference};

fn rows(name: &str) -> Vec<Value> {
    reference("simultaneous_quantiles.json")[name].as_array().unwrap().clone()
}

/// Infinite where the reference has none.
fn df(row: &Value) -> f64 {
    row["df"].as_f64().unwrap_or(f64::INFINITY)
}

/// All pairs of independent means with these standard errors.
fn all_pairs(se: &[f64]) -> DMatrix<f64> {
    let k = se.len();
    let pairs: Vec<(usize, usize)> = (0..k).flat_map(|a| (a + 1..k).map(move |b| (a, b))).collect();
    DMatrix::from_fn(pairs.len(), k, |i, j| match pairs[i] {
        (a, _) if a == j => se[j],
        (_, b) if b == j => -se[j],
        _ => 0.0,
    })
}

#[test]
fn all_pairs_of_equal_means_are_the_studentised_range() {
    // J. W. Tukey's range of k means, over the root of 2.
    for k in [2, 3, 4, 5, 6, 8, 10] {
        let law = MaxT::new(&all_pairs(&vec![1.0; k])).unwrap();
        for row in rows("studentized_range_quantiles").iter().filter(|row| row["k"] == k) {
            let q = row["q"].as_f64().unwrap() / 2.0_f64.sqrt();
            near(law.quantile(row["p"].as_f64().unwrap(), df(row)).unwrap(), q, 2e-4);
        }
    }
}

#[test]
fn small_tails_keep_their_digits() {
    for row in rows("studentized_range_upper_tail") {
        let (q, k, p) =
            (row["q"].as_f64().unwrap(), row["k"].as_u64().unwrap() as usize, row["p_upper"].as_f64().unwrap());
        let (found, error) =
            MaxT::new(&all_pairs(&vec![1.0; k])).unwrap().upper_tail(q / 2.0_f64.sqrt(), df(&row)).unwrap();
        near(found, p, 2e-3);
        assert!((found - p).abs() < error.max(1e-4), "{row}: {found}, {error:e}");
    }
}

#[test]
fn multivariate_t() {
    for row in rows("multivariate_t_quantiles") {
        let (k, rho) = (row["k"].as_u64().unwrap() as usize, row["rho"].as_f64().unwrap());
        let factor = DMatrix::from_fn(k, k + 1, |i, j| match j {
            0 => rho.sqrt(),
            _ if j == i + 1 => (1.0 - rho).sqrt(),
            _ => 0.0,
        });
        let found = MaxT::new(&factor).unwrap().quantile(row["p"].as_f64().unwrap(), df(&row)).unwrap();
        near(found, row["q"].as_f64().unwrap(), 2e-4);
    }
}

#[test]
fn tukey_kramer_and_dunnett() {
    for row in rows("tukey_kramer") {
        // Standard errors of the means from those of the first three pairs: (0, 1), (0, 2) and (1, 2).
        let se = numbers(&row["se"]);
        let k = row["k"].as_u64().unwrap() as usize;
        let with_first = |i: usize| se[i - 1] * se[i - 1];
        let between = if k == 3 { se[2] } else { se[k - 1] };
        let first = 0.5 * (with_first(1) + with_first(2) - between * between);
        let means: Vec<f64> =
            (0..k).map(|i| if i == 0 { first.sqrt() } else { (with_first(i) - first).sqrt() }).collect();
        let law = MaxT::new(&all_pairs(&means)).unwrap();
        let t = numbers(&row["diff"]).into_iter().zip(&se).map(|(d, se)| d.abs() / se);
        // The reference is Tukey's approximation for unequal sizes, which is above the exact probability by up to a few percent.
        let slack = if k == 3 { 1e-3 } else { 0.03 };
        for (t, p) in t.zip(numbers(&row["p_adj"])) {
            near(law.upper_tail(t, df(&row)).unwrap().0, p, slack);
        }
    }
    for row in rows("dunnett") {
        let lambda = numbers(&row["corr_lambda"]);
        let factor = DMatrix::from_fn(lambda.len(), lambda.len() + 1, |i, j| match j {
            0 => lambda[i],
            _ if j == i + 1 => (1.0 - lambda[i] * lambda[i]).sqrt(),
            _ => 0.0,
        });
        let law = MaxT::new(&factor).unwrap();
        near(law.quantile(0.95, df(&row)).unwrap(), row["quantile95_two_sided"].as_f64().unwrap(), 2e-4);
        for (t, p) in numbers(&row["t"]).into_iter().zip(numbers(&row["p_two_sided"])) {
            near(law.upper_tail(t.abs(), df(&row)).unwrap().0, p, 1e-3);
        }
    }
}

#[test]
fn for_one_comparison_it_is_students_t() {
    for df in [1.3, 3.0, 17.5, 1e5, f64::INFINITY] {
        let t = quantile::student_t_two_sided(0.95, df).unwrap();
        near(MaxT::new(&DMatrix::from_element(1, 1, 3.0)).unwrap().quantile(0.95, df).unwrap(), t, 1e-4);
    }
}

#[test]
fn what_has_no_variance_is_refused() {
    assert!(MaxT::new(&DMatrix::zeros(2, 2)).is_err_and(|why| why.is_not_estimable()));
    assert!(MaxT::new(&DMatrix::zeros(0, 2)).is_err_and(|why| why.is_not_estimable()));
    let law = MaxT::new(&all_pairs(&[1.0, 2.0])).unwrap();
    assert!(law.quantile(95.0, 3.0).is_err() && law.upper_tail(1.0, 0.0).is_err());
    assert!((law.upper_tail(f64::NAN, 3.0).unwrap().0 - 1.0).abs() < 1e-12);
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
