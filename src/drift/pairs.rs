//! Pairs: each probe on its first calibration against each reference.

use std::collections::BTreeMap;

use crate::calibration::{Calibration, Calibrations, CovarianceRoot, ERROR_SOURCES, Noise, UNUSABLE, immersion};
use crate::error::Result;
use crate::liquid::BeerDensity;
use crate::season::{Pair, Reference, Season};
use crate::units::HOURS_PER_DAY;

use super::level::local_level;
use super::result::{DriftPair, PairKind};
use super::settings::DriftSettings;

/// A pair with what the model needs beside it.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub pair: DriftPair,
    /// Effects of the curve's, the shell's and the thermometer's errors, SG.
    pub sources: [f64; ERROR_SOURCES],
}

/// Tilt, its SE, temperature and slope per hour of a probe at a reference.
struct Rest {
    tilt_deg: f64,
    se_deg: f64,
    temp_c: f64,
    per_h: f64,
}

/// All pairs of a season, by probe and time.
///
/// The baths that made a probe's first curve are no pairs: they are in the curve, and its error is in every pair.
pub(super) fn find(season: &Season, calibrations: &Calibrations, settings: &DriftSettings) -> Result<Vec<Found>> {
    let pairs = season.pairs(settings.window_min)?;
    let liquids = calibrations.liquids(season)?;
    let mut sharers: BTreeMap<(&str, usize), usize> = BTreeMap::new();
    for pair in &pairs {
        if let Some(&row) = pair.rows.first() {
            *sharers.entry((pair.probe.as_str(), row)).or_default() += 1;
        }
    }
    let mut of_probe: BTreeMap<&str, Option<(CovarianceRoot, Option<Noise>)>> = BTreeMap::new();
    let mut found = Vec::new();
    for pair in &pairs {
        let Some(first) = calibrations.first(&pair.probe) else { continue };
        let Some(reference) = season.references.get(pair.reference) else { continue };
        if first.baths.iter().any(|bath| bath.references.contains(&pair.reference)) {
            continue;
        }
        let known = of_probe.entry(pair.probe.as_str()).or_insert_with(|| {
            let noise = Noise::of(&season.readings, season.readings.of_probe(&pair.probe));
            Some((CovarianceRoot::of(&first.fitted), noise))
        });
        let Some((root, noise)) = known.as_ref() else { continue };
        let rest = match reference.is_sample() {
            true => in_batch(season, pair, reference, *noise, calibrations, settings),
            false => immersion(season, pair, reference, *noise, &calibrations.settings).map(|immersion| Rest {
                tilt_deg: immersion.tilt_deg,
                se_deg: immersion.tilt_sd_deg,
                temp_c: immersion.temp_c,
                per_h: 0.0,
            }),
        };
        let Some(rest) = rest else { continue };
        let liquid = liquids.of(season, reference.batch.as_deref());
        let shared = pair.rows.first().and_then(|&row| sharers.get(&(pair.probe.as_str(), row))).copied().unwrap_or(1);
        found.extend(against(pair, reference, first, root, liquid, &rest, shared, calibrations, settings));
    }
    found.sort_by(|a, b| (&a.pair.probe, a.pair.at).cmp(&(&b.pair.probe, b.pair.at)));
    Ok(found)
}

/// The probe's local level in a fermentation; a tilt written beside the sample counts as it stands.
fn in_batch(
    season: &Season,
    pair: &Pair,
    reference: &Reference,
    noise: Option<Noise>,
    calibrations: &Calibrations,
    settings: &DriftSettings,
) -> Option<Rest> {
    let usual = calibrations.settings.tilt_sd_deg;
    if let Some(tilt_deg) = pair.own_tilt_deg {
        let se_deg = reference.tilt_sd_deg.filter(|sd| *sd > 0.0).unwrap_or(usual);
        let temp_c = reference.temp_c.unwrap_or(calibrations.settings.bath_temp_c);
        return Some(Rest { tilt_deg, se_deg, temp_c, per_h: 0.0 });
    }
    let readings = &season.readings;
    let usable = |row: &usize| readings.flags.get(*row).is_some_and(|flags| !flags.intersects(UNUSABLE));
    pair.rows.iter().find(|row| usable(row))?;
    let batch = reference.batch.as_deref().and_then(|batch| readings.batch_index(batch));
    let window = settings.level_window_h;
    let rows =
        readings.of_probe_between(&pair.probe, reference.at.plus_hours(-window), reference.at.plus_hours(window));
    let keep = |row: usize| usable(&row) && readings.batch.get(row).copied().flatten() == batch;
    let noise = noise.unwrap_or(Noise { sd_deg: usual, rho: 0.0, blocks: 0 });
    let level = local_level(season, rows, keep, reference.at, window, noise)?;
    let temp_c = if level.temp_c.is_finite() { level.temp_c } else { reference.temp_c? };
    Some(Rest { tilt_deg: level.tilt_deg, se_deg: level.se_deg, temp_c, per_h: level.per_h })
}

#[allow(clippy::too_many_arguments)]
fn against(
    pair: &Pair,
    reference: &Reference,
    first: &Calibration,
    root: &CovarianceRoot,
    liquid: &BeerDensity,
    rest: &Rest,
    sharers: usize,
    calibrations: &Calibrations,
    settings: &DriftSettings,
) -> Option<Found> {
    let temp_sd_c = calibrations.settings.temp_sd_c;
    let point = first.gravity_at(liquid, rest.tilt_deg, rest.temp_c, temp_sd_c)?;
    let sources = first.error_sources(root, liquid, rest.tilt_deg, rest.temp_c, temp_sd_c)?;
    let rate = -rest.per_h * point.sg_per_deg * HOURS_PER_DAY;
    let active = rate.abs() > settings.active_sg_per_day;
    let left_out = (active && settings.leave_out_active).then(|| "active fermentation".to_owned());
    let method = reference.method.clone().unwrap_or_else(|| "not stated".to_owned());
    let bias = settings.instrument_sd(reference);
    // A stated SD is the reading's own; a default holds the instrument's bias, which is a term of its own here.
    let reference_sd = match reference.sg_sd {
        Some(sd) => sd,
        None => (reference.sd().powi(2) - bias * bias).max(0.25 * reference.sd().powi(2)).sqrt(),
    };
    Some(Found {
        pair: DriftPair {
            at: reference.at,
            probe: pair.probe.clone(),
            reference: pair.reference,
            kind: if reference.is_sample() { PairKind::Sample } else { PairKind::Bath },
            reference_sg: reference.sg,
            reference_sd,
            difference_sg: point.sg - reference.sg,
            // Rows of one instant share the probe's level: each holds its part of what it says.
            own_se: rest.se_deg * point.sg_per_deg * (sharers as f64).sqrt(),
            curve_se: point.shared_se,
            age_d: reference.at.days_since(first.calibrated_at),
            temp_c: rest.temp_c,
            method,
            batch: reference.batch.clone(),
            rate_sg_per_day: rate,
            left_out,
        },
        sources,
    })
}
