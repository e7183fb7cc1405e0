//! Readings of a Parquet file taken as whole columns: the fast way for rows without a single doubt.
//!
//! It takes a piece of the file only as a whole. Whatever it does not take (an empty cell that a row needs, a number that is
//! not finite, a time as text) goes row by row instead, where each slip gets its line and reason.

use polars::prelude::{Column, DataFrame, DataType, Float64Chunked};

use crate::season::binding::{Binding, Origin};
use crate::season::cells::is_word;
use crate::season::flags::Flags;
use crate::season::mapping::Unit;
use crate::season::raw::{Interner, RawReadings};
use crate::season::table::FLAGS_COLUMN;
use crate::units::Instant;

use super::parquet::instant_of;

/// Adds the rows of `frame`, whose columns are the file's bound fields, which stand after so many others in account entry
/// `file`. Gives whether their times had no offset, and none where it took nothing.
pub(crate) fn take_columns(
    raw: &mut RawReadings,
    frame: &DataFrame,
    binding: &Binding,
    (file, rows_before): (usize, usize),
) -> Option<bool> {
    let rows = frame.height();
    // The column, none where it has no value at all, and its unit.
    let column = |name: &str| {
        let bound = binding.columns.iter().find(|bound| bound.column.name == name)?;
        let column = match bound.origin {
            Origin::Field(field) => Some(frame.columns().get(field)?).filter(|column| column.null_count() < rows),
            Origin::Constant(_) => return None,
            Origin::Absent => None,
        };
        Some((column, bound.unit))
    };
    if column(FLAGS_COLUMN)?.0.is_some() {
        return None;
    }
    let numbers = |name: &str| match column(name)? {
        (Some(column), unit) => numbers_of(column, unit),
        (None, _) => Some(Float64Chunked::default()),
    };
    let take_numbers = || {
        let are = |numbers: &Float64Chunked, sound: fn(f64) -> bool| values(numbers).flatten().all(|n| sound(*n));
        let [tilt_deg, temp_c, supply_v] = [numbers("tilt_deg")?, numbers("temp_c")?, numbers("supply_v")?];
        let is_sound = are(&tilt_deg, f64::is_finite) && are(&temp_c, f64::is_finite);
        (is_sound && are(&supply_v, |volts| !volts.is_infinite())).then_some((tilt_deg, temp_c, supply_v))
    };
    let take_others = || {
        let (at, is_naive) = times_of(column("at")?.0?, binding.mapping.times.zone_is_utc())?;
        let no_batch = || Some((Interner::default(), vec![None; rows]));
        let batch = column("batch")?.0.map_or_else(no_batch, ids_of)?;
        let probe = ids_of(column("probe")?.0?).filter(|(_, of_rows)| !of_rows.contains(&None))?;
        Some((at, is_naive, probe, batch))
    };
    let (numbers, others) = rayon::join(take_numbers, take_others);
    let ((tilt_deg, temp_c, supply_v), (at, is_naive, (probes, probe), (batches, batch))) = (numbers?, others?);
    if [tilt_deg.len(), temp_c.len(), at.len(), probe.len(), batch.len()] != [rows; 5] {
        return None;
    }
    let columns = &mut raw.columns;
    raw.places.extend((1..=rows).map(|row| (file as u32, (rows_before + row) as u32)));
    let probes: Vec<u32> = probes.ids.iter().map(|id| raw.probes.index(id)).collect();
    let batches: Vec<u32> = batches.ids.iter().map(|id| raw.batches.index(id)).collect();
    columns.at.extend(at);
    columns.probe.extend(probe.iter().flatten().filter_map(|probe| probes.get(*probe as usize)));
    values(&tilt_deg).for_each(|chunk| columns.tilt_deg.extend_from_slice(chunk));
    values(&temp_c).for_each(|chunk| columns.temp_c.extend_from_slice(chunk));
    columns.batch.extend(batch.iter().map(|batch| batches.get((*batch)? as usize).copied()));
    columns.batch_given.extend(batch.iter().map(Option::is_some));
    columns.flags.resize(columns.at.len(), Flags::NONE);
    let volts: Vec<f64> = values(&supply_v).flatten().copied().collect();
    columns.add_volts(if volts.iter().all(|volts| volts.is_nan()) { &[] } else { &volts });
    Some(is_naive)
}

/// The values of a column without nulls, chunk by chunk.
fn values(column: &Float64Chunked) -> impl Iterator<Item = &[f64]> {
    column.downcast_iter().map(|chunk| chunk.values().as_slice())
}

/// The numbers of a column in its own unit, NaN for null; none when it holds something else.
fn numbers_of(column: &Column, unit: Unit) -> Option<Float64Chunked> {
    if !column.dtype().is_primitive_numeric() {
        return None;
    }
    let column = column.cast(&DataType::Float64).ok()?;
    let numbers = column.f64().ok()?;
    if unit == Unit::AsIs && numbers.null_count() == 0 {
        return Some(numbers.clone());
    }
    let in_unit = |number: Option<f64>| number.map_or(Some(f64::NAN), |number| unit.convert(number).ok());
    let numbers: Vec<f64> = numbers.iter().map(in_unit).collect::<Option<_>>()?;
    Some(Float64Chunked::from_vec("".into(), numbers))
}

/// The instants of a column of timestamps, and whether they have no zone; none when one is missing or is a local time.
fn times_of(column: &Column, naive_is_utc: bool) -> Option<(Vec<Instant>, bool)> {
    let DataType::Datetime(unit, zone) = column.dtype() else { return None };
    if zone.is_none() && !naive_is_utc {
        return None;
    }
    let mut at = Vec::with_capacity(column.len());
    for stored in column.datetime().ok()?.physical().iter() {
        at.push(instant_of(stored?, *unit)?);
    }
    Some((at, zone.is_none()))
}

/// The ids of a column and the index of each row's; none when it holds something else, or an id that is not written
/// plainly.
fn ids_of(column: &Column) -> Option<(Interner, Vec<Option<u32>>)> {
    let mut ids = Interner::default();
    let of_rows = column.str().ok()?.iter().map(|id| id.map(|id| ids.index(id))).collect();
    ids.ids.iter().all(|id| is_plain(id)).then_some((ids, of_rows))
}

/// True for an id that stands as it is.
pub(super) fn is_plain(id: &str) -> bool {
    !id.is_empty() && id.trim() == id && is_word(id)
}
