//! Gravities and series where probes are calibrated, and series of samples where none is.

use crate::calibration::Calibrations;
use crate::drift::Drift;
use crate::error::Result;
use crate::gravity::{Gravity, GravityLayers, GravitySeries, SeriesBuilder};
use crate::kinetics::Kinetics;
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

/// The layers with what gas, foam and whatever held a probe did to readings, and the flags of all studies.
pub(super) fn with_process(
    layers: GravityLayers,
    season: &Season,
    series: &[GravitySeries],
    (kinetics, drift): (&Part<Kinetics>, &Part<Drift>),
) -> GravityLayers {
    let mut flags = kinetics.done().map(|kinetics| kinetics.reading_flags(series)).unwrap_or_default();
    flags.extend(drift.done().map(|drift| drift.contradicted(season)).unwrap_or_default());
    let process = kinetics.done().map(|kinetics| kinetics.process_bias(series)).unwrap_or_default();
    GravityLayers { process, flags, ..layers }
}
