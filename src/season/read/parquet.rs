//! The reader for Parquet.

use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Arc;

use polars::prelude::{
    Column, DataFrame, DataType, Float64Chunked, Int64Chunked, ParquetReader, PolarsResult, SerReader, StringChunked,
    TimeUnit,
};

use crate::error::{Error, Place, Result};
use crate::season::names::short;
use crate::season::time::local_text;
use crate::season::value::Cell;
use crate::units::Instant;

use super::{KEPT_TEXT, RawRow};

/// A Parquet file whose columns are known and not yet read.
pub(crate) struct Parquet {
    reader: ParquetReader<File>,
    name: String,
    header: Vec<String>,
}

impl Parquet {
    /// Reads the columns' names.
    pub(crate) fn open(path: &Path, name: &str) -> Result<Self> {
        let file = File::open(path).map_err(|e| Error::io("reading", path, e))?;
        guarded(name, || {
            let mut reader = ParquetReader::new(file);
            let mut metadata = (**reader.get_metadata()?).clone();
            // The writer's own types (categories, named zones) need parts of polars that are not built; the plain
            // Parquet types hold the same values.
            metadata.key_value_metadata = None;
            reader.set_metadata(Arc::new(metadata));
            let header = reader.schema()?.iter_names().map(ToString::to_string).collect();
            Ok(Self { reader, name: name.to_owned(), header })
        })
    }

    /// The column names.
    pub(crate) fn header(&self) -> &[String] {
        &self.header
    }

    /// The columns of those names.
    pub(crate) fn read(self, columns: Vec<String>) -> Result<DataFrame> {
        guarded(&self.name, || self.reader.with_columns(Some(columns)).finish())
    }
}

/// What polars makes of a file, where a broken file may also make it panic.
fn guarded<T>(name: &str, read: impl FnOnce() -> PolarsResult<T>) -> Result<T> {
    let refused = |why: String| Error::input(Place::file(name), why, "a whole Parquet file");
    match catch_unwind(AssertUnwindSafe(read)) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(e)) => Err(refused(format!("Parquet that cannot be read ({e})"))),
        Err(_) => Err(refused("Parquet that cannot be decoded".to_owned())),
    }
}

/// The cells of one column.
enum Cells {
    Text(StringChunked),
    Number(Float64Chunked),
    Time(Int64Chunked),
    Local(Int64Chunked),
    Odd(usize),
}

impl Cells {
    /// `naive_is_utc`: a timestamp without a zone is UTC, else it is a local time.
    fn new(column: &Column, naive_is_utc: bool) -> PolarsResult<Self> {
        Ok(match column.dtype() {
            DataType::String => Self::Text(column.str()?.clone()),
            DataType::Datetime(_, zone) => {
                let zone = zone.is_some();
                let micros = column.cast(&DataType::Datetime(TimeUnit::Microseconds, None))?.cast(&DataType::Int64)?;
                let micros = micros.i64()?.clone();
                if zone || naive_is_utc { Self::Time(micros) } else { Self::Local(micros) }
            }
            DataType::Date => {
                let days = column.cast(&DataType::Int32)?.cast(&DataType::Int64)?;
                Self::Local(days.i64()?.clone() * 86_400_000_000_i64)
            }
            kind if kind.is_primitive_numeric() => Self::Number(column.cast(&DataType::Float64)?.f64()?.clone()),
            _ => Self::Odd(column.null_count()),
        })
    }
}

/// Gives every row of `frame` to `each`, numbered from 1.
pub(crate) fn each_row(
    frame: &DataFrame,
    name: &str,
    naive_is_utc: bool,
    each: &mut dyn FnMut(RawRow<'_>),
) -> Result<()> {
    let mut frame = frame.clone();
    // One chunk a column, so that a cell is found at once.
    frame.rechunk_mut();
    let columns = frame.columns().iter().map(|c| Cells::new(c, naive_is_utc)).collect::<PolarsResult<Vec<_>>>();
    let columns = columns.map_err(|e| Error::frame(name, e))?;
    let mut locals: Vec<String> = vec![String::new(); columns.len()];
    for row in 0..frame.height() {
        for (column, local) in columns.iter().zip(&mut locals) {
            if let Cells::Local(micros) = column {
                *local = micros.get(row).map(|m| local_text(Instant::from_micros(m))).unwrap_or_default();
            }
        }
        let cells: Vec<Cell<'_>> = columns
            .iter()
            .zip(&locals)
            .map(|(column, local)| match column {
                Cells::Text(texts) => texts.get(row).map_or(Cell::Empty, Cell::Text),
                Cells::Number(numbers) => numbers.get(row).map_or(Cell::Empty, Cell::Number),
                Cells::Time(micros) => micros.get(row).map_or(Cell::Empty, |m| Cell::Time(Instant::from_micros(m))),
                Cells::Local(_) if local.is_empty() => Cell::Empty,
                Cells::Local(_) => Cell::Text(local),
                Cells::Odd(nulls) if *nulls == frame.height() => Cell::Empty,
                Cells::Odd(_) => Cell::Odd("a list or another type"),
            })
            .collect();
        let text = || {
            let shown: Vec<String> = cells.iter().map(ToString::to_string).collect();
            short(&shown.join(","), KEPT_TEXT)
        };
        each(RawRow { line: row as u64 + 1, cells: Ok(&cells), text: &text });
    }
    Ok(())
}
