//! Readings sorted by probe and time, exact duplicates rejected.

use std::collections::HashSet;

use crate::season::load::Loaded;
use crate::season::raw::RawReadings;
use crate::season::readings::Readings;
use crate::season::row_error::RowErrorKind;

use super::order::{flag_order, resolve_twice};

/// Sorts the readings and rejects exact duplicates; gives for each row its row before sorting, none where nothing moved.
/// The columns are moved out of `loaded`; where its rows stand stays there.
pub(crate) fn sort_readings(loaded: &mut Loaded) -> (Readings, Option<Vec<u32>>) {
    for id in loaded.batches.iter().map(|e| e.row.batch.clone()).collect::<Vec<_>>() {
        loaded.readings.batches.index(&id);
    }
    let (probe_ids, probe_place) = std::mem::take(&mut loaded.readings.probes).sorted();
    let (batch_ids, batch_place) = std::mem::take(&mut loaded.readings.batches).sorted();
    let raw = &mut loaded.readings;
    if !is_identity(&probe_place) {
        renumber(raw.probe.iter_mut(), &probe_place);
    }
    if !is_identity(&batch_place) {
        renumber(raw.batch.iter_mut().flatten(), &batch_place);
    }
    if !raw.supply_v.is_empty() {
        raw.supply_v.resize(raw.at.len(), f64::NAN);
    }
    resolve_twice(raw);
    let order = order(raw, probe_ids.len());
    let duplicates = duplicates(raw, order.as_deref());
    let dropped: HashSet<u32> = duplicates.iter().map(|(row, _)| *row).collect();
    if order.is_some() {
        flag_order(raw, &|row| dropped.contains(&(row as u32)));
    }
    for (row, first) in &duplicates {
        let (first_file, first_line) = loaded.readings.place(*first as usize);
        let (file, line) = loaded.readings.place(*row as usize);
        let reason = RowErrorKind::Duplicate.found(loaded.place_text(first_file, first_line));
        let text = loaded.row_text(*row as usize, &probe_ids, &batch_ids);
        loaded.reject(file, line, reason, text);
    }
    let origin = without(order, loaded.readings.len(), &duplicates);
    let raw = &mut loaded.readings;
    let batch = picked(&mut raw.batch, origin.as_deref());
    let readings = Readings {
        probe_ids,
        batch_ids,
        at: picked(&mut raw.at, origin.as_deref()),
        probe: picked(&mut raw.probe, origin.as_deref()),
        tilt_deg: picked(&mut raw.tilt_deg, origin.as_deref()),
        temp_c: picked(&mut raw.temp_c, origin.as_deref()),
        batch_given: batch.iter().map(Option::is_some).collect(),
        batch,
        supply_v: picked(&mut raw.supply_v, origin.as_deref()),
        flags: picked(&mut raw.flags, origin.as_deref()),
    };
    (readings, origin)
}

fn is_identity(place: &[u32]) -> bool {
    place.iter().enumerate().all(|(i, p)| i as u32 == *p)
}

fn renumber<'a>(indices: impl Iterator<Item = &'a mut u32>, place: &[u32]) {
    for index in indices {
        *index = place.get(*index as usize).copied().unwrap_or(*index);
    }
}

/// The order by probe, then time, then as read; none when the rows stand so already.
fn order(raw: &RawReadings, probes: usize) -> Option<Vec<u32>> {
    let sorted = raw.probe.iter().zip(&raw.at).is_sorted();
    if sorted {
        return None;
    }
    // Logs are in order of time or nearly so: gather each probe's rows, and sort only those that need it.
    let mut starts = vec![0_usize; probes + 1];
    for probe in &raw.probe {
        if let Some(count) = starts.get_mut(*probe as usize + 1) {
            *count += 1;
        }
    }
    let mut before = 0;
    for start in &mut starts {
        before += *start;
        *start = before;
    }
    let mut order = vec![0_u32; raw.len()];
    let mut next = starts.clone();
    for (row, probe) in raw.probe.iter().enumerate() {
        if let Some(slot) = next.get_mut(*probe as usize) {
            if let Some(place) = order.get_mut(*slot) {
                *place = row as u32;
            }
            *slot += 1;
        }
    }
    let at = |row: &u32| raw.at.get(*row as usize).copied().unwrap_or_default();
    for ends in starts.windows(2) {
        if let [start, end] = ends
            && let Some(rows) = order.get_mut(*start..*end)
            && !rows.is_sorted_by_key(at)
        {
            rows.sort_by_key(at);
        }
    }
    Some(order)
}

/// Rows that repeat an earlier one in every column, each with that one.
fn duplicates(raw: &RawReadings, order: Option<&[u32]>) -> Vec<(u32, u32)> {
    let row_at = |i: usize| order.map_or(i as u32, |o| o.get(i).copied().unwrap_or(0));
    let key = |row: u32| {
        let row = row as usize;
        let bits = |column: &[f64]| column.get(row).copied().unwrap_or(0.0).to_bits();
        (bits(&raw.tilt_deg), bits(&raw.temp_c), raw.batch.get(row).copied(), bits(&raw.supply_v))
    };
    let is_same = |a: u32, b: u32| {
        let (a, b) = (a as usize, b as usize);
        raw.at.get(a) == raw.at.get(b) && raw.probe.get(a) == raw.probe.get(b)
    };
    let (mut found, mut group, mut start) = (Vec::new(), Vec::new(), 0);
    if order.is_none() && !has_equal_neighbours(raw) {
        return found;
    }
    while start < raw.len() {
        let mut end = start + 1;
        while end < raw.len() && is_same(row_at(start), row_at(end)) {
            end += 1;
        }
        if end - start > 1 {
            group.clear();
            group.extend((start..end).map(|i| (key(row_at(i)), row_at(i))));
            group.sort_unstable();
            let mut first = None;
            for (key, row) in &group {
                match first {
                    Some((k, r)) if k == key => found.push((*row, r)),
                    _ => first = Some((key, *row)),
                }
            }
        }
        start = end;
    }
    found
}

fn has_equal_neighbours(raw: &RawReadings) -> bool {
    raw.at
        .windows(2)
        .zip(raw.probe.windows(2))
        .any(|(at, probe)| at.first() == at.last() && probe.first() == probe.last())
}

fn without(order: Option<Vec<u32>>, rows: usize, duplicates: &[(u32, u32)]) -> Option<Vec<u32>> {
    if duplicates.is_empty() {
        return order;
    }
    let mut dropped = vec![false; rows];
    for (row, _) in duplicates {
        if let Some(slot) = dropped.get_mut(*row as usize) {
            *slot = true;
        }
    }
    let all = order.unwrap_or_else(|| (0..rows as u32).collect());
    Some(all.into_iter().filter(|row| !dropped.get(*row as usize).copied().unwrap_or(false)).collect())
}

fn picked<T: Copy + Default>(column: &mut Vec<T>, origin: Option<&[u32]>) -> Vec<T> {
    let column = std::mem::take(column);
    match origin {
        None => column,
        Some(_) if column.is_empty() => column,
        Some(origin) => origin.iter().map(|row| column.get(*row as usize).copied().unwrap_or_default()).collect(),
    }
}
