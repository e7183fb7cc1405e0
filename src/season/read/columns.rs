//! Readings of a Parquet file taken as whole columns: the fast way for files without a single doubt.
//!
//! It takes a file only as a whole. Whatever it does not take (an empty cell that a row needs, a number that is not
//! finite, a time as text) goes row by row instead, where each slip gets its line and reason.

use polars::prelude::{Column, DataFrame, DataType};

use crate::season::binding::{Binding, Origin};
use crate::season::cells::is_word;
use crate::season::flags::Flags;
use crate::season::mapping::Unit;
use crate::season::raw::{Interner, RawReading, RawReadings};
use crate::season::table::FLAGS_COLUMN;
use crate::units::Instant;

use super::parquet::instant_of;

/// Adds the rows of `frame`, whose columns are the file's bound fields, as those of account entry `file`. Gives whether
/// their times had no offset, and none where it took nothing.
pub(crate) fn take_columns(raw: &mut RawReadings, frame: &DataFrame, binding: &Binding, file: usize) -> Option<bool> {
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
        (None, _) => Some(vec![f64::NAN; rows]),
    };
    let take_numbers = || Some((numbers("tilt_deg")?, numbers("temp_c")?, numbers("supply_v")?));
    let take_others = || {
        let (at, is_naive) = times_of(column("at")?.0?, binding.mapping.times.zone_is_utc())?;
        let batch = match column("batch")?.0 {
            Some(column) => ids_of(column)?,
            None => FileIds { ids: Interner::default(), of_rows: vec![None; rows] },
        };
        Some((at, is_naive, ids_of(column("probe")?.0?)?, batch))
    };
    let (numbers, others) = rayon::join(take_numbers, take_others);
    let ((tilt_deg, temp_c, supply_v), (at, is_naive, probe, batch)) = (numbers?, others?);
    let is_sound = tilt_deg.iter().chain(&temp_c).all(|number| number.is_finite())
        && supply_v.iter().all(|volts| !volts.is_infinite())
        && probe.of_rows.iter().all(Option::is_some)
        && [tilt_deg.len(), temp_c.len(), supply_v.len(), at.len()] == [rows; 4];
    if !is_sound {
        return None;
    }
    let (probe, batch) = (probe.numbered(&mut raw.probes), batch.numbered(&mut raw.batches));
    let numbers = tilt_deg.into_iter().zip(temp_c).zip(supply_v);
    let others = at.into_iter().zip(probe.into_iter().flatten()).zip(batch);
    let row = |((((tilt_deg, temp_c), supply_v), ((at, probe), batch)), line)| RawReading {
        at,
        probe,
        tilt_deg,
        temp_c,
        batch,
        supply_v,
        flags: Flags::NONE,
        file,
        line,
    };
    raw.rows.extend(numbers.zip(others).zip(1..).map(row));
    Some(is_naive)
}

/// The numbers of a column in its own unit, NaN for null; none when it holds something else.
fn numbers_of(column: &Column, unit: Unit) -> Option<Vec<f64>> {
    if !column.dtype().is_primitive_numeric() {
        return None;
    }
    let column = column.cast(&DataType::Float64).ok()?;
    let numbers = column.f64().ok()?;
    let in_unit = |number: Option<f64>| number.map_or(Some(f64::NAN), |number| unit.convert(number).ok());
    match (unit, numbers.cont_slice()) {
        (Unit::AsIs, Ok(slice)) => Some(slice.to_vec()),
        _ => numbers.iter().map(in_unit).collect(),
    }
}

/// The instants of a column of timestamps, and whether they have no zone; none when one is missing or is a local time.
fn times_of(column: &Column, naive_is_utc: bool) -> Option<(Vec<Instant>, bool)> {
    let DataType::Datetime(unit, zone) = column.dtype() else { return None };
    if zone.is_none() && !naive_is_utc {
        return None;
    }
    let stored = column.datetime().ok()?.physical();
    Some((stored.iter().map(|at| instant_of(at?, *unit)).collect::<Option<_>>()?, zone.is_none()))
}

/// Ids of one file, numbered in the order of their first appearance.
struct FileIds {
    ids: Interner,
    of_rows: Vec<Option<u32>>,
}

impl FileIds {
    /// The ids of the rows by their numbers among those of all files.
    fn numbered(self, all: &mut Interner) -> Vec<Option<u32>> {
        let numbers: Vec<u32> = self.ids.ids.iter().map(|id| all.index(id)).collect();
        self.of_rows.into_iter().map(|id| numbers.get(id? as usize).copied()).collect()
    }
}

/// The ids of a column; none when it holds something else, or an id that is not written plainly.
fn ids_of(column: &Column) -> Option<FileIds> {
    let mut ids = Interner::default();
    let of_rows = column.str().ok()?.iter().map(|id| id.map(|id| ids.index(id))).collect();
    let is_plain = |id: &String| !id.is_empty() && id.trim() == id && is_word(id);
    ids.ids.iter().all(is_plain).then_some(FileIds { ids, of_rows })
}
