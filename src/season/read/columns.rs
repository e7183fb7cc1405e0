//! Readings taken as whole columns: the fast way for files without a single doubt.
//!
//! It takes a file only as a whole. Whatever it does not take (an empty cell that a row needs, a number that is not
//! finite, a type it does not know) goes row by row instead, where each slip gets its line and reason.

use polars::prelude::{Column, DataFrame, DataType};

use crate::season::binding::{Binding, Bound, Origin};
use crate::season::flags::Flags;
use crate::season::mapping::Constant;
use crate::season::raw::{Interner, RawReadings, RowLines};
use crate::season::table::FLAGS_COLUMN;
use crate::season::unit::Unit;
use crate::units::Instant;

use super::parquet::instant_of;

/// From this many rows on the columns are taken by two threads.
const TWO_THREADS_ROWS: usize = 200_000;

/// Adds the rows of `frame` as those of account entry `file`, the first of them in line `first_line`; none when
/// it did not. The frame's columns go by the names that `names` gives to the file's fields.
pub(crate) fn take_columns(
    raw: &mut RawReadings,
    frame: &DataFrame,
    binding: &Binding,
    names: &[String],
    file: usize,
    first_line: u64,
) -> Option<TakenColumns> {
    let source = FrameSource { frame, binding, names, rows: frame.height() };
    let columns = source.columns()?;
    let lengths = [columns.at.len(), columns.tilt_deg.len(), columns.temp_c.len(), columns.flags.len()];
    let of_ids = [columns.probe.of_rows.len(), columns.batch.of_rows.len()];
    let of_volts = columns.supply_v.as_ref().map_or(source.rows, Vec::len);
    if lengths.iter().chain(&of_ids).chain([&of_volts]).any(|length| *length != source.rows) {
        return None;
    }
    let (probe, batch) = (columns.probe.numbered(&mut raw.probes)?, columns.batch.numbered(&mut raw.batches)?);
    let start = raw.len();
    raw.begin(file, RowLines::From(first_line));
    if let Some(supply_v) = columns.supply_v {
        raw.supply_v.resize(start, f64::NAN);
        extend(&mut raw.supply_v, supply_v);
    }
    extend(&mut raw.probe, probe);
    extend(&mut raw.batch, batch);
    extend(&mut raw.at, columns.at);
    extend(&mut raw.tilt_deg, columns.tilt_deg);
    extend(&mut raw.temp_c, columns.temp_c);
    extend(&mut raw.flags, columns.flags);
    raw.twice.extend(columns.twice.into_iter().map(|(row, later)| (start + row, later)));
    Some(TakenColumns { saw_local_time: columns.saw_local_time })
}

/// What there is to say of a file that was taken.
pub(crate) struct TakenColumns {
    /// True when a time had no offset.
    pub(crate) saw_local_time: bool,
}

/// Moves a column where there is none yet, so that one large file is not copied.
fn extend<T>(column: &mut Vec<T>, more: Vec<T>) {
    if column.is_empty() { *column = more } else { column.extend(more) }
}

struct ReadingColumns {
    probe: Ids<u32>,
    batch: Ids<Option<u32>>,
    at: Vec<Instant>,
    tilt_deg: Vec<f64>,
    temp_c: Vec<f64>,
    supply_v: Option<Vec<f64>>,
    flags: Vec<Flags>,
    twice: Vec<(usize, Instant)>,
    saw_local_time: bool,
}

struct FrameSource<'a> {
    frame: &'a DataFrame,
    binding: &'a Binding,
    names: &'a [String],
    rows: usize,
}

