//! Pairs: each probe on its first calibration against each reference.

mod curves;
mod finder;
mod plateau;
mod unsampled;

use std::collections::{BTreeMap, BTreeSet};

use crate::calibration::{Calibrations, CovarianceRoot, Noise, Sources, probe_ids};
use crate::error::Result;
use crate::gravity::{Edge, Episodes, LONGEST_H, episodes, is_sugared, rises};
use crate::season::{Event, Pair, Season};
use crate::units::MINUTES_PER_HOUR;

use super::settings::DriftSettings;

use finder::{CheckedProbe, PairFinder};

pub(super) use curves::{Curves, OnFirstCurve};
pub(super) use finder::ModelPair;

use plateau::NO_BEER;

/// All pairs of a season, by probe and time.
///
/// The baths that made a probe's first curve are no pairs: they are in the curve, and its error is in every pair. After the
/// pairs with references come those with beers of which no sample was drawn.
pub(super) fn find_pairs(
    season: &Season,
    calibrations: &Calibrations,
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
    let (shared, held) = (shared(&pairs), held(season));
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

assumed! {
    /// A probe that something moved by less goes on as it is.
    const LEAST_EDGE_DEG: f64 = 1.3, "degrees";
    /// A temperature that changes by less does not move a probe by as much.
    const EVEN_C: f64 = 2.0, "C";
    /// What was written down within so long of a jump may be its reason.
    const TOLD_H: f64 = 6.0, "h";
}

/// Readings of probes that something held, loaded or lifted in their batch.
fn held(season: &Season) -> BTreeSet<usize> {
    let readings = &season.readings;
    let mut held = BTreeSet::new();
    for probe in &readings.probe_ids {
        let usable = readings.of_probe(probe).filter_map(|row| Some((row, readings.get(row)?)));
        let usable: Vec<_> =
            usable.filter(|(_, read)| read.batch.is_some() && !read.flags.intersects(NO_BEER)).collect();
        for stay in usable.chunk_by(|(_, a), (_, b)| a.batch == b.batch) {
            let Some((_, first)) = stay.first() else { continue };
            let hours: Vec<f64> = stay.iter().map(|(_, read)| read.at.hours_since(first.at)).collect();
            let tilts: Vec<f64> = stay.iter().map(|(_, read)| read.tilt_deg).collect();
            let Episodes { held: mut spans, lasting } = episodes(&hours, &tilts, &[], *LEAST_EDGE_DEG);
            let sugar_hours = season.sugar_hours(first.batch, first.at);
            // After a jump an episode may go on that was not seen to end; what is off for longer than episodes last is off for good.
            let is_mine = |e: &Event| e.batch.as_deref() == first.batch || e.probe.as_ref() == Some(probe);
            let is_told = |at: f64| {
                let mut told = season.events.iter().filter(|e| is_mine(e));
                told.any(|e| (e.at.hours_since(first.at) - at).abs() < *TOLD_H)
            };
            let doubtful = |edge: &Edge| {
                let at = hours.get(edge.at).copied()?;
                let is_beer = edge.size > 0.0 && is_sugared(&sugar_hours, at, at);
                let until = hours.partition_point(|hours| *hours < at + *LONGEST_H);
                (!is_told(at) && !is_beer).then_some(edge.at..until)
            };
            spans.extend(lasting.iter().filter_map(doubtful));
            // Cold raises the tilt of a probe that floats freely.
            let is_even = |from: f64, to: f64| {
                let temp_c = |h: f64| stay.get(hours.partition_point(|hours| *hours < h)).map(|(_, read)| read.temp_c);
                temp_c(from).zip(temp_c(to)).is_some_and(|(from, to)| (to - from).abs() < *EVEN_C)
            };
            spans.extend(rises(&hours, &tilts, *LEAST_EDGE_DEG, &spans, &sugar_hours, is_even));
            for span in spans {
                held.extend(stay.iter().take(span.end).skip(span.start).map(|(row, _)| *row));
            }
        }
    }
    held
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
