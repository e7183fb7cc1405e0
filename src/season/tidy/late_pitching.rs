//! Pitchings that were written down too late.
//!
//! Wort does not fall before yeast is in it. Where the probe of a batch reads through its written pitching without a jump or a gap, and
//! its tilt has fallen by then, the batch was pitched earlier: by the first of these readings.

use std::ops::Range;

use crate::season::readings::Readings;
use crate::season::table_rows::Batch;
use crate::units::Instant;

use super::out_of_beer::{SIDE, quantile};

assumed! {
    /// From the first of these readings to the written pitching a tilt falls by at least so much.
    const FALLS_DEG: f64 = 3.0, "degrees";
    /// A probe that is put into wort or taken out of it jumps by more than this.
    const JUMP_DEG: f64 = 2.5, "degrees";
    /// Readings further apart than this are not of one stay.
    pub(super) const GAP_H: f64 = 4.0, "h";
    /// No pitching is written down later than so.
    const LATEST_H: f64 = 72.0, "h";
}

/// Puts pitchings that were written down too late where the readings have them, with a text for each.
pub(crate) fn move_late_pitchings(readings: &Readings, batches: &mut [Batch]) -> Vec<String> {
    let mut texts = Vec::new();
    for batch in batches.iter_mut() {
        let own = readings.batch_index(&batch.batch);
        let first = |probe| first_in_beer(readings, readings.of_probe(probe), own, batch.pitched_at);
        let found = batch.probes.iter().filter_map(|probe| Some((first(probe)?, probe))).min();
        let Some((first, probe)) = found else { continue };
        let Batch { batch: id, pitched_at, .. } = &*batch;
        texts.push(format!(
            "{id} was pitched before {pitched_at}, as {probe} read in it from {first} on and the beer fell by then: its pitching was \
             put at that reading"
        ));
        batch.pitched_at = first;
    }
    batches.sort_by(|a, b| (a.pitched_at, &a.batch).cmp(&(b.pitched_at, &b.batch)));
    texts
}

/// The first of the readings of a probe from which on it was in the beer, where that fell before its written pitching.
fn first_in_beer(readings: &Readings, rows: Range<usize>, own: Option<u32>, pitched_at: Instant) -> Option<Instant> {
    let at = |row: usize| readings.at.get(row).copied();
    let tilt = |from: usize, to: usize| quantile(readings.tilt_deg.get(from.max(rows.start)..to.min(rows.end))?, 0.5);
    let written = rows.start + readings.at.get(rows.clone())?.partition_point(|at| *at < pitched_at);
    // Whether the row before another shows the same beer.
    let goes_on = |row: &usize| {
        let before = row.checked_sub(1)?;
        let is_free = readings.batch.get(before)?.is_none_or(|batch| Some(batch) == own);
        let jump = (tilt(row.saturating_sub(SIDE), *row)? - tilt(*row, row + SIDE)?).abs();
        Some(is_free && at(*row)?.hours_since(at(before)?) <= *GAP_H && jump <= *JUMP_DEG)
    };
    let first = (rows.start + 1..=written).rev().take_while(|row| goes_on(row) == Some(true)).last()? - 1;
    let falls = tilt(first, first + SIDE)? - tilt(written, written + SIDE)?;
    at(first).filter(|at| falls >= *FALLS_DEG && pitched_at.hours_since(*at) <= *LATEST_H)
}

#[cfg(test)]
#[path = "../../../tests/inside/late_pitching.rs"]
mod tests;
