//! The curves that can be fitted. A further one is a variant, a line of its facts, and a file with its plain form.

use super::plain_form::PlainForm;
use super::smooth_correction::PARAMETERS;
use super::{gompertz, logistic};

named! {
    /// Which of the curves.
    #[derive(serde::Serialize, serde::Deserialize)]
    #[serde(rename_all = "snake_case")]
    pub enum FermentationCurve {
        /// Four parameters: a logistic with its asymmetry held at 1, no tail, no correction.
        Logistic4 = "logistic4",
        /// A logistic of five parameters, no tail, no correction.
        Logistic5 = "logistic5",
        /// The modified Gompertz curve from pitching on, four parameters.
        Gompertz = "gompertz",
        /// A logistic of five parameters with a slow tail and the smooth correction of the rate: the one whose intervals hold
        /// on fermentations that no closed form describes.
        Smooth = "smooth",
    }
}

impl FermentationCurve {
    /// Its number of free parameters, its plain form for a steepness and an asymmetry.
    const fn facts(self) -> (usize, fn(f64, f64) -> PlainForm) {
        match self {
            Self::Logistic4 => (4, logistic::form),
            Self::Logistic5 => (5, logistic::form),
            Self::Gompertz => (4, gompertz::form),
            Self::Smooth => (PARAMETERS, logistic::form),
        }
    }

    /// How many parameters are free: the first of [`super::GravityCurve::to_vector`].
    pub(crate) const fn free(self) -> usize {
        self.facts().0
    }

    pub(super) fn plain_form(self, steepness: f64, asymmetry: f64) -> PlainForm {
        self.facts().1(steepness, asymmetry)
    }
}