impl<'a> FrameSource<'a> {
    /// The columns; none when one of them is refused.
    fn columns(&self) -> Option<ReadingColumns> {
        let flags_are_empty = match self.origin(FLAGS_COLUMN)? {
            Origin::Field(field) => self.column(*field)?.null_count() == self.rows,
            Origin::Constant(_) => false,
            Origin::Absent => true,
        };
        if !flags_are_empty {
            return None;
        }
        let numbers = || {
            let (tilt_deg, temp_c) = (self.numbers("tilt_deg")?, self.numbers("temp_c")?);
            let supply_v = if self.is_empty("supply_v") { None } else { Some(self.numbers("supply_v")?) };
            Some((tilt_deg, temp_c, supply_v))
        };
        let mut flags = vec![Flags::NONE; self.rows];
        let mut twice = Vec::new();
        let mut saw_local_time = false;
        let mut others = || {
            let at = self.times(&mut flags, &mut twice, &mut saw_local_time)?;
            let probe = self.ids("probe", |id| id)?;
            let batch = if self.is_empty("batch") {
                Ids { ids: Interner::default(), of_rows: vec![None; self.rows] }
            } else {
                self.ids("batch", Some)?
            };
            Some((at, probe, batch))
        };
        let (numbers, others) = std::thread::scope(|scope| {
            let spawned = (self.rows >= TWO_THREADS_ROWS)
                .then(|| std::thread::Builder::new().spawn_scoped(scope, numbers).ok())
                .flatten();
            let others = others();
            (spawned.map_or_else(numbers, |thread| thread.join().ok().flatten()), others)
        });
        let ((tilt_deg, temp_c, supply_v), (at, probe, batch)) = (numbers?, others?);
        Some(ReadingColumns { probe, batch, at, tilt_deg, temp_c, supply_v, flags, twice, saw_local_time })
    }

    /// True for a column without a single value.
    fn is_empty(&self, name: &str) -> bool {
        match self.origin(name) {
            Some(Origin::Field(field)) => self.column(*field).is_some_and(|c| c.null_count() == self.rows),
            Some(Origin::Constant(_)) => false,
            Some(Origin::Absent) | None => true,
        }
    }

    fn bound(&self, name: &str) -> Option<&'a Bound> {
        self.binding.columns.iter().find(|b| b.column.name == name)
    }

    fn origin(&self, name: &str) -> Option<&'a Origin> {
        self.bound(name).map(|b| &b.origin)
    }

    fn column(&self, field: usize) -> Option<&'a Column> {
        self.frame.column(self.names.get(field)?).ok()
    }

    /// A column of numbers in its own unit, NaN where an optional one has none.
    fn numbers(&self, name: &str) -> Option<Vec<f64>> {
        let bound = self.bound(name)?;
        let mut numbers = match &bound.origin {
            Origin::Absent => return None,
            Origin::Constant(Constant::Number(number)) => vec![*number; self.rows],
            Origin::Constant(Constant::Text(_)) => return None,
            Origin::Field(field) => numbers_of(self.column(*field)?)?,
        };
        if bound.unit != Unit::AsIs {
            for number in &mut numbers {
                *number = bound.unit.convert(*number).ok()?;
            }
        }
        let fits = |number: &f64| number.is_finite() || (!bound.column.required && number.is_nan());
        numbers.iter().all(fits).then_some(numbers)
    }

    fn times(
        &self,
        flags: &mut [Flags],
        twice: &mut Vec<(usize, Instant)>,
        saw_local_time: &mut bool,
    ) -> Option<Vec<Instant>> {
        let Origin::Field(field) = self.origin("at")? else { return None };
        let column = self.column(*field)?;
        if column.null_count() > 0 {
            return None;
        }
        if self.rows == 0 {
            return Some(Vec::new());
        }
        let times = &self.binding.mapping.times;
        match column.dtype() {
            DataType::Datetime(unit, zone) if zone.is_some() || times.zone_is_utc() => {
                *saw_local_time |= zone.is_none();
                let mut instants = Vec::with_capacity(self.rows);
                for chunk in column.datetime().ok()?.physical().downcast_iter() {
                    for stored in chunk.values_iter() {
                        instants.push(instant_of(*stored, *unit)?);
                    }
                }
                Some(instants)
            }
            DataType::String => {
                let mut instants = Vec::with_capacity(self.rows);
                for (row, text) in column.str().ok()?.iter().enumerate() {
                    let read = times.read(text?.trim())?;
                    flags.get_mut(row)?.insert(read.flags);
                    twice.extend(read.later.map(|later| (row, later)));
                    *saw_local_time |= read.is_local;
                    instants.push(read.at);
                }
                Some(instants)
            }
            _ => None,
        }
    }

    /// The ids of a column; none when it holds something else, or an empty cell that `T` cannot hold.
    fn ids<T: OptionalId>(&self, name: &str, some: impl Fn(u32) -> T) -> Option<Ids<T>> {
        let mut ids = Interner::default();
        let mut index = |text: &str| match text.trim() {
            "" => T::NONE,
            id if id.contains('\0') => None,
            id => Some(some(ids.index(id))),
        };
        let of_rows = match self.origin(name)? {
            Origin::Field(field) => {
                let texts = self.column(*field)?.str().ok()?;
                let mut of_rows = Vec::with_capacity(self.rows);
                for chunk in texts.downcast_iter() {
                    // Logs repeat one id for long stretches, and equal views of one chunk are equal texts.
                    let (mut last, mut last_index) = (None, T::NONE);
                    for (row, view) in chunk.views().iter().enumerate() {
                        let bits = (view.length, view.prefix, view.buffer_idx, view.offset);
                        if texts.null_count() > 0 && chunk.get(row).is_none() {
                            of_rows.push(T::NONE?);
                            continue;
                        }
                        if last != Some(bits) {
                            last = Some(bits);
                            last_index = index(chunk.get(row)?);
                        }
                        of_rows.push(last_index?);
                    }
                }
                of_rows
            }
            Origin::Constant(Constant::Text(text)) => vec![index(text)?; self.rows],
            Origin::Constant(Constant::Number(_)) => return None,
            Origin::Absent => vec![T::NONE?; self.rows],
        };
        Some(Ids { ids, of_rows })
    }
}

