//! The module `fit` against published and independently computed answers, laws, and simulations.
#![allow(clippy::print_stdout)]

mod errors_in_variables;
mod instruments;
mod linear;
mod matrix;
mod mixed;
mod mixed_intervals;
mod mixed_known;
mod mixed_refusals;
mod nonlinear;
mod points;
mod pooling;
mod quantiles;
mod robust;
mod simultaneous;
mod single_curves;
mod strd_linear;
mod strd_models;
mod strd_nonlinear;
mod whitener;

#[path = "../answers.rs"]
mod answers;

pub use answers::{near, numbers, reference};

/// Digits of agreement: minus the decimal logarithm of the relative error (absolute, where the right answer is 0), at
/// most 15.
pub fn digits(found: f64, right: f64) -> f64 {
    let error = if right == 0.0 { found.abs() } else { ((found - right) / right).abs() };
    if error.is_nan() { 0.0 } else { (-error.max(1e-15).log10()).max(0.0) }
}

/// The fewest digits of agreement of two lists.
pub fn fewest_digits(found: &[f64], right: &[f64]) -> f64 {
    assert_eq!(found.len(), right.len());
    found.iter().zip(right).map(|(f, r)| digits(*f, *r)).fold(15.0, f64::min)
}

/// `found` within `tolerance` of `right`, relative, or absolute where the right answer is below 1 in size.
#[track_caller]
pub fn close(found: f64, right: f64, tolerance: f64) {
    let error = (found - right).abs() / right.abs().max(1.0);
    assert!(error <= tolerance, "found {found}, wanted {right}: off by {error:e}, allowed {tolerance:e}");
}
