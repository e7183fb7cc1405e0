//! Tidying: from rows as files hold them to a season.

mod batch_of_reading;
mod clock;
mod contradictions;
mod exchanged;
mod far_times;
mod file_order;
mod frozen;
mod ids;
mod late_pitching;
mod misdated;
mod out_of_beer;
mod raw_gravity;
mod remarks;
mod sorted_readings;
mod warm_baths;

pub(crate) use batch_of_reading::fill_batches;
pub(crate) use frozen::flag_frozen;
pub(crate) use late_pitching::move_late_pitchings;
pub(crate) use out_of_beer::{LONGEST_H, StayIndex, flag_out_of_beer};
pub(crate) use raw_gravity::UNFERMENTED_H;

use crate::error::Result;

use exchanged::restore_names;

use super::account::{Remark, RowAccount};
use super::flags::Flags;
use super::loaded::{Loaded, SourceRow};
use super::readings::{Readings, reorder};
use super::row_error::RowError;
use super::table::SeasonTable;
use super::table_rows::{Batch, Event, Reference};
use super::{Season, TEMP_HIGH_C, TEMP_LOW_C, TILT_HIGH_DEG, TILT_LOW_DEG};

/// Tidies what was loaded. Unknown probes and batches are flagged only where there is a table to know them from.
pub(crate) fn tidy(mut loaded: Loaded, has_probes: bool, has_batches: bool) -> Result<Season> {
    ids::check_unique(&loaded)?;
    far_times::set_far_times_aside(&mut loaded);
    ids::take_spellings(&mut loaded);
    warm_baths::notice(&mut loaded);
    raw_gravity::fill_gravity(&mut loaded);
    drop_duplicates(&mut loaded, |l| &mut l.references);
    drop_duplicates(&mut loaded, |l| &mut l.events);
    drop_duplicates(&mut loaded, |l| &mut l.plan);
    loaded.references.sort_by_key(|entry| entry.row.at);
    loaded.batches.sort_by(|a, b| (a.row.pitched_at, &a.row.batch).cmp(&(b.row.pitched_at, &b.row.batch)));
    loaded.probes.sort_by(|a, b| a.row.probe.cmp(&b.row.probe));
    loaded.events.sort_by_key(|entry| entry.row.at);
    loaded.plan.sort_by(|a, b| (&a.row.batch, a.row.at).cmp(&(&b.row.batch, b.row.at)));

    let (mut readings, mut places) = sorted_readings::sort_readings(&mut loaded)?;
    ids::flag_unknown(&mut loaded, &mut readings, has_probes, has_batches);
    let lines = loaded.batches.iter();
    let lines: contradictions::BatchLines =
        lines.map(|entry| (entry.row.batch.clone(), (loaded.file_name(entry.file).to_owned(), entry.line))).collect();
    let mut batches = rows(&mut loaded, |l| &mut l.batches);
    let references: Vec<Reference> = loaded.references.iter().map(|entry| entry.row.clone()).collect();
    fill_batches(&mut readings, &batches, &references);
    let late = move_late_pitchings(&readings, &mut batches);
    if !late.is_empty() {
        fill_batches(&mut readings, &batches, &references);
    }
    misdated::flag_misdated(&mut loaded, &readings, &batches);
    for entry in &mut loaded.references {
        let reference = &mut entry.row;
        let range = range_flags(reference.tilt_deg.unwrap_or(0.0), reference.temp_c.unwrap_or(0.0));
        entry.flags.insert(range.with(reference.flags));
        reference.flags = entry.flags;
    }
    let mut season = Season {
        readings,
        references: rows(&mut loaded, |l| &mut l.references),
        batches,
        probes: rows(&mut loaded, |l| &mut l.probes),
        events: rows(&mut loaded, |l| &mut l.events),
        plan: rows(&mut loaded, |l| &mut l.plan),
        account: RowAccount::default(),
    };
    let Season { readings, batches, events, references, .. } = &mut season;
    if let Some(order) = flag_readings(readings, batches, events, references) {
        reorder(&mut places, &order);
    }
    for ((file, _), flags) in places.into_iter().zip(&season.readings.flags) {
        loaded.count_kept(file as usize, *flags);
    }
    season.account = loaded.finish_account()?;
    let file = SeasonTable::Batches.name();
    season.account.remarks.extend(late.into_iter().map(|text| Remark { file: file.to_owned(), line: None, text }));
    contradictions::notice(&mut season, &lines);
    remarks::notice(&mut season, loaded.temp_column.as_deref().unwrap_or("temp_c"));
    Ok(season)
}

/// Flags what single readings show and what those around them do, once the probes that have each other's names have their own
/// again. The new order of the rows, if there is one.
pub(crate) fn flag_readings(
    readings: &mut Readings,
    batches: &[Batch],
    events: &[Event],
    references: &[Reference],
) -> Option<Vec<usize>> {
    let Readings { flags, tilt_deg, temp_c, .. } = readings;
    for ((flags, tilt), temp) in flags.iter_mut().zip(tilt_deg).zip(temp_c) {
        flags.insert(range_flags(*tilt, *temp));
    }
    let order = restore_names(readings);
    flag_out_of_beer(readings, batches, (events, references), |_| true);
    flag_frozen(readings);
    order
}

/// Takes the rows of a small table out and counts them.
fn rows<T>(loaded: &mut Loaded, table: impl Fn(&mut Loaded) -> &mut Vec<SourceRow<T>>) -> Vec<T> {
    let entries = std::mem::take(table(loaded));
    entries.iter().for_each(|entry| loaded.count_kept(entry.file, entry.flags));
    entries.into_iter().map(|entry| entry.row).collect()
}

/// Rejects every row of a small table that repeats an earlier one in all its cells.
fn drop_duplicates<T: std::fmt::Debug>(loaded: &mut Loaded, table: impl Fn(&mut Loaded) -> &mut Vec<SourceRow<T>>) {
    let entries = std::mem::take(table(loaded));
    let mut seen = std::collections::HashMap::new();
    let mut kept = Vec::with_capacity(entries.len());
    for entry in entries {
        let key = format!("{:?}", entry.row);
        let first = seen.get(&key).map(|(file, line): &(usize, u64)| loaded.place_text(*file, *line));
        match first {
            Some(first) => loaded.reject(entry.file, entry.line, RowError::duplicate(first), entry.text),
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
