//! The readings as the files give them, before tidying: columns in the order of the files.

use std::collections::HashMap;

use crate::units::Instant;

use super::flags::Flags;

/// Gives each different text an index, in the order of first appearance.
#[derive(Debug, Default, Clone)]
pub(crate) struct Interner {
    ids: Vec<String>,
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

    /// The ids in the order of first appearance.
    pub(crate) fn ids(&self) -> &[String] {
        &self.ids
    }

    /// The ids sorted, and for each index its place among them.
    pub(crate) fn sorted(self) -> (Vec<String>, Vec<u32>) {
        let mut order: Vec<usize> = (0..self.ids.len()).collect();
        order.sort_by(|a, b| self.ids.get(*a).cmp(&self.ids.get(*b)));
        let mut place = vec![0; order.len()];
        for (rank, index) in order.iter().enumerate() {
            if let Some(slot) = place.get_mut(*index) {
                *slot = rank as u32;
            }
        }
        let mut ids = self.ids;
        ids.sort();
        (ids, place)
    }
}

/// The lines that the rows of one file stand in.
#[derive(Debug, Clone)]
pub(crate) enum RowLines {
    /// One after the other from this line.
    From(u64),
    /// As listed.
    Listed(Vec<u64>),
}

/// The rows of one file.
#[derive(Debug, Clone)]
pub(crate) struct FileRows {
    /// Index of the file in the account.
    pub(crate) file: usize,
    /// Its first row.
    pub(crate) start: usize,
    pub(crate) lines: RowLines,
}

/// Readings in the order of the files.
#[derive(Debug, Default, Clone)]
pub(crate) struct RawReadings {
    pub(crate) probes: Interner,
    pub(crate) batches: Interner,
    pub(crate) at: Vec<Instant>,
    pub(crate) probe: Vec<u32>,
    pub(crate) tilt_deg: Vec<f64>,
    pub(crate) temp_c: Vec<f64>,
    /// Index of the batch that the file names, if it does.
    pub(crate) batch: Vec<Option<u32>>,
    /// May be shorter than the other columns: no later row has a voltage.
    pub(crate) supply_v: Vec<f64>,
    pub(crate) flags: Vec<Flags>,
    pub(crate) parts: Vec<FileRows>,
    /// Rows whose local time occurs twice, with the second occurrence.
    pub(crate) twice: Vec<(usize, Instant)>,
}

impl RawReadings {
    pub(crate) fn len(&self) -> usize {
        self.at.len()
    }

    /// Begins the rows of a file.
    pub(crate) fn begin(&mut self, file: usize, lines: RowLines) {
        self.parts.push(FileRows { file, start: self.len(), lines });
    }

    /// Adds a row to the file begun last.
    #[expect(clippy::too_many_arguments, reason = "one a column")]
    pub(crate) fn push(
        &mut self,
        line: u64,
        at: Instant,
        probe: &str,
        tilt_deg: f64,
        temp_c: f64,
        batch: Option<&str>,
        supply_v: Option<f64>,
        flags: Flags,
    ) {
        let probe = self.probes.index(probe);
        let batch = batch.map(|b| self.batches.index(b));
        if let Some(supply_v) = supply_v {
            self.supply_v.resize(self.at.len(), f64::NAN);
            self.supply_v.push(supply_v);
        }
        self.at.push(at);
        self.probe.push(probe);
        self.tilt_deg.push(tilt_deg);
        self.temp_c.push(temp_c);
        self.batch.push(batch);
        self.flags.push(flags);
        if let Some(FileRows { lines: RowLines::Listed(lines), .. }) = self.parts.last_mut() {
            lines.push(line);
        }
    }

    /// The file and line that a row stands in.
    pub(crate) fn place(&self, row: usize) -> Option<(usize, u64)> {
        let part = self.parts.get(self.parts.partition_point(|p| p.start <= row).checked_sub(1)?)?;
        let within = row - part.start;
        let line = match &part.lines {
            RowLines::From(first) => first + within as u64,
            RowLines::Listed(lines) => *lines.get(within)?,
        };
        Some((part.file, line))
    }

    /// A row written as its columns, for the list of rejected rows.
    pub(crate) fn text(&self, row: usize, probe_ids: &[String], batch_ids: &[String]) -> Option<String> {
        let number = |column: &[f64]| column.get(row).filter(|v| v.is_finite()).map_or(String::new(), f64::to_string);
        let batch = match self.batch.get(row)? {
            Some(batch) => batch_ids.get(*batch as usize)?.as_str(),
            None => "",
        };
        let (at, probe) = (self.at.get(row)?.to_string(), probe_ids.get(*self.probe.get(row)? as usize)?);
        let (tilt, temp, supply) = (number(&self.tilt_deg), number(&self.temp_c), number(&self.supply_v));
        Some([at.as_str(), probe, &tilt, &temp, batch, &supply].join(",").trim_end_matches(',').to_owned())
    }
}
