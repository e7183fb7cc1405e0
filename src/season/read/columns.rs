//! Readings taken as whole columns: the fast way for files without a single doubt.
//!
//! It takes a file only as a whole. Whatever it does not take (an empty cell that a row needs, a number that is not
//! finite, a type it does not know) goes row by row instead, where each slip gets its line and reason.

use polars::prelude::{Column, DataFrame, DataType, TimeUnit};

use crate::season::binding::{Binding, Bound, Origin};
use crate::season::flags::Flags;
use crate::season::mapping::Constant;
use crate::season::raw::{Lines, NO_BATCH, RawReadings};
use crate::season::table::FLAGS_COLUMN;
use crate::season::unit::Unit;
use crate::units::Instant;

/// Adds the rows of `frame` as those of account entry `file`, the first of them in line `first_line`, and says whether
/// it did. The frame's columns go by the names that `names` gives to the file's fields.
pub(crate) fn take_columns(
    raw: &mut RawReadings,
    frame: &DataFrame,
    binding: &Binding,
    names: &[String],
    file: usize,
    first_line: u64,
) -> bool {
    let source = Source { frame, binding, names, rows: frame.height() };
    let Some(columns) = source.columns() else { return false };
    let start = raw.len();
    raw.begin(file, Lines::From(first_line));
    source.ids("probe", &mut raw.probe, |id| id.map_or(0, |id| raw.probes.index(id)));
    source.ids("batch", &mut raw.batch, |id| id.map_or(NO_BATCH, |id| raw.batches.index(id)));
    extend(&mut raw.at, columns.at);
    extend(&mut raw.tilt_deg, columns.tilt_deg);
    extend(&mut raw.temp_c, columns.temp_c);
    extend(&mut raw.supply_v, columns.supply_v);
    extend(&mut raw.flags, columns.flags);
    raw.twice.extend(columns.twice.into_iter().map(|(row, later)| (start + row, later)));
    true
}

/// Moves a column where there is none yet, so that one large file is not copied.
fn extend<T>(column: &mut Vec<T>, more: Vec<T>) {
    if column.is_empty() { *column = more } else { column.extend(more) }
}

struct Columns {
    at: Vec<Instant>,
    tilt_deg: Vec<f64>,
    temp_c: Vec<f64>,
    supply_v: Vec<f64>,
    flags: Vec<Flags>,
    twice: Vec<(usize, Instant)>,
}

struct Source<'a> {
    frame: &'a DataFrame,
    binding: &'a Binding,
    names: &'a [String],
    rows: usize,
}

impl<'a> Source<'a> {
    /// The columns that can be refused; none when one of them is.
    fn columns(&self) -> Option<Columns> {
        let mut flags = vec![Flags::NONE; self.rows];
        let mut twice = Vec::new();
        let at = self.times(&mut flags, &mut twice)?;
        let ids_are_plain = self.texts_are_plain("probe", true) && self.texts_are_plain("batch", false);
        let flags_are_empty = match self.origin(FLAGS_COLUMN)? {
            Origin::Field(field) => self.column(*field)?.null_count() == self.rows,
            Origin::Constant(_) => false,
            Origin::Absent => true,
        };
        if !ids_are_plain || !flags_are_empty {
            return None;
        }
        let (tilt_deg, temp_c) = (self.numbers("tilt_deg")?, self.numbers("temp_c")?);
        let supply_v = self.numbers("supply_v")?;
        Some(Columns { at, tilt_deg, temp_c, supply_v, flags, twice })
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
            Origin::Absent => return Some(vec![f64::NAN; self.rows]),
            Origin::Constant(Constant::Number(number)) => vec![*number; self.rows],
            Origin::Constant(Constant::Text(_)) => return None,
            Origin::Field(field) => {
                let column = self.column(*field)?;
                if column.null_count() == self.rows && !bound.column.required {
                    return Some(vec![f64::NAN; self.rows]);
                }
                numbers_of(column)?
            }
        };
        if bound.unit != Unit::AsIs {
            for number in &mut numbers {
                *number = bound.unit.convert(*number).ok()?;
            }
        }
        let fits = |number: &f64| number.is_finite() || (!bound.column.required && number.is_nan());
        numbers.iter().all(fits).then_some(numbers)
    }

    fn times(&self, flags: &mut [Flags], twice: &mut Vec<(usize, Instant)>) -> Option<Vec<Instant>> {
        let Origin::Field(field) = self.origin("at")? else { return None };
        let column = self.column(*field)?;
        if column.null_count() > 0 {
            return None;
        }
        let times = &self.binding.mapping.times;
        match column.dtype() {
            DataType::Datetime(unit, zone) if zone.is_some() || times.zone_is_utc() => {
                let chunks = column.datetime().ok()?.physical().downcast_iter();
                let micros = chunks.flat_map(|chunk| chunk.values_iter().copied());
                Some(match unit {
                    TimeUnit::Microseconds => micros.map(Instant::from_micros).collect(),
                    TimeUnit::Milliseconds => {
                        micros.map(|ms| ms.checked_mul(1000).map(Instant::from_micros)).collect::<Option<_>>()?
                    }
                    TimeUnit::Nanoseconds => micros.map(|ns| Instant::from_micros(ns.div_euclid(1000))).collect(),
                })
            }
            DataType::String => {
                let mut instants = Vec::with_capacity(self.rows);
                for (row, text) in column.str().ok()?.iter().enumerate() {
                    let read = times.read(text?.trim())?;
                    flags.get_mut(row)?.insert(read.flags);
                    twice.extend(read.later.map(|later| (row, later)));
                    instants.push(read.at);
                }
                Some(instants)
            }
            _ => None,
        }
    }

    /// True when a column of ids holds text, with no empty one where `required`.
    fn texts_are_plain(&self, name: &str, required: bool) -> bool {
        match self.origin(name) {
            Some(Origin::Field(field)) => self.column(*field).is_some_and(|column| {
                let blank = |text: &str| text.trim().is_empty();
                match column.str() {
                    Ok(texts) if required => {
                        texts.null_count() == 0 && texts.downcast_iter().all(|chunk| !chunk.values_iter().any(blank))
                    }
                    Ok(_) => true,
                    Err(_) => !required && column.null_count() == self.rows,
                }
            }),
            Some(Origin::Constant(Constant::Text(text))) => !required || !text.trim().is_empty(),
            Some(Origin::Constant(Constant::Number(_))) => false,
            Some(Origin::Absent) | None => !required,
        }
    }

    /// Adds the indices of a column of ids that [`Source::texts_are_plain`] has passed.
    fn ids(&self, name: &str, indices: &mut Vec<u32>, mut index: impl FnMut(Option<&str>) -> u32) {
        let mut plain = |text: Option<&str>| index(text.map(str::trim).filter(|text| !text.is_empty()));
        indices.reserve(self.rows);
        match self.origin(name) {
            Some(Origin::Field(field)) => match self.column(*field).map(Column::str) {
                Some(Ok(texts)) => {
                    for chunk in texts.downcast_iter() {
                        if texts.null_count() == 0 {
                            indices.extend(chunk.values_iter().map(|text| plain(Some(text))));
                        } else {
                            indices.extend(chunk.iter().map(&mut plain));
                        }
                    }
                }
                _ => indices.extend(std::iter::repeat_n(plain(None), self.rows)),
            },
            Some(Origin::Constant(Constant::Text(text))) => {
                indices.extend(std::iter::repeat_n(plain(Some(text)), self.rows));
            }
            _ => indices.extend(std::iter::repeat_n(plain(None), self.rows)),
        }
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
