//! What a cold crash tells of a probe in the cold.
//!
//! A finished batch keeps its gravity when it is cooled; what the probe then reads differently is the *sum* of its shell's
//! expansion, the error of its thermometer, the error of the liquid's model and what the gravity still fell. None of the
//! four can be told from the others here. The sum is given as an effective coefficient, at the gravity of that beer, beside
//! what the stated shell says; elsewhere it holds with extra variance.

mod plateaus;
mod result;
mod settings;
mod study;

pub use result::{ShellEffect, ShellEffects};
pub use settings::ShellEffectSettings;
