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

use crate::calibration::{BathPlan, Calibrations};
use crate::drift::Drift;
use crate::forecast::Forecasts;
use crate::kinetics::{BatchFit, Kinetics};
use crate::strains::Strains;

pub use figure::Figure;
pub(crate) use scales::{Scales, Shown};
pub(crate) use words::{dated, minute, percent, signed};

/// Pictures on the scales of the results, by those on scales of choice.
macro_rules! charts {
    ($($(#[$doc:meta])* $of:ty: $chart:ident = $on:ident, $example:literal;)*) => {
        $(impl $of {
            $(#[$doc])*
            #[doc = example!(study $example)]
            pub fn $chart(&self) -> $crate::Result<Figure> {
                self.$on(&Scales::of_results())
            }
        })*
    };
}

charts! {
    /// Every curve with its band and baths, and below it the baths' distance from the curve; one panel a calibration.
    Calibrations: chart = chart_on, "study.calibrations()?.chart()?;";
    /// Every candidate of the last calibration of each probe beside the chosen one, beyond the baths too, and the baths'
    /// residuals on each; one panel a probe.
    Calibrations: candidates_chart = candidates_chart_on, "study.calibrations()?.candidates_chart()?;";
    /// The baths of the next calibration for all probes together: where they lie for each number of baths, what each number
    /// gains, and the error over the range for the number to take, each beside evenly spaced baths.
    BathPlan: chart = chart_on, "study.bath_plan()?.chart()?;";
    /// Every probe against every reference, one panel per probe on the same scales: probe minus known gravity over the
    /// days since its first calibration.
    Drift: chart = chart_on, "study.drift()?.chart()?;";
    /// The drift of each probe and of the fleet, with their intervals.
    Drift: fleet_chart = fleet_chart_on, "study.drift()?.fleet_chart()?;";
    /// The probability of being out of limit over time, one panel per probe, with the date at which a calibration is due.
    Drift: limit_chart = limit_chart_on, "study.drift()?.limit_chart()?;";
    /// All batches, one small panel each on the same scales of gravity and time.
    Kinetics: chart = chart_on, "study.kinetics()?.chart()?;";
    /// First, the gravities less the curve with what the probes misread; second, the autocorrelation of the residuals with the
    /// error model taken off, where all bars should stay between the lines.
    BatchFit: residual_chart = residual_chart_on, "study.kinetics()?.batch(batch)?.residual_chart()?;";
    /// When each batch comes to rest: one row per forecast, the latest moment and the first finish at the top.
    Forecasts: chart = chart_on, "study.forecasts()?.chart()?;";
    /// The mean of every trait per strain at common conditions with its interval, one panel per trait; beside it the plain mean
    /// and the one drawn towards all strains.
    Strains: chart = chart_on, "study.strains()?.chart()?;";
    /// The attenuation that each strain reaches by each day at common conditions, with its band; one panel a strain.
    Strains: curve_chart = curve_chart_on, "study.strains()?.curve_chart()?;";
    /// The means of attenuation and of the time to nine tenths of the drop together, with the region of both.
    Strains: pair_of_traits_chart = pair_of_traits_chart_on, "study.strains()?.pair_of_traits_chart()?;";
    /// The difference that further batches would find, one line an open pair, one panel a trait.
    Strains: power_chart = power_chart_on, "study.strains()?.power_chart()?;";
    /// The differences between strains with their simultaneous intervals, one panel per trait.
    Strains: contrast_chart = contrast_chart_on, "study.strains()?.contrast_chart()?;";
}
