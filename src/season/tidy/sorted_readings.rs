//! Readings sorted by probe and time, exact duplicates rejected.

use std::collections::hash_map::Entry;
use std::collections::{HashMap, HashSet};

use crate::error::{Error, Result};
use crate::season::loaded::Loaded;
use crate::season::raw::{RawReading, RawReadings};
use crate::season::readings::Readings;
use crate::season::row_error::RowError;
use crate::season::table_rows::{ReadingRow, TableRow};

use super::file_order::{flag_order, resolve_twice};

/// Rows whose columns are taken together.
const BLOCK: usize = 1024;

/// Sorts the readings and rejects exact duplicates; gives for each row the account entry of its file.
///
/// # Errors
/// [`Error::Numeric`] when a row has an id that is not among the ids, which no reader gives.
pub(crate) fn sort_readings(loaded: &mut Loaded) -> Result<(Readings, Vec<usize>)> {
    let RawReadings { probes, mut batches, mut rows, twice } = std::mem::take(&mut loaded.readings);
    for batch in &loaded.batches {
        batches.index(&batch.row.batch);
    }
    let ((probe_ids, probe_place), (batch_ids, batch_place)) = (probes.sorted(), batches.sorted());
    for row in &mut rows {
        row.probe = *probe_place.get(row.probe as usize).ok_or_else(without_id)?;
        row.batch = match row.batch {
            Some(batch) => Some(*batch_place.get(batch as usize).ok_or_else(without_id)?),
            None => None,
        };
    }
    resolve_twice(&mut rows, &twice);
    rows.sort_by_key(|row| (row.probe, row.at));
    let mut repeated = HashSet::new();
    // One alone repeats none.
    let groups = rows.chunk_by(|a, b| (a.probe, a.at) == (b.probe, b.at)).filter(|group| group.len() > 1);
    for group in groups {
        let mut firsts = HashMap::new();
        for row in group {
            let RawReading { tilt_deg, temp_c, supply_v, batch, .. } = row;
            match firsts.entry((batch, [tilt_deg, temp_c, supply_v].map(|number| number.to_bits()))) {
                Entry::Vacant(place) => {
                    place.insert(row);
                }
                Entry::Occupied(first) => {
                    let reason = RowError::duplicate(loaded.place_text(first.get().file, first.get().line));
                    let text = text_of(row, &probe_ids, &batch_ids).ok_or_else(without_id)?;
                    loaded.reject(row.file, row.line, reason, text);
                    repeated.insert((row.file, row.line));
                }
            }
        }
    }
    if !repeated.is_empty() {
        rows.retain(|row| !repeated.contains(&(row.file, row.line)));
    }
    flag_order(&mut rows);
    let has_volts = rows.iter().any(|row| row.supply_v.is_finite());
    let mut readings = Readings { probe_ids, batch_ids, ..Readings::default() };
    let mut files = Vec::with_capacity(rows.len());
    // Each block of rows stays in the cache while its columns are taken.
    for block in rows.chunks(BLOCK) {
        readings.at.extend(block.iter().map(|row| row.at));
        readings.probe.extend(block.iter().map(|row| row.probe));
        readings.tilt_deg.extend(block.iter().map(|row| row.tilt_deg));
        readings.temp_c.extend(block.iter().map(|row| row.temp_c));
        readings.batch.extend(block.iter().map(|row| row.batch));
        readings.batch_given.extend(block.iter().map(|row| row.batch.is_some()));
        if has_volts {
            readings.supply_v.extend(block.iter().map(|row| row.supply_v));
        }
        readings.flags.extend(block.iter().map(|row| row.flags));
        files.extend(block.iter().map(|row| row.file));
    }
    Ok((readings, files))
}

fn without_id() -> Error {
    Error::numeric("sorting the readings", "a row has an id that is not among the ids")
}

/// A row written as its columns, for the list of rejected rows.
fn text_of(row: &RawReading, probe_ids: &[String], batch_ids: &[String]) -> Option<String> {
    let batch = match row.batch {
        Some(batch) => Some(batch_ids.get(batch as usize)?.clone()),
        None => None,
    };
    let probe = probe_ids.get(row.probe as usize)?.as_str();
    let supply_v = Some(row.supply_v).filter(|volts| volts.is_finite());
    let row = ReadingRow { batch, supply_v, ..ReadingRow::new(row.at, probe, row.tilt_deg, row.temp_c) };
    let cells: Vec<String> = row.to_cells().iter().map(ToString::to_string).collect();
    Some(cells.join(",").trim_end_matches(',').to_owned())
}
