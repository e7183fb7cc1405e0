//! Functions of exponentials that do not overflow and lose no digits.

/// `ln(1 + exp(z))` without overflow.
pub(super) fn softplus(z: f64) -> f64 {
    if z > 0.0 { z + (-z).exp().ln_1p() } else { z.exp().ln_1p() }
}

/// `ln(exp(z) - 1)` for `z > 0` without overflow.
pub(super) fn ln_exp_m1(z: f64) -> f64 {
    if z > 30.0 { z + (-(-z).exp()).ln_1p() } else { z.exp_m1().ln() }
}

/// `1 / (1 + exp(-z))`.
pub(super) fn logistic(z: f64) -> f64 {
    if z >= 0.0 { 1.0 / (1.0 + (-z).exp()) } else { z.exp() / (1.0 + z.exp()) }
}

/// `y / (exp(y) - 1)`.
pub(super) fn over_exp_m1(y: f64) -> f64 {
    if y < 1e-12 { 1.0 } else { y / y.exp_m1() }
}
