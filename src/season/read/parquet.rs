//! The reader for Parquet.

use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Arc;

use polars::prelude::{
    ArrowDataType, Column, DataFrame, DataType, Float64Chunked, Int64Chunked, ParquetReader, PolarsResult, SerReader,
    StringChunked, TimeUnit,
};

use crate::error::{Error, Place, Result};
use crate::season::names::short;
use crate::season::time::{local_text, stored_instant};
use crate::season::value::Cell;

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
    pub(crate) fn read(mut self, columns: Vec<String>) -> Result<DataFrame> {
        let schema = guarded(&self.name, || self.reader.schema())?;
        for name in &columns {
            let kind = schema.get(name).map(|field| field.dtype());
            if kind.is_some_and(|kind| !is_read(kind)) {
                let found = format!("values of another kind ({})", kind.map(|k| format!("{k:?}")).unwrap_or_default());
                let wanted = "text, whole or floating numbers, dates or timestamps";
                return Err(Error::input(Place::file(&self.name).column(name), found, wanted));
            }
        }
        guarded(&self.name, || self.reader.with_columns(Some(columns)).finish())
    }
}

/// True for the kinds of columns that polars, as it is built here, can decode.
fn is_read(kind: &ArrowDataType) -> bool {
    use ArrowDataType as Kind;
    let is_whole = matches!(kind, Kind::Int8 | Kind::Int16 | Kind::Int32 | Kind::Int64)
        || matches!(kind, Kind::UInt8 | Kind::UInt16 | Kind::UInt32 | Kind::UInt64);
    let is_text = matches!(kind, Kind::Utf8 | Kind::LargeUtf8 | Kind::Utf8View)
        || matches!(kind, Kind::Binary | Kind::LargeBinary | Kind::BinaryView);
    is_whole
        || is_text
        || matches!(
            kind,
            Kind::Float32 | Kind::Float64 | Kind::Timestamp(..) | Kind::Date32 | Kind::Boolean | Kind::Null
        )
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
            // Some writers do not mark their text as text.
            DataType::Binary => match column.cast(&DataType::String) {
                Ok(text) => Self::Text(text.str()?.clone()),
                Err(_) => Self::Odd(column.null_count()),
            },
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
                *local = micros
                    .get(row)
                    .map(|m| stored_instant(m).map(local_text).unwrap_or(m.to_string()))
                    .unwrap_or_default();
            }
        }
        let cells: Vec<Cell<'_>> = columns
            .iter()
            .zip(&locals)
            .map(|(column, local)| match column {
                Cells::Text(texts) => texts.get(row).map_or(Cell::Empty, Cell::Text),
                Cells::Number(numbers) => numbers.get(row).map_or(Cell::Empty, Cell::Number),
                Cells::Time(micros) => micros.get(row).map_or(Cell::Empty, |m| {
                    stored_instant(m).map_or(Cell::Odd("a time beyond the year 9999"), Cell::Time)
                }),
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
