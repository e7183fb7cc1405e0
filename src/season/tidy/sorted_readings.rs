//! Readings sorted by probe and time, exact duplicates rejected.

use std::collections::{HashMap, HashSet};

use rayon::prelude::{IntoParallelRefMutIterator, ParallelIterator};

use crate::error::{Error, Result};
use crate::season::loaded::Loaded;
use crate::season::raw::RawReadings;
use crate::season::readings::{Readings, reorder};
use crate::season::row_error::RowError;
use crate::season::table_rows::{ReadingRow, TableRow};

use super::file_order::{flag_order, resolve_twice};

/// Sorts the readings and rejects exact duplicates; gives for each row its file, by the account entry, and its line.
///
/// # Errors
/// [`Error::Numeric`] when a row has an id that is not among the ids, which no reader gives.
pub(crate) fn sort_readings(loaded: &mut Loaded) -> Result<(Readings, Vec<(u32, u32)>)> {
    let raw = std::mem::take(&mut loaded.readings);
    let RawReadings { probes, mut batches, columns: mut readings, mut places, twice } = raw;
    for batch in &loaded.batches {
        batches.index(&batch.row.batch);
    }
    let (probe_place, batch_place);
    (readings.probe_ids, probe_place) = probes.sorted();
    (readings.batch_ids, batch_place) = batches.sorted();
    for probe in &mut readings.probe {
        *probe = *probe_place.get(*probe as usize).ok_or_else(without_id)?;
    }
    for batch in readings.batch.iter_mut().flatten() {
        *batch = *batch_place.get(*batch as usize).ok_or_else(without_id)?;
    }
    resolve_twice(&mut readings, &places, &twice);
    // Most files have their rows in order, and then no row repeats another.
    if !readings.probe.iter().zip(&readings.at).is_sorted_by(|before, after| before < after) {
        let rows = by_probe_and_time(&readings);
        readings.reorder(&rows);
        reorder(&mut places, &rows);
        let kept = reject_repeated(loaded, &readings, &places)?;
        readings.reorder(&kept);
        reorder(&mut places, &kept);
        flag_order(&mut readings, &places);
    }
    Ok((readings, places))
}

/// The rows by probe and time, those of one moment in the order of the files.
fn by_probe_and_time(readings: &Readings) -> Vec<usize> {
    let mut of_probes: Vec<Vec<usize>> = vec![Vec::new(); readings.probe_ids.len()];
    for (row, probe) in readings.probe.iter().enumerate() {
        of_probes.get_mut(*probe as usize).into_iter().for_each(|rows| rows.push(row));
    }
    of_probes.par_iter_mut().for_each(|rows| rows.sort_by_key(|row| readings.at.get(*row)));
    of_probes.concat()
}

/// Rejects each of the sorted readings that repeats an earlier one in all its values; gives the others.
fn reject_repeated(loaded: &mut Loaded, readings: &Readings, places: &[(u32, u32)]) -> Result<Vec<usize>> {
    let place = |row: usize| places.get(row).map_or((0, 0), |(file, line)| (*file as usize, u64::from(*line)));
    let moment = |row: &usize| (readings.probe.get(*row), readings.at.get(*row));
    let mut kept: Vec<usize> = (0..readings.len()).collect();
    let mut repeated = HashSet::new();
    // One alone repeats none.
    for rows in kept.chunk_by(|a, b| moment(a) == moment(b)).filter(|rows| rows.len() > 1) {
        let mut firsts = HashMap::new();
        for row in rows {
            let reading = readings.get(*row).ok_or_else(without_id)?;
            let supply_v = readings.supply_v(*row);
            let numbers = [reading.tilt_deg, reading.temp_c, supply_v.unwrap_or(f64::NAN)].map(f64::to_bits);
            let first = *firsts.entry((reading.batch, numbers)).or_insert(*row);
            if first != *row {
                let batch = reading.batch.map(str::to_owned);
                let new = ReadingRow::new(reading.at, reading.probe, reading.tilt_deg, reading.temp_c);
                let cells = ReadingRow { batch, supply_v, ..new }.to_cells();
                let cells: Vec<String> = cells.iter().map(ToString::to_string).collect();
                let ((of_first, line_of_first), (file, line)) = (place(first), place(*row));
                let reason = RowError::duplicate(loaded.place_text(of_first, line_of_first));
                loaded.reject(file, line, reason, cells.join(",").trim_end_matches(',').to_owned());
                repeated.insert(*row);
            }
        }
    }
    kept.retain(|row| !repeated.contains(row));
    Ok(kept)
}

fn without_id() -> Error {
    Error::numeric("sorting the readings", "a row has an id that is not among the ids")
}
