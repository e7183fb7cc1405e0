//! The curves that can be fitted. A further one is a variant, a line of its facts, and a file with its plain form.

use serde::{Deserialize, Serialize};

use super::plain_form::PlainForm;
use super::smooth_correction::PARAMETERS;
use super::{gompertz, logistic};

/// Which of the curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FermentationCurve {
    /// Four parameters: a logistic with its asymmetry held at 1, no tail, no correction.
    Logistic4,
    /// A logistic of five parameters, no tail, no correction.
    Logistic5,
    /// The modified Gompertz curve from pitching on, four parameters.
    Gompertz,
    /// A logistic of five parameters with a slow tail and the smooth correction of the rate: the one whose intervals hold on
    /// fermentations that no closed form describes.
    Smooth,
}

impl FermentationCurve {
    /// All of them, in the order of the tables.
    pub const ALL: &[Self] = &[Self::Logistic4, Self::Logistic5, Self::Gompertz, Self::Smooth];

    /// Its name in the tables, its number of free parameters, its plain form for a steepness and an asymmetry.
    const fn facts(self) -> (&'static str, usize, fn(f64, f64) -> PlainForm) {
        match self {
            Self::Logistic4 => ("logistic4", 4, logistic::form),
            Self::Logistic5 => ("logistic5", 5, logistic::form),
            Self::Gompertz => ("gompertz", 4, gompertz::form),
            Self::Smooth => ("smooth", PARAMETERS, logistic::form),
        }
    }

    /// Its name in the tables.
    pub const fn name(self) -> &'static str {
        self.facts().0
    }

    /// How many parameters are free: the first of [`super::GravityCurve::to_vector`].
    pub(crate) const fn free(self) -> usize {
        self.facts().1
    }

    /// Its plain form for a steepness and an asymmetry.
    pub(super) fn plain_form(self, steepness: f64, asymmetry: f64) -> PlainForm {
        self.facts().2(steepness, asymmetry)
    }
}

impl std::fmt::Display for FermentationCurve {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}
