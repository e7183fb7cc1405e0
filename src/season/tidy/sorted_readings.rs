//! Readings sorted by probe and time, exact duplicates rejected.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use crate::error::{Error, Result};
use crate::season::loaded::Loaded;
use crate::season::raw::{RawReading, RawReadings};
use crate::season::readings::Readings;
use crate::season::row_error::RowError;
use crate::season::table_rows::{ReadingRow, TableRow};

use super::file_order::{flag_order, resolve_twice};

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
    let mut kept = Vec::with_capacity(rows.len());
    for group in rows.chunk_by(|a, b| (a.probe, a.at) == (b.probe, b.at)) {
        let mut firsts = HashMap::new();
        for row in group {
            let RawReading { tilt_deg, temp_c, supply_v, batch, .. } = row;
            // One alone repeats none.
            let first = match group.len() {
                1 => None,
                _ => match firsts.entry((batch, [tilt_deg, temp_c, supply_v].map(|number| number.to_bits()))) {
                    Entry::Vacant(place) => {
                        place.insert(row);
                        None
                    }
                    Entry::Occupied(first) => Some(*first.get()),
                },
            };
            let Some(first) = first else {
                kept.push(*row);
                continue;
            };
            let reason = RowError::duplicate(loaded.place_text(first.file, first.line));
            let text = text_of(row, &probe_ids, &batch_ids).ok_or_else(without_id)?;
            loaded.reject(row.file, row.line, reason, text);
        }
    }
    flag_order(&mut kept);
    let has_volts = kept.iter().any(|row| row.supply_v.is_finite());
    let readings = Readings {
        probe_ids,
        batch_ids,
        at: kept.iter().map(|row| row.at).collect(),
        probe: kept.iter().map(|row| row.probe).collect(),
        tilt_deg: kept.iter().map(|row| row.tilt_deg).collect(),
        temp_c: kept.iter().map(|row| row.temp_c).collect(),
        batch: kept.iter().map(|row| row.batch).collect(),
        batch_given: kept.iter().map(|row| row.batch.is_some()).collect(),
        supply_v: kept.iter().filter(|_| has_volts).map(|row| row.supply_v).collect(),
        flags: kept.iter().map(|row| row.flags).collect(),
    };
    Ok((readings, kept.iter().map(|row| row.file).collect()))
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
