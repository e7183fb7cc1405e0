//! The curves that can be fitted. A further one is a line of the list below, and a file with its plain form.

use serde::{Deserialize, Serialize};

use super::plain_form::PlainForm;
use super::smooth_correction::PARAMETERS;
use super::{gompertz, logistic};

/// The enum of the curves with its list and what is known of each: name in the tables, number of free parameters, plain
/// form.
macro_rules! curves {
    ($($(#[$doc:meta])* $curve:ident = $name:literal, $free:expr, $form:path;)*) => {
        /// Which of the curves.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum FermentationCurve {
            $($(#[$doc])* $curve,)*
        }

        impl FermentationCurve {
            /// All of them, in the order of the tables.
            pub const ALL: &[Self] = &[$(Self::$curve),*];

            /// Its name in the tables.
            pub const fn name(self) -> &'static str {
                match self {
                    $(Self::$curve => $name,)*
                }
            }

            /// How many parameters are free: the first of [`super::GravityCurve::to_vector`].
            pub(crate) const fn free(self) -> usize {
                match self {
                    $(Self::$curve => $free,)*
                }
            }

            /// Its plain form for a steepness and an asymmetry.
            pub(super) fn plain_form(self, steepness: f64, asymmetry: f64) -> PlainForm {
                match self {
                    $(Self::$curve => $form(steepness, asymmetry),)*
                }
            }
        }
    };
}

curves! {
    /// Four parameters: a logistic with its asymmetry held at 1, no tail, no correction.
    Logistic4 = "logistic4", 4, logistic::form;
    /// A logistic of five parameters, no tail, no correction.
    Logistic5 = "logistic5", 5, logistic::form;
    /// The modified Gompertz curve from pitching on, four parameters.
    Gompertz = "gompertz", 4, gompertz::form;
    /// A logistic of five parameters with a slow tail and the smooth correction of the rate: the one whose intervals hold on
    /// fermentations that no closed form describes.
    Smooth = "smooth", PARAMETERS, logistic::form;
}

impl std::fmt::Display for FermentationCurve {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}
