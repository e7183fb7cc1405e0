//! The readings of a batch as medians of its probes: one number a probe and bin.

use std::collections::BTreeMap;

use crate::calibration::{Calibration, Calibrations, Noise, UNUSABLE};
use crate::error::Result;
use crate::gravity::Liquids;
use crate::season::{Batch, Season};
use crate::units::Instant;

use crate::drift::settings::DriftSettings;

/// Width of a bin, hours; the usual time from reading to reading where that is longer.
const BIN_H: f64 = 1.0;
/// Medians on each side with which a median is compared.
const NEIGHBOURS: usize = 5;
/// A median farther outside both sides than this many noise SDs is foam or a knock that came back.
const OUTLIER_SD: f64 = 5.0;
/// Least SD of a median, SG: what the thinnest of logs must still allow for.
const LEAST_SD: f64 = 5e-5;
/// Temperatures and events that may move all probes of a batch, or its beer, at once, SD, SG. From memory, no source.
const DISTURBED_SD: f64 = 0.002;
const ADDED_SD: f64 = 0.02;
const SAMPLED_SD: f64 = 0.0005;

/// The median of one probe in one bin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct BinMedian {
    /// Number of the bin.
    pub bin: i64,
    /// Index of the probe in the batch.
    pub probe: usize,
    /// Mean time of its readings, hours from pitching.
    pub hours: f64,
    /// SG of the median tilt, on the probe's first curve.
    pub sg: f64,
    /// Standard deviation of its own noise, SG.
    pub sd: f64,
    /// Mean temperature, C.
    pub temp_c: f64,
}

/// What an event may move.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum JoltTarget {
    /// The beer itself.
    Beer,
    /// Every probe for itself.
    Probes,
    /// One probe.
    Probe(usize),
}

/// A moment at which the medians may jump for a known reason.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Jolt {
    /// Hours from pitching.
    pub hours: f64,
    /// What moves.
    pub moves: JoltTarget,
    /// How far, SD, SG.
    pub sd: f64,
}

/// A batch as its probes saw it.
#[derive(Debug, Clone)]
pub(super) struct WatchedBatch {
    /// The batch.
    pub batch: String,
    /// Zero of the hours.
    pub pitched_at: Instant,
    /// Ids of its probes.
    pub probes: Vec<String>,
    /// Width of a bin, hours.
    pub bin_h: f64,
    /// Medians in order of bin and probe.
    pub medians: Vec<BinMedian>,
    /// Known reasons for jumps.
    pub jolts: Vec<Jolt>,
}

/// All batches in which probes with a calibration have readings.
pub(super) fn watched(
    season: &Season,
    calibrations: &Calibrations,
    settings: &DriftSettings,
) -> Result<Vec<WatchedBatch>> {
    let readings = &season.readings;
    let mut rows_of: BTreeMap<u32, BTreeMap<u32, Vec<usize>>> = BTreeMap::new();
    for (row, (batch, probe)) in readings.batch.iter().zip(&readings.probe).enumerate() {
        if let Some(batch) = batch {
            rows_of.entry(*batch).or_default().entry(*probe).or_default().push(row);
        }
    }
    let liquids = calibrations.liquids(season)?;
    let mut all = Vec::new();
    for batch in &season.batches {
        let Some(by_probe) = readings.batch_index(&batch.batch).and_then(|index| rows_of.get(&index)) else { continue };
        let reader = Reader { season, calibrations, liquids: &liquids, batch };
        let bin_h = by_probe.values().filter_map(|rows| reader.spacing_h(rows)).fold(BIN_H, f64::max);
        let mut found = WatchedBatch {
            batch: batch.batch.clone(),
            pitched_at: batch.pitched_at,
            probes: Vec::new(),
            bin_h,
            medians: Vec::new(),
            jolts: Vec::new(),
        };
        for (probe, rows) in by_probe {
            let Some(id) = readings.probe_ids.get(*probe as usize) else { continue };
            let Some(first) = calibrations.first(id) else { continue };
            let medians = reject_outliers(reader.medians(rows, first, bin_h, found.probes.len()));
            if !medians.is_empty() {
                found.medians.extend(medians);
                found.probes.push(id.clone());
            }
        }
        found.medians.sort_by_key(|median| (median.bin, median.probe));
        found.jolts = jolts(season, batch, &found.probes, settings);
        all.push(found);
    }
    Ok(all)
}

struct Reader<'a> {
    season: &'a Season,
    calibrations: &'a Calibrations,
    liquids: &'a Liquids,
    batch: &'a Batch,
}

