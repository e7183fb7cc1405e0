//! Tidying: from rows as files hold them to a season.

mod batch_of_reading;
mod clock;
mod far_times;
mod file_order;
mod frozen;
mod ids;
mod raw_gravity;
mod remarks;
mod sorted_readings;

pub(crate) use batch_of_reading::fill_batches;
pub(crate) use frozen::flag_frozen;

use crate::error::Result;

use super::account::RowAccount;
use super::flags::Flags;
use super::loaded::{Loaded, SourceRow};
use super::readings::Readings;
use super::row_cells::TableRow;
use super::row_error::RowErrorKind;
use super::{Season, TEMP_HIGH_C, TEMP_LOW_C, TILT_HIGH_DEG, TILT_LOW_DEG};

/// Tidies what was loaded. Unknown probes and batches are flagged only where there is a table to know them from.
pub(crate) fn tidy(mut loaded: Loaded, has_probes: bool, has_batches: bool) -> Result<Season> {
    ids::check_unique(&loaded)?;
    far_times::set_far_times_aside(&mut loaded);
    raw_gravity::fill_gravity(&mut loaded);
    drop_duplicates(&mut loaded, |l| &mut l.references);
    drop_duplicates(&mut loaded, |l| &mut l.events);
    drop_duplicates(&mut loaded, |l| &mut l.plan);
    loaded.references.sort_by_key(|entry| entry.row.at);
    loaded.batches.sort_by(|a, b| (a.row.pitched_at, &a.row.batch).cmp(&(b.row.pitched_at, &b.row.batch)));
    loaded.probes.sort_by(|a, b| a.row.probe.cmp(&b.row.probe));
    loaded.events.sort_by_key(|entry| entry.row.at);
    loaded.plan.sort_by(|a, b| (&a.row.batch, a.row.at).cmp(&(&b.row.batch, b.row.at)));

    let (readings, origin) = sorted_readings::sort_readings(&mut loaded)?;
    ids::flag_unknown(&mut loaded, has_probes, has_batches);
    for entry in &mut loaded.references {
        let reference = &mut entry.row;
        let range = range_flags(reference.tilt_deg.unwrap_or(0.0), reference.temp_c.unwrap_or(0.0));
        entry.flags.insert(range.with(reference.flags));
        reference.flags = entry.flags;
    }
    let mut season = Season {
        readings,
        references: rows(&mut loaded, |l| &mut l.references),
        batches: rows(&mut loaded, |l| &mut l.batches),
        probes: rows(&mut loaded, |l| &mut l.probes),
        events: rows(&mut loaded, |l| &mut l.events),
        plan: rows(&mut loaded, |l| &mut l.plan),
        account: RowAccount::default(),
    };
    fill_batches(&mut season.readings, &season.batches, &season.references);
    flag_ranges(&mut season.readings);
    flag_frozen(&mut season.readings);
    if has_probes {
        flag_unknown_probes(&mut season);
    }
    if has_batches {
        flag_unknown_batches(&mut season);
    }
    let rows: Vec<u32> = origin.unwrap_or_else(|| (0..season.readings.len() as u32).collect());
    for (row, flags) in rows.iter().zip(&season.readings.flags) {
        if let Some((file, _)) = loaded.readings.place(*row as usize) {
            loaded.count_kept(file, *flags);
        }
    }
    season.account = loaded.finish_account()?;
    remarks::notice(&mut season);
    Ok(season)
}

/// Takes the rows of a small table out and counts them.
fn rows<T>(loaded: &mut Loaded, table: impl Fn(&mut Loaded) -> &mut Vec<SourceRow<T>>) -> Vec<T> {
    let entries = std::mem::take(table(loaded));
    for entry in &entries {
        loaded.count_kept(entry.file, entry.flags);
    }
    entries.into_iter().map(|entry| entry.row).collect()
}

/// Rejects every row of a small table that repeats an earlier one in all its cells.
fn drop_duplicates<T: TableRow>(loaded: &mut Loaded, table: impl Fn(&mut Loaded) -> &mut Vec<SourceRow<T>>) {
    let entries = std::mem::take(table(loaded));
    let mut seen = std::collections::HashMap::new();
    let mut kept = Vec::with_capacity(entries.len());
    for entry in entries {
        let key = format!("{:?}", entry.row.to_values());
        let first = seen.get(&key).map(|(file, line): &(usize, u64)| loaded.place_text(*file, *line));
        match first {
            Some(first) => loaded.reject(entry.file, entry.line, RowErrorKind::Duplicate.found(first), entry.text),
            None => {
                seen.insert(key, (entry.file, entry.line));
                kept.push(entry);
            }
        }
    }
    *table(loaded) = kept;
}

fn range_flags(tilt_deg: f64, temp_c: f64) -> Flags {
    let mut flags = Flags::NONE;
    if !(TILT_LOW_DEG..=TILT_HIGH_DEG).contains(&tilt_deg) {
        flags.insert(Flags::TILT_RANGE);
    }
    if !(TEMP_LOW_C..=TEMP_HIGH_C).contains(&temp_c) {
        flags.insert(Flags::TEMP_RANGE);
    }
    flags
}

fn flag_ranges(readings: &mut Readings) {
    // Nearly all rows are in range: first see whether any is not, in a loop that nothing interrupts.
    let outside = |column: &[f64], low: f64, high: f64| {
        column.iter().fold(false, |any, value| any | !(low..=high).contains(value))
    };
    if !outside(&readings.tilt_deg, TILT_LOW_DEG, TILT_HIGH_DEG) && !outside(&readings.temp_c, TEMP_LOW_C, TEMP_HIGH_C)
    {
        return;
    }
    for ((flags, tilt), temp) in readings.flags.iter_mut().zip(&readings.tilt_deg).zip(&readings.temp_c) {
        flags.insert(range_flags(*tilt, *temp));
    }
}

fn flag_unknown_probes(season: &mut Season) {
    for probe in season.readings.probe_ids.clone() {
        if season.probe(&probe).is_none() {
            let rows = season.readings.of_probe(&probe);
            for flags in season.readings.flags.iter_mut().take(rows.end).skip(rows.start) {
                flags.insert(Flags::UNKNOWN_PROBE);
            }
        }
    }
}

fn flag_unknown_batches(season: &mut Season) {
    let known: Vec<bool> = season.readings.batch_ids.iter().map(|id| season.batch(id).is_some()).collect();
    if known.iter().all(|k| *k) {
        return;
    }
    for (flags, batch) in season.readings.flags.iter_mut().zip(&season.readings.batch) {
        if batch.is_some_and(|b| known.get(b as usize) != Some(&true)) {
            flags.insert(Flags::UNKNOWN_BATCH);
        }
    }
}
