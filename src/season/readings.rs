//! The readings of a season, column by column.

use std::ops::Range;

use crate::units::Instant;

use super::flags::Flags;

/// All readings, as columns of one length, sorted by probe (in the order of `probe_ids`) and then by time, so that
/// each probe's readings are one slice.
#[derive(Debug, Clone, Default)]
pub struct Readings {
    /// Ids that `probe` points into, sorted.
    pub probe_ids: Vec<String>,
    /// Ids that `batch` points into, sorted.
    pub batch_ids: Vec<String>,
    /// When.
    pub at: Vec<Instant>,
    /// Which probe, an index into `probe_ids`.
    pub probe: Vec<u32>,
    /// Tilt, degrees.
    pub tilt_deg: Vec<f64>,
    /// Temperature, C.
    pub temp_c: Vec<f64>,
    /// Which batch, an index into `batch_ids`; none: in no known batch.
    pub batch: Vec<Option<u32>>,
    /// True where the file named the batch, so that a batch filled in on loading is not written back.
    pub batch_given: Vec<bool>,
    /// Supply voltage, V; NaN where there is none, and no entries at all where no reading has one.
    pub supply_v: Vec<f64>,
    /// Reasons from tidying.
    pub flags: Vec<Flags>,
}

impl PartialEq for Readings {
    /// Equal in every column; a voltage that is not there equals another that is not there.
    fn eq(&self, other: &Self) -> bool {
        let volts = |r: &Self| (0..r.len()).map(|row| r.supply_v(row)).collect::<Vec<_>>();
        self.probe_ids == other.probe_ids
            && self.batch_ids == other.batch_ids
            && self.at == other.at
            && self.probe == other.probe
            && self.tilt_deg == other.tilt_deg
            && self.temp_c == other.temp_c
            && self.batch == other.batch
            && self.batch_given == other.batch_given
            && volts(self) == volts(other)
            && self.flags == other.flags
    }
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading<'a> {
    /// When.
    pub at: Instant,
    /// Which probe.
    pub probe: &'a str,
    /// Tilt, degrees.
    pub tilt_deg: f64,
    /// Temperature, C.
    pub temp_c: f64,
    /// Which batch, if any.
    pub batch: Option<&'a str>,
    /// Reasons from tidying.
    pub flags: Flags,
}

impl Readings {
    /// How many there are.
    pub fn len(&self) -> usize {
        self.at.len()
    }

    /// True when there is none.
    pub fn is_empty(&self) -> bool {
        self.at.is_empty()
    }

    /// Index of a batch id.
    pub fn batch_index(&self, batch: &str) -> Option<u32> {
        self.batch_ids.binary_search_by(|id| id.as_str().cmp(batch)).ok().map(|i| i as u32)
    }

    /// The rows of a probe: one range, in order of time; empty for a probe without readings.
    pub fn of_probe(&self, probe: &str) -> Range<usize> {
        let Ok(index) = self.probe_ids.binary_search_by(|id| id.as_str().cmp(probe)) else { return 0..0 };
        self.probe.partition_point(|&p| (p as usize) < index)..self.probe.partition_point(|&p| p as usize <= index)
    }

    /// The rows of a probe with `from <= at <= to`.
    pub fn of_probe_between(&self, probe: &str, from: Instant, to: Instant) -> Range<usize> {
        let all = self.of_probe(probe);
        let times = self.at.get(all.clone()).unwrap_or_default();
        all.start + times.partition_point(|&t| t < from)..all.start + times.partition_point(|&t| t <= to)
    }

    /// The supply voltage of row `row`, V, if there is one.
    pub fn supply_v(&self, row: usize) -> Option<f64> {
        self.supply_v.get(row).copied().filter(|v| v.is_finite())
    }

    /// Row `row`, if there is one.
    pub fn get(&self, row: usize) -> Option<Reading<'_>> {
        Some(Reading {
            at: *self.at.get(row)?,
            probe: self.probe_ids.get(*self.probe.get(row)? as usize)?,
            tilt_deg: *self.tilt_deg.get(row)?,
            temp_c: *self.temp_c.get(row)?,
            batch: self.batch.get(row)?.and_then(|b| self.batch_ids.get(b as usize)).map(String::as_str),
            flags: *self.flags.get(row)?,
        })
    }

    /// Those rows in this order; only one column at a time is in memory twice.
    pub(crate) fn reorder(&mut self, rows: &[usize]) {
        reorder(&mut self.at, rows);
        reorder(&mut self.probe, rows);
        reorder(&mut self.tilt_deg, rows);
        reorder(&mut self.temp_c, rows);
        reorder(&mut self.batch, rows);
        reorder(&mut self.batch_given, rows);
        reorder(&mut self.supply_v, rows);
        reorder(&mut self.flags, rows);
    }
}

/// Those rows of a column in this order.
pub(crate) fn reorder<T: Copy>(column: &mut Vec<T>, rows: &[usize]) {
    let mut reordered = Vec::with_capacity(rows.len().min(column.len()));
    reordered.extend(rows.iter().filter_map(|row| column.get(*row)));
    *column = reordered;
}
