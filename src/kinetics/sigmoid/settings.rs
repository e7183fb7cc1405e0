//! Settings of a fit to points.

use crate::fit::nonlinear::Parameter;
use crate::kinetics::settings::IntervalMethod;
use crate::{Error, Result};

use super::points::Points;
use super::{SIGMOID_PARAMETERS, SigmoidKind};

/// How a curve is fitted.
///
/// | field | default | range | change it when |
/// | --- | --- | --- | --- |
/// | `kind` | logistic, four parameters | | the data end otherwise than they begin |
/// | `from` | estimated | | the level before is known, as 0 for growth over the inoculum |
/// | `correlated` | true | | readings are far apart or known to be independent |
/// | `interval` | delta | | the curve is strongly bent in its parameters |
/// | `level` | 0.90 | 0 to 1 | another level is wanted |
#[derive(Debug, Clone, PartialEq)]
pub struct SigmoidSettings {
    /// Which curve.
    pub kind: SigmoidKind,
    /// The level it comes from, where known; it is then held.
    pub from: Option<f64>,
    /// Whether errors may be correlated: AR(1) in continuous time plus white noise, and generalised least squares.
    pub correlated: bool,
    /// How intervals are made.
    pub interval: IntervalMethod,
    /// Their level.
    pub level: f64,
}

impl Default for SigmoidSettings {
    fn default() -> Self {
        Self {
            kind: SigmoidKind::default(),
            from: None,
            correlated: true,
            interval: IntervalMethod::default(),
            level: 0.90,
        }
    }
}

impl SigmoidSettings {
    pub(super) fn what(&self) -> String {
        format!("a {} curve", self.kind)
    }

    pub(super) fn check(&self) -> Result<()> {
        if !(self.level > 0.0 && self.level < 1.0) {
            let value = self.level.to_string();
            return Err(Error::Setting { name: "level", value, wanted: "a probability between 0 and 1" });
        }
        if let Some(from) = self.from.filter(|from| !from.is_finite()) {
            return Err(Error::Setting { name: "from", value: from.to_string(), wanted: "a finite number" });
        }
        Ok(())
    }

    /// The parameters, from these values on.
    pub(super) fn parameters(&self, points: &Points, start: &[f64]) -> Vec<Parameter> {
        let (first, last) = points.span();
        let span = last - first;
        let bounded = |(i, (name, value)): (usize, (&&str, &f64))| {
            let parameter = Parameter::new(*name, *value);
            match i {
                0 if self.from.is_some() => parameter.held(),
                2 => parameter.within(0.0, f64::INFINITY),
                3 => {
                    let (low, high) = (first - 2.0 * span, last + span);
                    Parameter::new(*name, value.clamp(low, high)).within(low, high)
                }
                4 => parameter.within(0.05, 20.0),
                _ => parameter,
            }
        };
        SIGMOID_PARAMETERS.iter().zip(start).enumerate().map(bounded).collect()
    }
}
