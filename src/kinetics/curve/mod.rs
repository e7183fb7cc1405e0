//! The curves of a fermentation, in parameters that a brewer recognises.
//!
//! Of the drop from the gravity `O` at pitching (`t = 0`, exactly) to the terminal gravity `T`, a share is left at
//! `x = t / scale`:
//!
//! `SG(t) = T + (O - T) [(1 - q) exp(-H(x)) + q exp(-r H(x))]`,
//! `H(x) = integral from 0 to x of exp(b(v)) h'(v) dv`.
//!
//! `exp(-h)` is one of the plain forms below, `b` a smooth correction (see [`N_BASIS`]) of its specific rate, so that the
//! curve still starts at `O`, only falls, and ends at `T`, and the tail is the share `q` of the sugar that the same yeast
//! takes up `r < 1` times as readily as the rest. Each form has half of the drop done at `x = 1` and a steepness
//! `p > 0`; `p -> 0` is for all of them the plain exponential decline of a very active yeast without lag.
//!
//! | form | share left, `exp(-h(x))` |
//! | --- | --- |
//! | logistic | `[(1 + a) / (1 + a exp(B x))]^s`, with `c = 1 - 2^(-1/s)`, `w = p / (c s)`, `B = ln 2 / s + w`, `a = c / (exp(w) - 1)` |
//! | Gompertz | `(1 - exp(-c exp(-k x))) / (1 - exp(-c))`, with `c = 4 p` and `k` such that it is 1/2 at `x = 1` |
//!
//! `s = 1` is the four-parameter logistic used for the fermentability of wort by yeast (ASBC Methods of Analysis,
//! Yeast-14; Speers, Rogers and Smith 2003, J. Inst. Brew. 109(3), 229-235; the form from memory), `s < 1` ends slower
//! than it began, `s > 1` more abruptly. In the writing with asymptotes, `SG = T + D / (1 + exp(k (t - M)))^s`, the same
//! curve has `k = B / scale`, `M = -ln(a) / k` and `D = (O - T) (1 + a)^s`. The Gompertz form is the modified one of
//! Zwietering, Jongenburger, Rombouts and van 't Riet (1990, Appl. Environ. Microbiol. 56, 1875, equation 11) from pitching
//! on, its lag and rate being traits.

mod exponentials;
mod fermentation_curve;
mod gompertz;
mod gravity_curve;
mod logistic;
mod plain_form;
mod smooth_correction;
mod tabulated;

pub use fermentation_curve::FermentationCurve;
pub(crate) use gravity_curve::{GravityCurve, NO_TAIL};
pub(crate) use smooth_correction::{CELL, CELLS, N_BASIS, PARAMETERS};
pub(crate) use tabulated::Tabulated;
