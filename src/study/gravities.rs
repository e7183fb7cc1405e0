//! Gravities and series where probes are calibrated, and series of samples where none is.

use crate::calibration::Calibrations;
use crate::error::Result;
use crate::gravity::{Gravity, SeriesBuilder};
use crate::season::Season;

use super::part::Part;

pub(super) fn gravity_of(season: &Season, calibrations: &Part<Calibrations>) -> Result<Part<Gravity>> {
    if season.readings.is_empty() {
        return Ok(Part::Skipped("the season has no readings".to_owned()));
    }
    match calibrations {
        Part::Done(calibrations) => {
            let gravity = calibrations.gravity(season)?;
            let any = gravity.uncorrected.iter().any(Option::is_some);
            let why = "no reading belongs to a calibrated probe and gives a gravity";
            Ok(if any { Part::Done(gravity) } else { Part::Failed(why.to_owned()) })
        }
        Part::Skipped(why) | Part::Failed(why) => Ok(Part::Skipped(why.clone())),
    }
}

/// Builds series of readings and samples; of samples alone where no probe is calibrated.
pub(super) fn series_builder<'a>(
    season: &'a Season,
    calibrations: &'a Part<Calibrations>,
    gravity: &'a Part<Gravity>,
) -> SeriesBuilder<'a> {
    match (calibrations.done(), gravity.done()) {
        (Some(calibrations), Some(gravity)) => SeriesBuilder::new(season, calibrations, gravity),
        _ => SeriesBuilder::of_samples(season),
    }
}
