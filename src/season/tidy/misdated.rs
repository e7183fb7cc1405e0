//! Samples dated before their batch was pitched or after it was over, baths dated long after the log: day and month exchanged, or a year mistyped.

use std::collections::HashMap;

use crate::season::flags::Flags;
use crate::season::loaded::Loaded;
use crate::season::readings::Readings;
use crate::season::table_rows::{Batch, Reference};
use crate::units::Instant;

assumed! {
    /// A sample may be dated this long after the end of its batch, and twice as long before its pitching, which may be written
    /// down late.
    const AFTER_END_D: f64 = 1.0, "d";
    /// Where a batch has no end, its sample may be dated this long after all else of a season with a log, or as long as the batch
    /// has lasted; a bath at which the probe did not read, this long after the log.
    const ALONE_D: f64 = 42.0, "d";
}

/// Flags samples and baths whose date cannot be right.
pub(super) fn flag_misdated(loaded: &mut Loaded, readings: &Readings, batches: &[Batch]) {
    let batches: HashMap<&str, (Instant, Option<Instant>)> =
        batches.iter().map(|row| (row.batch.as_str(), (row.pitched_at, row.ended_at))).collect();
    let read = readings.at.iter().zip(&readings.flags).filter(|(_, flags)| !flags.intersects(Flags::CLOCK_JUMP));
    // References alone may go on for as long as they like: only beside a log one of them can be late.
    let read = read.map(|(at, _)| *at).max();
    let is_late_bath = |row: &Reference| {
        !row.is_sample() && row.tilt_deg.is_none() && read.is_some_and(|read| row.at.days_since(read) > *ALONE_D)
    };
    let baths = loaded.references.iter().map(|entry| &entry.row).filter(|row| !row.is_sample() && !is_late_bath(row));
    let others = baths.map(|row| row.at).chain(batches.values().map(|(pitched_at, _)| *pitched_at));
    let mut last = read.map(|read| others.fold(read, Instant::max));
    for entry in &mut loaded.references {
        entry.row.flags = entry.row.flags.without(Flags::OUTSIDE_BATCH);
        if is_late_bath(&entry.row) {
            entry.flags.insert(Flags::OUTSIDE_BATCH);
        }
        let (at, Some(batch)) = (entry.row.at, &entry.row.batch) else { continue };
        let is_late = match (batches.get(batch.as_str()), last) {
            (Some((pitched_at, _)), _) if pitched_at.days_since(at) > 2.0 * *AFTER_END_D => true,
            (Some((_, Some(ended_at))), _) => at.days_since(*ended_at) > *AFTER_END_D,
            (None, _) | (_, None) => false,
            (Some((pitched_at, None)), Some(last)) => at.days_since(last) > last.days_since(*pitched_at).max(*ALONE_D),
        };
        if is_late {
            entry.flags.insert(Flags::OUTSIDE_BATCH);
        } else {
            last = last.map(|last| last.max(at));
        }
    }
}
