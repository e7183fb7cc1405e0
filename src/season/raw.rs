//! The readings as the files give them, before tidying: in the order of the files.

use std::collections::HashMap;

use crate::units::Instant;

use super::flags::Flags;
use super::table_rows::ReadingRow;

/// Gives each different text an index, in the order of first appearance.
#[derive(Debug, Default, Clone)]
pub(crate) struct Interner {
    /// In the order of first appearance.
    pub(crate) ids: Vec<String>,
    index: HashMap<String, u32>,
    last: u32,
}

impl Interner {
    pub(crate) fn index(&mut self, id: &str) -> u32 {
        // Logs repeat one id for long stretches.
        if self.ids.get(self.last as usize).is_some_and(|last| last == id) {
            return self.last;
        }
        let next = self.ids.len() as u32;
        self.last = match self.index.get(id) {
            Some(index) => *index,
            None => {
                self.ids.push(id.to_owned());
                self.index.insert(id.to_owned(), next);
                next
            }
        };
        self.last
    }

    /// The ids sorted, and for each index its place among them.
    pub(crate) fn sorted(self) -> (Vec<String>, Vec<u32>) {
        let mut ids: Vec<(String, usize)> = self.ids.into_iter().zip(0..).collect();
        ids.sort();
        let mut place = vec![0; ids.len()];
        for ((_, index), rank) in ids.iter().zip(0..) {
            if let Some(slot) = place.get_mut(*index) {
                *slot = rank;
            }
        }
        (ids.into_iter().map(|(id, _)| id).collect(), place)
    }
}

/// A reading as its file gives it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RawReading {
    pub(crate) at: Instant,
    /// Index among the probes.
    pub(crate) probe: u32,
    pub(crate) tilt_deg: f64,
    pub(crate) temp_c: f64,
    /// Index of the batch that the file names, if it does.
    pub(crate) batch: Option<u32>,
    /// NaN where there is none.
    pub(crate) supply_v: f64,
    pub(crate) flags: Flags,
    /// Index of the file in the account.
    pub(crate) file: usize,
    pub(crate) line: u64,
}

/// Readings in the order of the files.
#[derive(Debug, Default, Clone)]
pub(crate) struct RawReadings {
    pub(crate) probes: Interner,
    pub(crate) batches: Interner,
    pub(crate) rows: Vec<RawReading>,
    /// Rows whose local time occurs twice, with the second occurrence.
    pub(crate) twice: HashMap<usize, Instant>,
}

impl RawReadings {
    /// Adds a row; `later`: where its local time occurs twice, the second time.
    pub(crate) fn push(&mut self, file: usize, line: u64, row: ReadingRow, later: Option<Instant>) {
        self.twice.extend(later.map(|later| (self.rows.len(), later)));
        let (probe, batch) = (self.probes.index(&row.probe), row.batch.map(|batch| self.batches.index(&batch)));
        let ReadingRow { at, tilt_deg, temp_c, flags, .. } = row;
        let supply_v = row.supply_v.unwrap_or(f64::NAN);
        self.rows.push(RawReading { at, probe, tilt_deg, temp_c, batch, supply_v, flags, file, line });
    }
}
