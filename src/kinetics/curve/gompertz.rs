//! The modified Gompertz form, which ends slower than it began.

use std::sync::Arc;

use super::exponentials::{logistic, over_exp_m1};
use super::plain_form::{Hazard, PlainForm, ShareLeft};

#[derive(Debug)]
struct Gompertz {
    c: f64,
    k: f64,
    /// Derivative of `k` by `ln c`.
    k_by: f64,
    /// `c / (exp(c) - 1)`.
    start_by: f64,
}

pub(super) fn form(steepness: f64, _: f64) -> PlainForm {
    let c = 4.0 * steepness;
    let at_half = -(0.5 * (-c).exp_m1()).ln_1p();
    let k = (c / at_half).ln();
    // c / (1 + exp(c)) without overflow.
    let k_by = 1.0 - c * logistic(-c) / at_half;
    Arc::new(Gompertz { c, k, k_by, start_by: over_exp_m1(c) })
}

impl ShareLeft for Gompertz {
    fn at(&self, x: f64) -> Hazard {
        let Self { c, k, k_by, start_by } = self;
        let y = c * (-k * x).exp();
        let over = over_exp_m1(y);
        let h = (-(-c).exp_m1()).ln() - (-(-y).exp_m1()).ln();
        Hazard { h, slope: k * over, by: [start_by - over * (1.0 - x * k_by), 0.0] }
    }

    fn inverse(&self, h: f64) -> f64 {
        let y = -((-self.c).exp_m1() * (-h).exp()).ln_1p();
        (self.c / y).ln() / self.k
    }

    fn steepest(&self) -> Option<f64> {
        Some((self.c.ln() / self.k).max(0.0))
    }
}
