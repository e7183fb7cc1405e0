//! What the stated gravities of baths may be wrong by, and which baths share it.

use std::collections::BTreeMap;
use std::fmt;

use crate::season::{Reference, Season};
use crate::units::Instant;

use super::CalibrationSettings;

/// An error of a stated gravity: one standard deviation of a source that other baths may share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct BathError {
    /// Number of the source, see [`Sources::get`].
    pub source: usize,
    /// Effect of one standard deviation of the source, in the unit of the gravity (SG, or kg/m3 in a fit).
    pub effect: f64,
}

/// A source of error of gravities, by what tells it from others.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum ErrorSource {
    /// A bath of that name, and when its group began.
    Bath(String, Instant),
    /// A sample: its batch, when it was drawn, and its SG in units of 0.00001.
    Sample(String, Instant, i64),
    /// A reference that shares its error with no other, by its row.
    Row(usize),
    /// The very instrument.
    Instrument(String),
    /// A weighing of baths, and when its group began.
    Weighing(Instant),
    TapWater,
    /// Mass and diameter of a probe.
    Size(String),
}

impl fmt::Display for ErrorSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bath(name, began) => write!(f, "bath {name}, {began}"),
            Self::Sample(batch, at, sg) => write!(f, "sample {batch}, {at}, {:.5}", *sg as f64 * 1e-5),
            Self::Row(row) => write!(f, "row {row}"),
            Self::Instrument(name) => f.write_str(name),
            Self::Weighing(began) => write!(f, "weighing, {began}"),
            Self::TapWater => f.write_str("tap water"),
            Self::Size(probe) => write!(f, "size of {probe}"),
        }
    }
}

/// The sources of error behind every reference of a season.
///
/// | source | shared by | effect of one SD |
/// | --- | --- | --- |
/// | bath | all probes in a bath of one name, within the session gap | the reference's own SD |
/// | sample | all probes in the batch that it was drawn from | the same |
/// | instrument | all that one hydrometer or refractometer measured | its bias |
/// | weighing | all weighed baths within the session gap of one another | a share of SG - 1 |
/// | tap water | all tap water | minerals |
/// | size | all calibrations of one probe | its mass and diameter, in the prior of its curves |
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Sources {
    sources: Vec<ErrorSource>,
    of_row: Vec<Vec<BathError>>,
}

impl Sources {
    pub fn of(season: &Season, settings: &CalibrationSettings) -> Self {
        let mut sources = Self { sources: Vec::new(), of_row: vec![Vec::new(); season.references.len()] };
        let gap_h = settings.session_gap_h;
        let baths = groups(season, gap_h, |r| if r.is_sample() { None } else { r.bath.clone() });
        let weighings = groups(season, gap_h, |r| is_weighed(r).then(String::new));
        let mut numbers: BTreeMap<ErrorSource, usize> = BTreeMap::new();
        for (row, reference) in season.references.iter().enumerate() {
            let bias = settings.instrument_bias_sg(reference);
            let mut errors = Vec::with_capacity(3);
            let mut add = |source: ErrorSource, effect: f64| {
                if effect != 0.0 {
                    let source = *numbers.entry(source).or_insert_with_key(|source| {
                        sources.sources.push(source.clone());
                        sources.sources.len() - 1
                    });
                    errors.push(BathError { source, effect });
                }
            };
            let own = match (baths.get(&row), &reference.batch) {
                (Some((name, began)), _) => ErrorSource::Bath(name.clone(), *began),
                // One sample may be written down once for each probe.
                (None, Some(batch)) => {
                    ErrorSource::Sample(batch.clone(), reference.at, (1e5 * reference.sg).round() as i64)
                }
                (None, None) => ErrorSource::Row(row),
            };
            add(own, own_sd(reference, bias));
            if let Some(name) = instrument_name(reference) {
                add(ErrorSource::Instrument(name), bias);
            }
            if let Some((_, began)) = weighings.get(&row) {
                add(ErrorSource::Weighing(*began), settings.weighed_gain * (reference.sg - 1.0));
            }
            if is_tap_water(reference) {
                add(ErrorSource::TapWater, settings.tap_water_sg);
            }
            if let Some(cell) = sources.of_row.get_mut(row) {
                *cell = errors;
            }
        }
        sources.sources.extend(season.probes.iter().map(|probe| ErrorSource::Size(probe.probe.clone())));
        sources
    }

