//! The logistic form, symmetric or not.

use std::f64::consts::LN_2;
use std::sync::Arc;

use super::exponentials::{ln_exp_m1, logistic, softplus};
use super::plain_form::{Hazard, PlainForm, ShareLeft};

#[derive(Debug)]
struct Logistic {
    asymmetry: f64,
    ln_a: f64,
    rate: f64,
    /// `softplus` and `logistic` of `ln a`.
    start: (f64, f64),
    ln_a_by: [f64; 2],
    rate_by: [f64; 2],
}

pub(super) fn form(steepness: f64, s: f64) -> PlainForm {
    let c = -(-LN_2 / s).exp_m1();
    let w = steepness / (c * s);
    let (ln_a, rate) = (c.ln() - ln_exp_m1(w), LN_2 / s + w);
    // Derivatives by ln p and ln s of c, w, B and ln a.
    let ln_c_by_s = -(1.0 - c) * LN_2 / (s * c);
    let w_by = [w, w * (-ln_c_by_s - 1.0)];
    let over = 1.0 / -(-w).exp_m1();
    let rate_by = [w_by[0], w_by[1] - LN_2 / s];
    let ln_a_by = [-w_by[0] * over, ln_c_by_s - w_by[1] * over];
    Arc::new(Logistic { asymmetry: s, ln_a, rate, start: (softplus(ln_a), logistic(ln_a)), ln_a_by, rate_by })
}

impl ShareLeft for Logistic {
    fn at(&self, x: f64) -> Hazard {
        let Self { asymmetry: s, ln_a, rate, start, ln_a_by, rate_by } = self;
        let z = ln_a + rate * x;
        let (rise, sigma) = (softplus(z) - start.0, logistic(z));
        let by = |i: usize| sigma * (ln_a_by[i] + x * rate_by[i]) - start.1 * ln_a_by[i];
        Hazard { h: s * rise, slope: s * sigma * rate, by: [s * by(0), s * (by(1) + rise)] }
    }

    fn inverse(&self, h: f64) -> f64 {
        (ln_exp_m1(self.start.0 + h / self.asymmetry) - self.ln_a) / self.rate
    }

    fn steepest(&self) -> Option<f64> {
        // exp(-h) has its inflection where the logistic of ln a + B x is 1 / (1 + s).
        Some(((-self.asymmetry.ln() - self.ln_a) / self.rate).max(0.0))
    }
}
