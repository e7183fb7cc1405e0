//! Nothing for a while, then an exponential decline.

use std::f64::consts::LN_2;
use std::sync::Arc;

use super::plain_form::{Hazard, PlainForm, ShareLeft};

#[derive(Debug)]
struct LagExponential {
    lag: f64,
}

pub(super) fn form(steepness: f64, _: f64) -> PlainForm {
    Arc::new(LagExponential { lag: steepness / (2.0 + steepness) })
}

impl ShareLeft for LagExponential {
    fn at(&self, x: f64) -> Hazard {
        let lag = self.lag;
        if x < lag * (1.0 - 1e-12) {
            return Hazard::default();
        }
        let slope = LN_2 / (1.0 - lag);
        // d lag / d ln p = lag (1 - lag).
        Hazard { h: slope * (x - lag).max(0.0), slope, by: [slope * lag * (x - 1.0), 0.0] }
    }

    fn inverse(&self, h: f64) -> f64 {
        self.lag + (1.0 - self.lag) * h / LN_2
    }

    fn steepest(&self) -> Option<f64> {
        Some(self.lag)
    }
}
