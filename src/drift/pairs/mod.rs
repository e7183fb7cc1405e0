//! Pairs: each probe on its first calibration against each reference.

mod curves;
mod finder;
mod held;
mod plateau;
mod unsampled;

use std::collections::BTreeMap;

use crate::calibration::{Calibrations, CovarianceRoot, Noise, Sources, probe_ids};
use crate::error::Result;
use crate::season::{Pair, Season};
use crate::units::MINUTES_PER_HOUR;

use super::settings::DriftSettings;

use finder::{CheckedProbe, PairFinder};

pub(super) use curves::{Curves, OnFirstCurve};
pub(super) use finder::ModelPair;
pub(crate) use held::KnownStays;

/// All pairs of a season, by probe and time.
///
/// The baths that made a probe's first curve are no pairs: they are in the curve, and its error is in every pair. After the
/// pairs with references come those with beers of which no sample was drawn.
pub(super) fn find_pairs(
    season: &Season,
    calibrations: &Calibrations,
    known: &KnownStays,
    settings: &DriftSettings,
) -> Result<Vec<ModelPair>> {
    let mut pairs = season.pairs(settings.window_min.max(0.5 * MINUTES_PER_HOUR * settings.plateau_window_h))?;
    pairs.retain_mut(|pair| {
        let Some(reference) = season.references.get(pair.reference) else { return false };
        let (from, to) = reference.at.around(settings.window_min / MINUTES_PER_HOUR);
        let is_near = |row: &usize| season.readings.at.get(*row).is_some_and(|at| (from..=to).contains(at));
        if pair.rows.iter().any(is_near) {
            pair.rows.retain(is_near);
            return true;
        }
        // Where a log is sparse, a sample goes with the line through the readings around it.
        pair.own_tilt_deg.is_some() || reference.is_sample()
    });
    let liquids = calibrations.liquids(season)?;
    let sources = Sources::of(season, &calibrations.settings).numbered_as(&calibrations.sources);
    let (shared, held) = (shared(&pairs), known.held(season));
    let finder = PairFinder { season, calibrations, settings, liquids, sources, shared, held };
    let of_probe = |probe: &String| {
        let first = calibrations.first(probe)?;
        let noise = Noise::of(&season.readings, season.readings.of_probe(probe));
        Some((probe.clone(), CheckedProbe { first, root: CovarianceRoot::of_own(&first.fitted), noise }))
    };
    let checked: BTreeMap<String, CheckedProbe> = probe_ids(season).iter().filter_map(of_probe).collect();
    let mut found = Vec::new();
    for pair in &pairs {
        if let (Some(checked), Some(reference)) = (checked.get(&pair.probe), season.references.get(pair.reference)) {
            found.extend(finder.found(pair, reference, checked));
        }
    }
    let unsampled = finder.unsampled(&checked, &found);
    found.extend(unsampled);
    found.sort_by(|a, b| (&a.pair.probe, a.pair.at).cmp(&(&b.pair.probe, b.pair.at)));
    Ok(found)
}

/// How many references share a plateau: those of one instant have the same readings.
fn shared(pairs: &[Pair]) -> BTreeMap<(String, usize), usize> {
    let mut times = BTreeMap::new();
    for pair in pairs {
        if let Some(&row) = pair.rows.first() {
            *times.entry((pair.probe.clone(), row)).or_default() += 1;
        }
    }
    times
}
