//! Errors that remember: the filter against dense algebra.

use crate::fit::whitener::Whitener;
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

proptest! {
    #[test]
    fn a_varying_filter_is_the_dense_inverse(
        rows in prop::collection::vec((0.0..3.0_f64, 0.05..2.0_f64, 0.01..1.0_f64, -2.0..2.0_f64), 2..20),
        memory in 0.1..20.0_f64,
    ) {
        let mut time = 0.0;
        let times: Vec<f64> = rows.iter().map(|row| { time += row.0; time }).collect();
        let sizes: Vec<f64> = rows.iter().map(|row| row.1).collect();
        let white: Vec<f64> = rows.iter().map(|row| row.2).collect();
        let values: Vec<f64> = rows.iter().map(|row| row.3).collect();
        let covariance = DMatrix::from_fn(rows.len(), rows.len(), |i, j| {
            let remembered = sizes[i] * sizes[j] * (-(times[i] - times[j]).abs() / memory).exp();
            remembered + if i == j { white[i] } else { 0.0 }
        });
        let y = DVector::from_vec(values.clone());
        let factor = covariance.cholesky().unwrap();
        let wanted = y.dot(&factor.solve(&y));
        let mut found = values;
        let whitener = Whitener::varying(&times, &sizes, &white, memory).unwrap();
        whitener.whiten(found.iter_mut());
        let found: f64 = found.iter().map(|w| w * w).sum();
        prop_assert!((found - wanted).abs() < 1e-8 * wanted.max(1e-6), "{found} {wanted}");
        let ln_det = 2.0 * factor.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        prop_assert!((whitener.ln_determinant() - ln_det).abs() < 1e-8 * ln_det.abs().max(1.0));
    }
}

#[test]
fn impossible_series_are_refused_with_the_reason() {
    let text = |times: &[f64], white: f64| {
        let n = times.len();
        Whitener::varying(times, &vec![1.0; n], &vec![white; n], 2.0).unwrap_err().to_string()
    };
    assert!(text(&[0.0, 2.0, 1.0, 3.0], 0.1).contains("falls by 1 at row 2"));
    assert!(text(&[0.0, f64::NAN, 1.0], 0.1).contains("a time is NaN"));
    assert!(text(&[0.0, 1.0, 1.0, 2.0], 0.0).contains("not told apart"));
    assert!(text(&[0.0, 1.0], -0.1).contains("at least 0"));
    assert!(Whitener::varying(&[0.0, 1.0], &[1.0], &[0.1, 0.1], 2.0).is_err());
    assert!(Whitener::varying(&[0.0], &[1.0], &[0.1], 0.0).unwrap_err().to_string().contains("memory"));
}