impl Reader<'_> {
    fn hours(&self, row: usize) -> Option<f64> {
        self.season.readings.at.get(row).map(|at| at.hours_since(self.batch.pitched_at))
    }

    /// Median time from one of these readings to the next.
    fn spacing_h(&self, rows: &[usize]) -> Option<f64> {
        let hours: Vec<f64> = rows.iter().filter_map(|row| self.hours(*row)).collect();
        let mut gaps: Vec<f64> = hours.iter().zip(hours.iter().skip(1)).map(|(a, b)| b - a).collect();
        middle(&mut gaps)
    }

    /// The medians of one probe, in order of time.
    fn medians(&self, rows: &[usize], first: &Calibration, bin_h: f64, probe: usize) -> Vec<BinMedian> {
        let readings = &self.season.readings;
        let usual = self.calibrations.settings.tilt_sd_deg;
        let span = rows.first().copied().unwrap_or(0)..rows.last().map_or(0, |last| last + 1);
        let noise_deg = Noise::of(readings, span).map_or(usual, |noise| noise.sd_deg);
        let until = self.batch.ended_at.map_or(f64::INFINITY, |at| at.hours_since(self.batch.pitched_at));
        let liquid = self.liquids.of(self.season, Some(&self.batch.batch));
        let used: Vec<(i64, f64, f64, f64)> = rows
            .iter()
            .filter_map(|&row| readings.get(row))
            .filter(|r| !r.flags.intersects(UNUSABLE) && r.tilt_deg.is_finite() && r.temp_c.is_finite())
            .map(|r| (r.at.hours_since(self.batch.pitched_at), r.tilt_deg, r.temp_c))
            .filter(|r| (0.0..=until).contains(&r.0))
            .map(|(hours, tilt, temp)| ((hours / bin_h).floor() as i64, hours, tilt, temp))
            .collect();
        let mut medians = Vec::new();
        for bin in used.chunk_by(|a, b| a.0 == b.0) {
            let n = bin.len() as f64;
            let mean = |of: fn(&(i64, f64, f64, f64)) -> f64| bin.iter().map(of).sum::<f64>() / n;
            let (hours, temp_c) = (mean(|r| r.1), mean(|r| r.3));
            let Some(tilt) = middle(&mut bin.iter().map(|r| r.2).collect::<Vec<_>>()) else { continue };
            let Some(point) = first.gravity_at(liquid, tilt, temp_c, 0.0) else { continue };
            // The median of three or more wastes some of what a mean would have.
            let efficiency = if bin.len() > 2 { 1.2533 } else { 1.0 };
            let sd = (point.sg_per_deg.abs() * noise_deg * efficiency / n.sqrt()).max(LEAST_SD);
            let number = bin.first().map_or(0, |r| r.0);
            if point.sg.is_finite() && sd.is_finite() {
                medians.push(BinMedian { bin: number, probe, hours, sg: point.sg, sd, temp_c });
            }
        }
        medians
    }
}

/// The medians without those that stand outside both of their sides: foam, and knocks that came back. A median at a lasting
/// step lies on one of its sides and stays.
fn reject_outliers(medians: Vec<BinMedian>) -> Vec<BinMedian> {
    let sg: Vec<f64> = medians.iter().map(|median| median.sg).collect();
    let middle_of = |from: usize, to: usize| {
        sg.get(from..to).filter(|side| !side.is_empty()).and_then(|side| middle(&mut side.to_vec()))
    };
    let keep = |i: usize, median: &BinMedian| {
        let before = middle_of(i.saturating_sub(NEIGHBOURS), i);
        let after = middle_of(i + 1, (i + 1 + NEIGHBOURS).min(sg.len()));
        let (Some(a), Some(b)) = (before.or(after), after.or(before)) else { return true };
        let reach = OUTLIER_SD * median.sd.max(2e-4);
        (a.min(b) - reach..=a.max(b) + reach).contains(&median.sg)
    };
    medians.iter().enumerate().filter(|(i, median)| keep(*i, median)).map(|(_, median)| *median).collect()
}

/// What is written down of a batch that may move its medians at once.
fn jolts(season: &Season, batch: &Batch, probes: &[String], settings: &DriftSettings) -> Vec<Jolt> {
    let mut jolts = Vec::new();
    for event in &season.events {
        let hours = event.at.hours_since(batch.pitched_at);
        let own = event.probe.as_ref().and_then(|id| probes.iter().position(|probe| probe == id));
        let (moves, sd) = if let (Some(probe), Some(sd)) = (own, settings.event_sd(&event.kind)) {
            (JoltTarget::Probe(probe), sd)
        } else if event.batch.as_deref() == Some(batch.batch.as_str()) {
            match event.kind.as_str() {
                "sugar_added" | "diluted" => (JoltTarget::Beer, ADDED_SD),
                _ if event.disturbs() => (JoltTarget::Probes, DISTURBED_SD),
                _ => continue,
            }
        } else {
            continue;
        };
        jolts.push(Jolt { hours, moves, sd });
    }
    // Whoever draws a sample may touch the probe.
    let samples = season.references.iter().filter(|r| r.batch.as_deref() == Some(batch.batch.as_str()));
    jolts.extend(samples.map(|r| Jolt {
        hours: r.at.hours_since(batch.pitched_at),
        moves: JoltTarget::Probes,
        sd: SAMPLED_SD,
    }));
    jolts.retain(|jolt| jolt.hours > 0.0);
    jolts
}

/// The median; none of nothing.
pub(super) fn middle(values: &mut [f64]) -> Option<f64> {
    let half = values.len() / 2;
    (half < values.len()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn median(i: usize, sg: f64) -> BinMedian {
        BinMedian { bin: i as i64, probe: 0, hours: i as f64, sg, sd: 1e-4, temp_c: 20.0 }
    }

    #[test]
    fn a_knock_goes_and_a_step_stays() {
        let step = |i: usize| if i < 20 { 1.012 } else { 1.016 };
        let mut medians: Vec<BinMedian> = (0..40).map(|i| median(i, step(i))).collect();
        medians[10].sg = 1.030;
        medians[30].sg = 1.000;
        let left = reject_outliers(medians);
        assert_eq!(left.len(), 38);
        assert!(left.iter().all(|l| (l.sg - step(l.bin as usize)).abs() < 1e-12));
    }

    #[test]
    fn nothing_has_no_middle() {
        assert_eq!(middle(&mut []), None);
        assert_eq!(middle(&mut [3.0, 1.0, 2.0]), Some(2.0));
    }
}
