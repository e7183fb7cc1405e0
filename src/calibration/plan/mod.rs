//! The baths of the next calibration: which gravities tell most about the curves, and how they are mixed.
//!
//! Each probe's last curve says how much a bath at each gravity would tell of its coefficients. An exchange algorithm then
//! picks the best `n` gravities of a grid, with repeats, for the smallest mean variance of SG over the range that the
//! user's beers use, as the mean over the probes. Beside each plan stands what as many evenly spaced baths are worth.
//!
//! What it does not do: it plans for the curve as last fitted, so a probe that was rebuilt needs a calibration before a
//! plan; and a plan with few different gravities shows little of a curve of the wrong form.

mod design;
mod information;
mod range;
mod recipe;
mod result;
mod settings;
mod study;

pub use recipe::BathRecipe;
pub(crate) use result::gravities;
pub use result::{BathPlan, Plan};
pub use settings::PlanSettings;

#[cfg(test)]
#[path = "../../../tests/inside/known_designs.rs"]
mod known_designs;
