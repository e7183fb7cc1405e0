//! The plain forms: how much is left after a time over the curve's scale, as `exp(-h(x))`.

use std::f64::consts::LN_2;

use super::inhibited::Inhibited;
use super::{ln_exp_m1, logistic, softplus};

/// The plain form of a curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Form {
    /// Logistic, symmetric or not.
    #[default]
    Logistic,
    /// Modified Gompertz, ending slower than it began.
    Gompertz,
    /// Nothing for a while, then exponential.
    LagExponential,
    /// Growing yeast that alcohol inhibits.
    Inhibited,
}

/// `h` at one place.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Hazard {
    /// `h(x)`: minus the logarithm of the share left.
    pub h: f64,
    /// `h'(x)`.
    pub slope: f64,
    /// Derivatives of `h` by ln steepness and ln asymmetry.
    pub by: [f64; 2],
}

/// A form with its constants.
#[derive(Debug, Clone)]
pub(super) enum Base {
    Logistic {
        asymmetry: f64,
        ln_a: f64,
        rate: f64,
        /// `softplus` and `logistic` of `ln a`.
        start: (f64, f64),
        ln_a_by: [f64; 2],
        rate_by: [f64; 2],
    },
    Gompertz {
        c: f64,
        k: f64,
        /// Derivative of `k` by `ln c`.
        k_by: f64,
        /// `c / (exp(c) - 1)`.
        start_by: f64,
    },
    LagExponential {
        lag: f64,
    },
    Inhibited(Inhibited),
}

impl Base {
    pub fn new(form: Form, steepness: f64, asymmetry: f64) -> Self {
        match form {
            Form::Logistic => Self::new_logistic(steepness, asymmetry),
            Form::Gompertz => {
                let c = 4.0 * steepness;
                let at_half = -(0.5 * (-c).exp_m1()).ln_1p();
                let k = (c / at_half).ln();
                // c / (1 + exp(c)) without overflow.
                let k_by = 1.0 - c * logistic(-c) / at_half;
                Self::Gompertz { c, k, k_by, start_by: over_exp_m1(c) }
            }
            Form::LagExponential => Self::LagExponential { lag: steepness / (2.0 + steepness) },
            Form::Inhibited => Self::Inhibited(Inhibited::new(steepness, asymmetry)),
        }
    }

    fn new_logistic(steepness: f64, s: f64) -> Self {
        let c = -(-LN_2 / s).exp_m1();
        let w = steepness / (c * s);
        let (ln_a, rate) = (c.ln() - ln_exp_m1(w), LN_2 / s + w);
        // Derivatives by ln p and ln s of c, w, B and ln a.
        let ln_c_by_s = -(1.0 - c) * LN_2 / (s * c);
        let w_by = [w, w * (-ln_c_by_s - 1.0)];
        let over = 1.0 / -(-w).exp_m1();
        let rate_by = [w_by[0], w_by[1] - LN_2 / s];
        let ln_a_by = [-w_by[0] * over, ln_c_by_s - w_by[1] * over];
        Self::Logistic { asymmetry: s, ln_a, rate, start: (softplus(ln_a), logistic(ln_a)), ln_a_by, rate_by }
    }

    /// `h` with its derivatives at `x >= 0`.
    pub fn at(&self, x: f64) -> Hazard {
        match self {
            Self::Logistic { asymmetry: s, ln_a, rate, start, ln_a_by, rate_by } => {
                let z = ln_a + rate * x;
                let (rise, sigma) = (softplus(z) - start.0, logistic(z));
                let by = |i: usize| sigma * (ln_a_by[i] + x * rate_by[i]) - start.1 * ln_a_by[i];
                Hazard { h: s * rise, slope: s * sigma * rate, by: [s * by(0), s * (by(1) + rise)] }
            }
            Self::Gompertz { c, k, k_by, start_by } => {
                let y = c * (-k * x).exp();
                let over = over_exp_m1(y);
                let h = (-(-c).exp_m1()).ln() - (-(-y).exp_m1()).ln();
                Hazard { h, slope: k * over, by: [start_by - over * (1.0 - x * k_by), 0.0] }
            }
            Self::LagExponential { lag } => {
                if x < lag * (1.0 - 1e-12) {
                    return Hazard::default();
                }
                let slope = LN_2 / (1.0 - lag);
                // d lag / d ln p = lag (1 - lag).
                Hazard { h: slope * (x - lag).max(0.0), slope, by: [slope * lag * (x - 1.0), 0.0] }
            }
            Self::Inhibited(table) => table.at(x),
        }
    }

    /// The `x` at which `h` is reached.
    pub fn inverse(&self, h: f64) -> f64 {
        match self {
            Self::Logistic { asymmetry, ln_a, rate, start, .. } => (ln_exp_m1(start.0 + h / asymmetry) - ln_a) / rate,
            Self::Gompertz { c, k, .. } => {
                let y = -((-c).exp_m1() * (-h).exp()).ln_1p();
                (c / y).ln() / k
            }
            Self::LagExponential { lag } => lag + (1.0 - lag) * h / LN_2,
            Self::Inhibited(table) => table.inverse(h),
        }
    }

    /// Where `exp(-h)` falls fastest, where that has a closed form.
    pub fn steepest(&self) -> Option<f64> {
        match self {
            // exp(-h) has its inflection where the logistic of ln a + B x is 1 / (1 + s).
            Self::Logistic { asymmetry, ln_a, rate, .. } => Some(((-asymmetry.ln() - ln_a) / rate).max(0.0)),
            Self::Gompertz { c, k, .. } => Some((c.ln() / k).max(0.0)),
            Self::LagExponential { lag } => Some(*lag),
            Self::Inhibited(_) => None,
        }
    }
}

/// `y / (exp(y) - 1)`.
fn over_exp_m1(y: f64) -> f64 {
    if y < 1e-12 { 1.0 } else { y / y.exp_m1() }
}
