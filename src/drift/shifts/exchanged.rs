//! Probes that were written to each other's batch: each then reads what was written down of the other's. That is one slip; a shift
//! of each probe, or a wrong entry for each disagreement, would be many.

use std::collections::BTreeMap;

use crate::calibration::{Calibrations, Liquids, NAMED, UNUSABLE};
use crate::drift::model::ln_sum;
use crate::error::Result;
use crate::season::{Batch, HYDROMETER_SD_SG, Season, UNFERMENTED_H};
use crate::units::Instant;

use super::misfits::WRONG_SAMPLES;

assumed! {
    /// How often the probes of two batches that run at the same time are written to each other's.
    const EXCHANGED: f64 = 0.002, "share";
    /// A right reading and a right entry differ by so much beyond the entry's error, SD, and a probe in a whole batch by so
    /// much more, half width of a Cauchy distribution.
    const AGREES_SG: f64 = 0.002, "SG";
    /// Gravities of beers spread over so much: all that is known of an entry that no right reading meets.
    const BEERS_SG: f64 = 0.06, "SG";
}

/// Readings so long before and after an entry meet it, of wort the first ones after it, and entries closer than [`ONE_ENTRY_H`] count
/// as one, h.
const NEAR_H: f64 = 1.5;
const ONE_ENTRY_H: f64 = 12.0;

/// A probe and the batch that names it.
pub(crate) type NamedStay = (String, String);

/// The stays whose probes were in each other's batch, the surest first.
///
/// An entry of a batch (a sample, or the stated original gravity) is N(reading + o, s^2) given the readings there; with the chance of a
/// wrong entry, or without a reading, it is anything that beers have. The offset o of a probe is common to a batch. The odds are
/// those of the entries of both batches with the probes exchanged over those as written, times [`EXCHANGED`], and
/// those of neither batch may fall to half.
pub(crate) fn exchanged_stays(season: &Season, calibrations: &Calibrations) -> Result<Vec<[NamedStay; 2]>> {
    let liquids = calibrations.liquids(season)?;
    let stays: Vec<(&String, &Batch)> =
        season.batches.iter().flat_map(|batch| batch.probes.iter().map(move |probe| (probe, batch))).collect();
    let written: BTreeMap<&str, Vec<WrittenGravity>> =
        season.batches.iter().map(|batch| (batch.batch.as_str(), entries(season, batch))).collect();
    let mut known = BTreeMap::new();
    // Batches with several probes ask for the same again.
    let mut ln = |stay: &(&'_ String, &'_ Batch), batch: &'_ Batch| {
        let entries = written.get(batch.batch.as_str()).map_or(&[][..], Vec::as_slice);
        let ln = || ln_likelihood(season, calibrations, &liquids, *stay, (batch, entries));
        *known.entry((stay.0.clone(), stay.1.batch.clone(), batch.batch.clone())).or_insert_with(ln)
    };
    let least = (*NAMED / (1.0 - *NAMED)).ln() - (*EXCHANGED / (1.0 - *EXCHANGED)).ln();
    let mut found = Vec::new();
    for (i, a) in stays.iter().enumerate() {
        for b in stays.iter().skip(i + 1) {
            let apart = a.1.ended_at.is_some_and(|end| end < b.1.pitched_at);
            if a.0 == b.0 || a.1.batch == b.1.batch || apart {
                continue;
            }
            let gains = [ln(b, a.1) - ln(a, a.1), ln(a, b.1) - ln(b, b.1)];
            if gains[0] + gains[1] > least && gains.iter().all(|gain| *gain > -std::f64::consts::LN_2) {
                found.push((gains[0] + gains[1], [a, b].map(|(probe, batch)| ((*probe).clone(), batch.batch.clone()))));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut named: Vec<[NamedStay; 2]> = Vec::new();
    for (_, pair) in found {
        if !named.iter().flatten().any(|stay| pair.contains(stay)) {
            named.push(pair);
        }
    }
    Ok(named)
}

/// What was written down of a gravity of a batch: when, its SG, the error of that and how many entries count as one there.
struct WrittenGravity {
    at: Instant,
    /// Readings until so long after it may meet it, h.
    until_h: f64,
    sg: f64,
    sd: f64,
    alike: f64,
}

fn entries(season: &Season, batch: &Batch) -> Vec<WrittenGravity> {
    let original = batch.original_sg.zip(Some(batch.original_sg_sd.unwrap_or(*HYDROMETER_SD_SG)));
    let original = original.map(|(sg, sd)| (batch.pitched_at.plus_hours(NEAR_H), sg, sd));
    let samples = season.samples_of(&batch.batch).map(|sample| (sample.at, sample.sg, sample.sd()));
    let all: Vec<(Instant, f64, f64)> = samples.chain(original).collect();
    let entry = |(at, sg, sd): &(Instant, f64, f64)| {
        let alike = all.iter().filter(|other| other.0.hours_since(*at).abs() < ONE_ENTRY_H).count() as f64;
        let is_wort = at.hours_since(batch.pitched_at) <= NEAR_H;
        let until_h = if is_wort { *UNFERMENTED_H } else { NEAR_H };
        WrittenGravity { at: *at, until_h, sg: *sg, sd: sd.hypot(*AGREES_SG), alike }
    };
    all.iter().map(entry).collect()
}

/// Logarithm of the likelihood of what was written down of a batch, if the probe of this stay was in it.
fn ln_likelihood(
    season: &Season,
    calibrations: &Calibrations,
    liquids: &Liquids,
    (probe, own): (&String, &Batch),
    (batch, entries): (&Batch, &[WrittenGravity]),
) -> f64 {
    let read = |entry: &WrittenGravity| {
        let at = entry.at;
        let rows = season.readings.of_probe_between(probe, at.plus_hours(-NEAR_H), at.plus_hours(entry.until_h));
        let rows = rows.filter_map(|row| season.readings.get(row)).filter(|row| !row.flags.intersects(UNUSABLE));
        // A probe that was in a third batch then shows nothing.
        let mut rows: Vec<_> = rows.filter(|row| row.batch.is_none_or(|id| *id == own.batch)).collect();
        let last = rows.first()?.at.plus_hours(2.0 * NEAR_H);
        rows.retain(|row| row.at <= last);
        rows.sort_by(|a, b| a.tilt_deg.total_cmp(&b.tilt_deg));
        let row = rows.get(rows.len() / 2)?;
        let liquid = liquids.of(season, Some(&batch.batch));
        Some(calibrations.in_force(probe, at)?.gravity_at(liquid, row.tilt_deg, row.temp_c, 0.0)?.sg)
    };
    let entries: Vec<(&WrittenGravity, Option<f64>)> = entries.iter().map(|entry| (entry, read(entry))).collect();
    let at = |k: i32| {
        let of = |(entry, read): &(&WrittenGravity, Option<f64>)| {
            let density = read.map_or(1.0 / *BEERS_SG, |read| {
                let off = (read - entry.sg - f64::from(k) * *AGREES_SG) / entry.sd;
                let right = (-0.5 * off * off).exp() / (entry.sd * std::f64::consts::TAU.sqrt());
                *WRONG_SAMPLES / *BEERS_SG + (1.0 - *WRONG_SAMPLES) * right
            });
            density.ln() / entry.alike
        };
        entries.iter().map(of).sum::<f64>() - f64::from(1 + k * k).ln()
    };
    ln_sum((-10..=10).map(at))
}

#[cfg(test)]
#[path = "../../../tests/inside/exchanged.rs"]
mod tests;
