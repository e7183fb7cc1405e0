//! The points that a curve is fitted to.

use crate::fit::nonlinear::CurveResiduals;
use crate::{Error, Result};

use super::SigmoidKind;

/// Points in order of `x`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Points {
    pub x: Vec<f64>,
    pub y: Vec<f64>,
    pub sd: Option<Vec<f64>>,
}

impl Points {
    pub fn new(x: &[f64], y: &[f64], sd: Option<&[f64]>) -> Result<Self> {
        if x.len() != y.len() || sd.is_some_and(|sd| sd.len() != y.len()) {
            return Err(Error::Usage(format!("{} x, {} y and {:?} sd", x.len(), y.len(), sd.map(<[f64]>::len))));
        }
        let mut order: Vec<usize> = (0..x.len()).collect();
        order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
        let sorted = |values: &[f64]| order.iter().map(|i| values[*i]).collect();
        Ok(Self { x: sorted(x), y: sorted(y), sd: sd.map(sorted) })
    }

    pub fn problem<'a>(&'a self, kind: &'a SigmoidKind) -> Result<CurveResiduals<'a, SigmoidKind>> {
        CurveResiduals::new(kind, &self.x, &self.y, self.sd.as_deref())
    }

    pub fn sd(&self, i: usize) -> f64 {
        self.sd.as_ref().map_or(1.0, |sd| sd[i])
    }

    pub fn points(&self) -> impl Iterator<Item = (f64, f64)> {
        self.x.iter().copied().zip(self.y.iter().copied())
    }

    pub fn span(&self) -> (f64, f64) {
        match self.x.as_slice() {
            [first, .., last] => (*first, *last),
            [one] => (*one, *one),
            [] => (f64::NAN, f64::NAN),
        }
    }
}
