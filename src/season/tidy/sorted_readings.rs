//! Readings sorted by probe and time, exact duplicates rejected.

use std::collections::HashSet;

use crate::error::{Error, Result};
use crate::season::loaded::Loaded;
use crate::season::raw::RawReadings;
use crate::season::readings::Readings;
use crate::season::row_error::RowErrorKind;

use super::file_order::{flag_order, resolve_twice};

/// Sorts the readings and rejects exact duplicates; gives for each row its row before sorting, none where nothing moved.
/// The columns are moved out of `loaded`; where its rows stand stays there.
///
/// # Errors
/// [`Error::Numeric`] when the columns are not of one length, which no reader gives.
pub(crate) fn sort_readings(loaded: &mut Loaded) -> Result<(Readings, Option<Vec<u32>>)> {
    for id in loaded.batches.iter().map(|e| e.row.batch.clone()).collect::<Vec<_>>() {
        loaded.readings.batches.index(&id);
    }
    let (probe_ids, probe_place) = std::mem::take(&mut loaded.readings.probes).sorted();
    let (batch_ids, batch_place) = std::mem::take(&mut loaded.readings.batches).sorted();
    let raw = &mut loaded.readings;
    renumber(raw.probe.iter_mut(), &probe_place)?;
    renumber(raw.batch.iter_mut().flatten(), &batch_place)?;
    if !raw.supply_v.is_empty() {
        raw.supply_v.resize(raw.at.len(), f64::NAN);
    }
    resolve_twice(raw);
    let order = order(raw, probe_ids.len());
    let duplicates = duplicates(raw, order.as_deref()).ok_or_else(unlike)?;
    let dropped: HashSet<u32> = duplicates.iter().map(|(row, _)| *row).collect();
    if order.is_some() {
        flag_order(raw, &|row| dropped.contains(&(row as u32)));
    }
    for (row, first) in &duplicates {
        let place = |row: u32| loaded.readings.place(row as usize).ok_or_else(unlike);
        let ((first_file, first_line), (file, line)) = (place(*first)?, place(*row)?);
        let reason = RowErrorKind::Duplicate.found(loaded.place_text(first_file, first_line));
        let text = loaded.readings.text(*row as usize, &probe_ids, &batch_ids).ok_or_else(unlike)?;
        loaded.reject(file, line, reason, text);
    }
    let origin = without(order, loaded.readings.len(), &dropped);
    let raw = &mut loaded.readings;
    let rows = origin.as_deref();
    let batch = picked(&mut raw.batch, rows)?;
    let readings = Readings {
        probe_ids,
        batch_ids,
        at: picked(&mut raw.at, rows)?,
        probe: picked(&mut raw.probe, rows)?,
        tilt_deg: picked(&mut raw.tilt_deg, rows)?,
        temp_c: picked(&mut raw.temp_c, rows)?,
        batch_given: batch.iter().map(Option::is_some).collect(),
        batch,
        supply_v: if raw.supply_v.is_empty() { Vec::new() } else { picked(&mut raw.supply_v, rows)? },
        flags: picked(&mut raw.flags, rows)?,
    };
    let lengths = [readings.probe.len(), readings.tilt_deg.len(), readings.temp_c.len(), readings.flags.len()];
    if lengths.iter().chain([&readings.batch.len()]).any(|length| *length != readings.at.len()) {
        return Err(unlike());
    }
    Ok((readings, origin))
}

/// The error for columns of readings that do not fit together.
fn unlike() -> Error {
    Error::numeric("sorting the readings", "their columns are not of one length")
}

fn renumber<'a>(indices: impl Iterator<Item = &'a mut u32>, place: &[u32]) -> Result<()> {
    if place.iter().zip(0..).all(|(place, i)| *place == i) {
        return Ok(());
    }
    for index in indices {
        *index = *place.get(*index as usize).ok_or_else(unlike)?;
    }
    Ok(())
}

/// The order by probe, then time, then as read; none when the rows stand so already.
fn order(raw: &RawReadings, probes: usize) -> Option<Vec<u32>> {
    if raw.probe.iter().zip(&raw.at).is_sorted() {
        return None;
    }
    // Logs are in order of time or nearly so: gather each probe's rows, and sort only those that need it.
    let mut of_probes: Vec<Vec<u32>> = vec![Vec::new(); probes];
    for (probe, row) in raw.probe.iter().zip(0..) {
        of_probes.get_mut(*probe as usize)?.push(row);
    }
    let at = |row: &u32| raw.at.get(*row as usize);
    for rows in of_probes.iter_mut().filter(|rows| !rows.is_sorted_by_key(at)) {
        rows.sort_by_key(at);
    }
    Some(of_probes.concat())
}

/// Rows that repeat an earlier one in every column, each with that one.
fn duplicates(raw: &RawReadings, order: Option<&[u32]>) -> Option<Vec<(u32, u32)>> {
    let mut found = Vec::new();
    if order.is_none() && !has_equal_neighbours(raw) {
        return Some(found);
    }
    let as_read: Vec<u32>;
    let rows = match order {
        Some(order) => order,
        None => {
            as_read = (0..raw.len() as u32).collect();
            &as_read
        }
    };
    let is_same = |a: &u32, b: &u32| {
        let (a, b) = (*a as usize, *b as usize);
        raw.at.get(a) == raw.at.get(b) && raw.probe.get(a) == raw.probe.get(b)
    };
    for group in rows.chunk_by(is_same).filter(|group| group.len() > 1) {
        let key = |row: &u32| {
            let i = *row as usize;
            let volts = raw.supply_v.get(i).map(|v| v.to_bits());
            Some(((raw.tilt_deg.get(i)?.to_bits(), raw.temp_c.get(i)?.to_bits(), *raw.batch.get(i)?, volts), *row))
        };
        let mut keys = group.iter().map(key).collect::<Option<Vec<_>>>()?;
        keys.sort_unstable();
        for same in keys.chunk_by(|a, b| a.0 == b.0) {
            if let Some(((_, first), repeats)) = same.split_first() {
                found.extend(repeats.iter().map(|(_, row)| (*row, *first)));
            }
        }
    }
    Some(found)
}

fn has_equal_neighbours(raw: &RawReadings) -> bool {
    let rows = || raw.at.iter().zip(&raw.probe);
    rows().zip(rows().skip(1)).any(|(row, next)| row == next)
}

fn without(order: Option<Vec<u32>>, rows: usize, dropped: &HashSet<u32>) -> Option<Vec<u32>> {
    if dropped.is_empty() {
        return order;
    }
    let mut rows = order.unwrap_or_else(|| (0..rows as u32).collect());
    rows.retain(|row| !dropped.contains(row));
    Some(rows)
}

fn picked<T: Copy>(column: &mut Vec<T>, rows: Option<&[u32]>) -> Result<Vec<T>> {
    let column = std::mem::take(column);
    match rows {
        None => Ok(column),
        Some(rows) => rows.iter().map(|row| column.get(*row as usize).copied().ok_or_else(unlike)).collect(),
    }
}
