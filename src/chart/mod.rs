//! Pictures: one function per picture, each an inherent `chart` method of the result it shows.
//!
//! A [`Figure`] owns its pictures as SVG text. They carry no background and no style sheet: axes and words take the
//! colour of the text around them (`currentColor`), the marks have colours that keep a contrast of 3:1 or more on
//! white and on near-black paper, so one picture serves a light page, a dark page and a notebook.
//!
//! Each gives [`crate::Error::Numeric`] when drawing fails.
//!
//! What a picture does not do: it never joins readings across a gap with a fitted curve it did not get, and it draws
//! no point outside its frame (what lies outside is counted in the caption or shown by the table).

mod axis;
mod backtest;
mod builds;
mod calibration;
mod candidates;
mod clip;
mod drift;
mod drift_kinds;
mod drift_limit;
mod figure;
mod forecast;
mod forest;
mod kinetics;
mod palette;
mod plan;
mod plot;
mod residuals;
mod scales;
mod strains;
mod svg;
mod thin;
mod words;

pub use figure::Figure;
pub(crate) use scales::{Scales, Shown};
pub(crate) use words::{minute, percent, signed, written};