    /// The source of the error of a probe's size.
    pub fn of_size(&self, probe: &str) -> Option<usize> {
        self.sources.iter().position(|source| matches!(source, ErrorSource::Size(of) if of == probe))
    }

    /// The errors of a reference, SG; the first is the bath's own.
    pub fn of_row(&self, row: usize) -> &[BathError] {
        self.of_row.get(row).map_or(&[], Vec::as_slice)
    }

    /// The same sources with the numbers that `other` gives to the same ones; the rest come after all of its own.
    pub fn numbered_as(mut self, other: &Self) -> Self {
        let numbers: BTreeMap<&ErrorSource, usize> =
            other.sources.iter().enumerate().map(|(i, source)| (source, i)).collect();
        let mut sources = other.sources.clone();
        let mut number_of = Vec::with_capacity(self.sources.len());
        for source in self.sources {
            number_of.push(numbers.get(&source).copied().unwrap_or(sources.len()));
            if !numbers.contains_key(&source) {
                sources.push(source);
            }
        }
        for error in self.of_row.iter_mut().flatten() {
            error.source = number_of.get(error.source).copied().unwrap_or(error.source);
        }
        self.sources = sources;
        self
    }

    /// The instrument behind a reference, where it has a bias: its name, and the error that is its bias.
    pub fn instrument(&self, row: usize) -> Option<(&str, BathError)> {
        self.of_row(row).iter().find_map(|error| match self.get(error.source)? {
            ErrorSource::Instrument(name) => Some((name.as_str(), *error)),
            _ => None,
        })
    }

    /// The source of that number.
    pub fn get(&self, source: usize) -> Option<&ErrorSource> {
        self.sources.get(source)
    }
}

/// The very instrument behind a reference; one that has no name is the only one of its method.
pub(crate) fn instrument_name(reference: &Reference) -> Option<String> {
    let method = reference.method.as_deref()?;
    Some(format!("{method} {}", reference.instrument.as_deref().unwrap_or_default()).trim_end().to_owned())
}

/// Standard deviation of a reference without its instrument's bias: a stated one is the reading's own, a default holds
/// the bias.
pub(crate) fn own_sd(reference: &Reference, bias_sg: f64) -> f64 {
    match reference.sg_sd {
        Some(sd) => sd,
        None => (reference.sd().powi(2) - bias_sg * bias_sg).max(0.25 * reference.sd().powi(2)).sqrt(),
    }
}

/// Tap water in place of distilled, by its method's name.
pub(crate) fn is_tap_water(reference: &Reference) -> bool {
    reference.method.as_deref().is_some_and(|method| matches!(method, "tap" | "tap_water" | "tap water"))
}

fn is_weighed(reference: &Reference) -> bool {
    !reference.is_sample() && reference.method.as_deref() == Some("weighed")
}

/// For each row that has a name: its name, and when its group began. Rows of one name less than `gap_h` apart are one.
fn groups(
    season: &Season,
    gap_h: f64,
    name: impl Fn(&Reference) -> Option<String>,
) -> BTreeMap<usize, (String, Instant)> {
    let mut by_name: BTreeMap<String, Vec<(Instant, usize)>> = BTreeMap::new();
    for (row, reference) in season.references.iter().enumerate() {
        if let Some(name) = name(reference) {
            by_name.entry(name).or_default().push((reference.at, row));
        }
    }
    let mut groups = BTreeMap::new();
    for (name, mut rows) in by_name {
        rows.sort();
        for group in rows.chunk_by(|(before, _), (at, _)| at.hours_since(*before) < gap_h) {
            let named = group.iter().map(|(_, row)| (*row, (name.clone(), group[0].0)));
            groups.extend(named);
        }
    }
    groups
}
