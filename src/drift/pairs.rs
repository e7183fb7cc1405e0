//! Pairs: each probe on its first calibration against each reference.

use std::collections::BTreeMap;

use crate::calibration::{
    Calibration, Calibrations, CovarianceRoot, Liquids, Noise, ReadingErrors, Sources, UNUSABLE, immersion, own_sd,
};
use crate::error::Result;
use crate::season::{Pair, Reference, Season};
use crate::units::HOURS_PER_DAY;

use super::level::local_level;
use super::result::{DriftPair, PairKind};
use super::settings::DriftSettings;

/// A pair with what the model needs beside it.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub pair: DriftPair,
    /// Its error by source: that of the probe on its curve less that of the reference.
    pub errors: ReadingErrors,
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
    let sources = Sources::of(season, &calibrations.settings).numbered_as(&calibrations.sources);
    let finder = Finder { season, calibrations, settings, liquids, sources, shared: shared(&pairs) };
    let mut of_probe: BTreeMap<&str, Option<Checked>> = BTreeMap::new();
    let mut found = Vec::new();
    for pair in &pairs {
        let checked = of_probe.entry(pair.probe.as_str()).or_insert_with(|| {
            let first = calibrations.first(&pair.probe)?;
            let noise = Noise::of(&season.readings, season.readings.of_probe(&pair.probe));
            Some(Checked { first, root: CovarianceRoot::of_own(&first.fitted), noise })
        });
        if let (Some(checked), Some(reference)) = (checked, season.references.get(pair.reference)) {
            found.extend(finder.found(pair, reference, checked));
        }
    }
    found.sort_by(|a, b| (&a.pair.probe, a.pair.at).cmp(&(&b.pair.probe, b.pair.at)));
    Ok(found)
}

/// How many references share a level: those of one instant have the same readings.
fn shared(pairs: &[Pair]) -> BTreeMap<(String, usize), usize> {
    let mut times = BTreeMap::new();
    for pair in pairs {
        if let Some(&row) = pair.rows.first() {
            *times.entry((pair.probe.clone(), row)).or_default() += 1;
        }
    }
    times
}

/// A probe on its first calibration.
struct Checked<'a> {
    first: &'a Calibration,
    root: CovarianceRoot,
    noise: Option<Noise>,
}

struct Finder<'a> {
    season: &'a Season,
    calibrations: &'a Calibrations,
    settings: &'a DriftSettings,
    liquids: Liquids,
    sources: Sources,
    shared: BTreeMap<(String, usize), usize>,
}

impl Finder<'_> {
    fn found(&self, pair: &Pair, reference: &Reference, checked: &Checked) -> Option<Found> {
        let first = checked.first;
        if first.baths.iter().any(|bath| bath.references.contains(&pair.reference)) {
            return None;
        }
        let rest = if reference.is_sample() {
            self.in_batch(pair, reference, checked.noise)?
        } else {
            self.in_bath(pair, reference, checked.noise)?
        };
        let liquid = self.liquids.of(self.season, reference.batch.as_deref());
        let temp_sd_c = self.calibrations.settings.temp_sd_c;
        let point = first.gravity_at(liquid, rest.tilt_deg, rest.temp_c, temp_sd_c)?;
        let mut errors = first.reading_errors(&checked.root, liquid, rest.tilt_deg, rest.temp_c, temp_sd_c)?;
        // An instrument that the curve was made with reads the reference as it read the baths.
        for error in self.sources.of_row(pair.reference) {
            errors.add(error.source, -error.effect);
        }
        let rate = -rest.per_h * point.sg_per_deg * HOURS_PER_DAY;
        let active = rate.abs() > self.settings.active_sg_per_day;
        let reference_sd = own_sd(reference, self.calibrations.settings.instrument_bias_sg(reference));
        // Rows of one instant share the probe's level: each holds its part of what it says.
        let row = pair.rows.first().copied();
        let sharers = row.and_then(|row| self.shared.get(&(pair.probe.clone(), row))).copied().unwrap_or(1);
        let pair = DriftPair {
            at: reference.at,
            probe: pair.probe.clone(),
            reference: pair.reference,
            kind: if reference.is_sample() { PairKind::Sample } else { PairKind::Bath },
            reference_sg: reference.sg,
            reference_sd,
            difference_sg: point.sg - reference.sg,
            own_se: rest.se_deg * point.sg_per_deg * (sharers as f64).sqrt(),
            curve_se: point.shared_se,
            age_d: reference.at.days_since(first.calibrated_at),
            temp_c: rest.temp_c,
            method: reference.method.clone().unwrap_or_else(|| "not stated".to_owned()),
            batch: reference.batch.clone(),
            rate_sg_per_day: rate,
            left_out: (active && self.settings.leave_out_active).then(|| "active fermentation".to_owned()),
        };
        Some(Found { pair, errors })
    }

    fn in_bath(&self, pair: &Pair, reference: &Reference, noise: Option<Noise>) -> Option<Rest> {
        immersion(self.season, pair, reference, noise, &self.calibrations.settings).map(|immersion| Rest {
            tilt_deg: immersion.tilt_deg,
            se_deg: immersion.tilt_sd_deg,
            temp_c: immersion.temp_c,
            per_h: 0.0,
        })
    }

    /// The probe's local level in a fermentation; a tilt written beside the sample counts as it stands.
    fn in_batch(&self, pair: &Pair, reference: &Reference, noise: Option<Noise>) -> Option<Rest> {
        let usual = self.calibrations.settings.tilt_sd_deg;
        if let Some(tilt_deg) = pair.own_tilt_deg {
            let se_deg = reference.tilt_sd_deg.filter(|sd| *sd > 0.0).unwrap_or(usual);
            let temp_c = reference.temp_c.unwrap_or(self.calibrations.settings.bath_temp_c);
            return Some(Rest { tilt_deg, se_deg, temp_c, per_h: 0.0 });
        }
        let readings = &self.season.readings;
        let usable = |row: &usize| readings.flags.get(*row).is_some_and(|flags| !flags.intersects(UNUSABLE));
        pair.rows.iter().find(|row| usable(row))?;
        let batch = reference.batch.as_deref().and_then(|batch| readings.batch_index(batch));
        let window = self.settings.level_window_h;
        let (from, to) = (reference.at.plus_hours(-window), reference.at.plus_hours(window));
        let keep = |row: usize| usable(&row) && readings.batch.get(row).copied().flatten() == batch;
        let noise = noise.unwrap_or(Noise { sd_deg: usual, rho: 0.0, blocks: 0 });
        let rows = readings.of_probe_between(&pair.probe, from, to);
        let level = local_level(self.season, rows, keep, reference.at, window, noise)?;
        let temp_c = if level.temp_c.is_finite() { level.temp_c } else { reference.temp_c? };
        Some(Rest { tilt_deg: level.tilt_deg, se_deg: level.se_deg, temp_c, per_h: level.per_h })
    }
}