/// What stands in a column of ids: an index that every row has, or one that it may have.
trait OptionalId: Copy {
    /// What an empty cell becomes; none when no cell may be empty.
    const NONE: Option<Self>;

    /// The same id by the numbers that all files have in common.
    fn numbered(self, numbers: &[u32]) -> Option<Self>;
}

impl OptionalId for u32 {
    const NONE: Option<Self> = None;

    fn numbered(self, numbers: &[u32]) -> Option<Self> {
        numbers.get(self as usize).copied()
    }
}

impl OptionalId for Option<u32> {
    const NONE: Option<Self> = Some(None);

    fn numbered(self, numbers: &[u32]) -> Option<Self> {
        match self {
            Some(id) => id.numbered(numbers).map(Some),
            None => Some(None),
        }
    }
}

/// Ids of one file, numbered in the order of their first appearance.
struct Ids<T> {
    ids: Interner,
    of_rows: Vec<T>,
}

impl<T: OptionalId> Ids<T> {
    /// The ids of the rows, numbered as `all` files have them.
    fn numbered(self, all: &mut Interner) -> Option<Vec<T>> {
        let numbers: Vec<u32> = self.ids.ids().iter().map(|id| all.index(id)).collect();
        if numbers.iter().zip(0..).all(|(number, i)| *number == i) {
            return Some(self.of_rows);
        }
        self.of_rows.into_iter().map(|id| id.numbered(&numbers)).collect()
    }
}

/// The numbers of a column, NaN for null; none when it holds something else.
fn numbers_of(column: &Column) -> Option<Vec<f64>> {
    let cast;
    let numbers = match column.dtype() {
        DataType::Float64 => column.f64().ok()?,
        kind if kind.is_primitive_numeric() => {
            cast = column.cast(&DataType::Float64).ok()?;
            cast.f64().ok()?
        }
        _ => return None,
    };
    let mut out = Vec::with_capacity(numbers.len());
    for chunk in numbers.downcast_iter() {
        if numbers.null_count() == 0 {
            out.extend_from_slice(chunk.values());
        } else {
            out.extend(chunk.iter().map(|number| number.copied().unwrap_or(f64::NAN)));
        }
    }
    Some(out)
}
