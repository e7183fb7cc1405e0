//! Times and rates are compared by their ratios, the rest as it is.

use crate::fit::Estimate;
use crate::kinetics::Trait;

/// The scale on which a trait is modelled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scale {
    Own,
    /// Its natural logarithm.
    Log,
}

impl Scale {
    /// Logarithms for times and rates, as long as all values allow it.
    pub fn of(which: Trait, values: impl IntoIterator<Item = f64>) -> Self {
        if which.is_pace() && values.into_iter().all(|value| value > 0.0) { Self::Log } else { Self::Own }
    }

    /// A value and its standard error on this scale.
    pub fn model(self, value: f64, se: f64) -> (f64, f64) {
        if self == Self::Log { (value.ln(), se / value) } else { (value, se) }
    }

    /// An estimate of a mean, back on the trait's own scale.
    pub fn mean(self, on_model: Estimate) -> Estimate {
        if self == Self::Log { self.ratio(on_model) } else { on_model }
    }

    /// The ratio that a difference of logarithms stands for.
    pub fn ratio(self, difference: Estimate) -> Estimate {
        let value = difference.value.exp();
        let (lower, upper) = (difference.lower.exp(), difference.upper.exp());
        Estimate { value, se: value * difference.se, lower, upper, ..difference }
    }

    /// The difference on this scale that is `own` on the trait's own about the middle.
    pub fn model_of(self, own: f64, middle: f64) -> f64 {
        if self == Self::Log { 2.0 * (0.5 * own / middle.exp()).asinh() } else { own }
    }

    /// The difference on the trait's own scale about the middle that is `d` on this.
    pub fn own(self, d: f64, middle: f64) -> f64 {
        if self == Self::Log { 2.0 * middle.exp() * (0.5 * d).sinh() } else { d }
    }

    /// An estimate of a difference d as one on the trait's own scale, about the middle g of both: with logarithms
    /// `a - b = 2 sqrt(a b) sinh(d/2)` for `d = ln a - ln b`. It rises with d, so an interval leaves out 0 on both or on
    /// none; that g is an estimate is neglected.
    pub fn difference(self, d: Estimate, middle: f64) -> Estimate {
        let [value, lower, upper] = [d.value, d.lower, d.upper].map(|d| self.own(d, middle));
        let se = if self == Self::Log { middle.exp() * (0.5 * d.value).cosh() * d.se } else { d.se };
        Estimate { value, se, lower, upper, ..d }
    }
}
