//! The readings as the files give them, before tidying: in the order of the files.

use std::collections::HashMap;

use crate::units::Instant;

use super::flags::Flags;
use super::readings::Readings;

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

/// A reading as a reader gives it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RawReading<'a> {
    pub(crate) at: Instant,
    pub(crate) probe: &'a str,
    pub(crate) tilt_deg: f64,
    pub(crate) temp_c: f64,
    pub(crate) batch: Option<&'a str>,
    pub(crate) supply_v: Option<f64>,
    pub(crate) flags: Flags,
}

/// Readings in the order of the files.
#[derive(Debug, Default, Clone)]
pub(crate) struct RawReadings {
    pub(crate) probes: Interner,
    pub(crate) batches: Interner,
    /// Their columns, probes and batches by their indices here.
    pub(crate) columns: Readings,
    /// The file of each row, by its index in the account, and its line.
    pub(crate) places: Vec<(u32, u32)>,
    /// Rows whose local time occurs twice, with the second occurrence.
    pub(crate) twice: HashMap<usize, Instant>,
}

impl RawReadings {
    pub(crate) fn push(&mut self, file: usize, line: u64, row: &RawReading<'_>) {
        let columns = &mut self.columns;
        self.places.push((file as u32, line as u32));
        columns.at.push(row.at);
        columns.probe.push(self.probes.index(row.probe));
        columns.tilt_deg.push(row.tilt_deg);
        columns.temp_c.push(row.temp_c);
        columns.batch.push(row.batch.map(|batch| self.batches.index(batch)));
        columns.batch_given.push(row.batch.is_some());
        columns.flags.push(row.flags);
        columns.add_volts(row.supply_v.as_slice());
    }
}

impl Readings {
    /// Adds the voltages of the last rows, and none for what then is without.
    pub(crate) fn add_volts(&mut self, volts: &[f64]) {
        if !(self.supply_v.is_empty() && volts.is_empty()) {
            self.supply_v.resize(self.at.len() - volts.len(), f64::NAN);
            self.supply_v.extend_from_slice(volts);
        }
    }
}
