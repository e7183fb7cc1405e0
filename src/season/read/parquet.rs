//! The reader for Parquet. Where a broken file makes polars panic, the file is refused, and no text of the panic is printed.

use std::cell::Cell;
use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Once};

use polars::prelude::{
    AnyValue, ArrowDataType, Column, DataFrame, DataType, FileMetadata, ParquetReader, PolarsResult, SerReader, Series,
    TimeUnit,
};

use rayon::prelude::{IntoParallelRefIterator, ParallelIterator};

use crate::error::{Error, Place, Result};
use crate::season::cells::SourceCell;
use crate::season::names::short;
use crate::season::time::{local_text, stored_instant};
use crate::units::Instant;

use super::bytes::open;
use super::parquet_sizes::{check_footer, check_pages};
use super::{KEPT_TEXT, RawRow};

const MICROS_PER_DAY: i64 = 86_400_000_000;

/// Rows that are decoded together, at least.
const PIECE_ROWS: usize = 1 << 18;

/// A Parquet file whose columns are known and not yet read.
pub(crate) struct Parquet {
    metadata: Arc<FileMetadata>,
    bytes: Vec<u8>,
    name: String,
    /// The column names.
    pub(crate) header: Vec<String>,
}

impl Parquet {
    /// Reads the bytes and the columns' names. The bytes are read at once, as a mapped file that is written while it is
    /// read would end the program.
    ///
    /// # Errors
    /// [`Error::Input`] when the footer cannot be read or contradicts itself; [`Error::Io`] when the system refuses.
    pub(crate) fn open(path: &Path, name: &str) -> Result<Self> {
        let mut bytes = Vec::new();
        open(path, name)?.read_to_end(&mut bytes).map_err(|e| Error::io("reading", path, e))?;
        let mut reader = ParquetReader::new(Cursor::new(&bytes));
        let mut metadata = guarded(name, || Ok((**reader.get_metadata()?).clone()))?;
        guarded(name, || Ok(check_footer(&metadata, &bytes)))?.map_err(|found| broken(name, found))?;
        // The writer's own types (categories, named zones) need parts of polars that are not built; the plain Parquet
        // types hold the same values.
        metadata.key_value_metadata = None;
        let (metadata, name) = (Arc::new(metadata), name.to_owned());
        let mut parquet = Self { metadata, bytes, name, header: Vec::new() };
        let schema = guarded(&parquet.name, || parquet.reader().schema())?;
        parquet.header = schema.iter_names().map(ToString::to_string).collect();
        Ok(parquet)
    }

    fn reader(&self) -> ParquetReader<Cursor<&Vec<u8>>> {
        let mut reader = ParquetReader::new(Cursor::new(&self.bytes));
        reader.set_metadata(self.metadata.clone());
        reader
    }

    /// Gives the rows to `each`, some row groups at a time: the rows before, and the columns of those names, each with as
    /// many values as the footer states rows.
    ///
    /// # Errors
    /// [`Error::Input`] when a column is of a kind that is not read, or its pages are broken; what `each` gives.
    pub(crate) fn each_piece(
        &self,
        columns: &[String],
        mut each: impl FnMut(usize, &DataFrame) -> Result<()> + Send,
    ) -> Result<()> {
        let Self { metadata, bytes, name, .. } = self;
        let schema = guarded(name, || self.reader().schema())?;
        for column in columns {
            if let Some(kind) = schema.get(column).map(|field| field.dtype()).filter(|kind| !is_read(kind)) {
                let wanted = "text, whole or floating numbers, dates or timestamps";
                let place = Place::file(name).column(column);
                return Err(Error::input(place, format!("values of another kind ({kind:?})"), wanted));
            }
        }
        guarded(name, || Ok(check_pages(metadata, bytes, columns)))?.map_err(|found| broken(name, found))?;
        let mut pieces: Vec<(usize, usize)> = Vec::new();
        for group in metadata.row_groups.iter().map(|group| group.num_rows()) {
            match pieces.last_mut().filter(|(_, rows)| *rows < PIECE_ROWS) {
                Some((_, rows)) => *rows += group,
                None => pieces.push((pieces.last().map_or(0, |(before, rows)| before + rows), group)),
            }
        }
        let decode = |pieces: &[(usize, usize)]| -> Vec<(usize, Result<DataFrame>)> {
            pieces.par_iter().map(|(before, rows)| (*before, self.piece(columns, *before, *rows))).collect()
        };
        let mut side_by_side = pieces.chunks(rayon::current_num_threads());
        let mut decoded = decode(side_by_side.next().unwrap_or_default());
        while !decoded.is_empty() {
            let take = || decoded.drain(..).try_for_each(|(before, frame)| each(before, &frame?));
            let (taken, next) = rayon::join(take, || decode(side_by_side.next().unwrap_or_default()));
            taken?;
            decoded = next;
        }
        Ok(())
    }

    fn piece(&self, columns: &[String], before: usize, rows: usize) -> Result<DataFrame> {
        let name = &self.name;
        let reader = self.reader().with_columns(Some(columns.to_vec())).with_slice(Some((before, rows)));
        let frame = guarded(name, || reader.finish())?;
        for column in frame.columns() {
            if column.len() != rows || frame.height() != rows {
                let (column, values) = (column.name(), column.len());
                return Err(broken(name, format!("{values} values in column `{column}`, in {rows} rows of the file")));
            }
        }
        Ok(frame)
    }
}

/// The refusal of a file that is not as its own footer says.
fn broken(name: &str, found: String) -> Error {
    Error::input(Place::file(name), found, "a whole Parquet file")
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

/// A stored time in microseconds; none when that is no time that can be stored.
pub(super) fn instant_of(stored: i64, unit: TimeUnit) -> Option<Instant> {
    stored_instant(match unit {
        TimeUnit::Nanoseconds => stored.div_euclid(1000),
        TimeUnit::Microseconds => stored,
        TimeUnit::Milliseconds => stored.checked_mul(1000)?,
    })
}

/// The text of a value that is a time in no zone: a date, or a timestamp unless that is UTC.
fn local_of(value: &AnyValue<'_>, is_date: bool, naive_is_utc: bool) -> Option<String> {
    let at = match value {
        AnyValue::Int32(days) if is_date => stored_instant(i64::from(*days).saturating_mul(MICROS_PER_DAY)),
        AnyValue::Datetime(stored, unit, None) if !naive_is_utc => instant_of(*stored, *unit),
        _ => None,
    };
    at.map(local_text)
}

/// The cell of a value; of one in no zone, of its text.
fn cell_of<'a>(value: &'a AnyValue<'_>, local: Option<&'a String>, is_date: bool) -> SourceCell<'a> {
    const BEYOND: SourceCell<'static> = SourceCell::Odd("a time beyond the year 9999");
    match (local, value) {
        (Some(text), _) => SourceCell::Text(text),
        (_, AnyValue::Null) => SourceCell::Empty,
        (_, AnyValue::String(text)) => SourceCell::Text(text),
        // Some writers do not mark their text as text.
        (_, AnyValue::Binary(bytes)) => {
            std::str::from_utf8(bytes).map_or(SourceCell::Odd("bytes that are no text"), SourceCell::Text)
        }
        (_, AnyValue::Int32(_)) if is_date => BEYOND,
        (_, AnyValue::Datetime(stored, unit, _)) => instant_of(*stored, *unit).map_or(BEYOND, SourceCell::Time),
        (_, AnyValue::Boolean(_)) => SourceCell::Odd("true or false"),
        (_, other) => other.extract::<f64>().map_or(SourceCell::Odd("a list or another type"), SourceCell::Number),
    }
}

/// Gives every row of `frame` to `each`, numbered from 1 after the rows before.
///
/// # Errors
/// [`Error::Input`] when a column has no value in a row.
pub(crate) fn each_row(
    frame: &DataFrame,
    before: usize,
    name: &str,
    naive_is_utc: bool,
    each: &mut dyn FnMut(RawRow<'_>),
) -> Result<()> {
    let columns = guarded(name, || {
        // One chunk a column, so that a cell is found at once.
        let mut frame = frame.clone();
        frame.rechunk_mut();
        // A column of one row is no series by itself, and its values are of other kinds.
        let days = |column: &Column| match column.dtype() {
            DataType::Date => Ok((column.as_materialized_series().cast(&DataType::Int32)?, true)),
            _ => Ok((column.as_materialized_series().clone(), false)),
        };
        frame.columns().iter().map(days).collect()
    })?;
    let columns: Vec<(Series, bool)> = columns;
    for row in 0..frame.height() {
        let values = guarded(name, || columns.iter().map(|(column, _)| column.get(row)).collect())?;
        let values: Vec<AnyValue<'_>> = values;
        let dated = || values.iter().zip(columns.iter().map(|(_, is_date)| *is_date));
        let locals: Vec<_> = dated().map(|(value, is_date)| local_of(value, is_date, naive_is_utc)).collect();
        let cells = dated().zip(&locals).map(|((value, is_date), local)| cell_of(value, local.as_ref(), is_date));
        let cells: Vec<SourceCell<'_>> = cells.collect();
        let text = || {
            let shown: Vec<String> = cells.iter().map(ToString::to_string).collect();
            short(&shown.join(","), KEPT_TEXT)
        };
        each(RawRow { line: (before + row) as u64 + 1, cells: Ok(&cells), text: &text });
    }
    Ok(())
}

/// How many files are being decoded.
static DECODING: AtomicUsize = AtomicUsize::new(0);

thread_local! {
    /// True while this thread decodes.
    static DECODES: Cell<bool> = const { Cell::new(false) };
}

/// What polars makes of the file `name`, where a broken file may also make it panic.
///
/// # Errors
/// [`Error::Input`] when polars refuses or panics.
fn guarded<T>(name: &str, read: impl FnOnce() -> PolarsResult<T>) -> Result<T> {
    let refused = |why: String| Error::input(Place::file(name), why, "a whole Parquet file");
    match silently(read) {
        Some(Ok(value)) => Ok(value),
        Some(Err(e)) => Err(refused(format!("Parquet that cannot be read ({e})"))),
        None => Err(refused("Parquet that cannot be decoded".to_owned())),
    }
}

/// What `read` gives; none when it panics, here or in a thread of polars, without a word of it.
fn silently<T>(read: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |info| {
            let thread = std::thread::current();
            let is_of_polars = thread.name().is_some_and(|name| name.starts_with("polars"));
            let is_decoding = DECODES.get() || (is_of_polars && DECODING.load(Ordering::SeqCst) > 0);
            if !is_decoding {
                before(info);
            }
        }));
    });
    DECODING.fetch_add(1, Ordering::SeqCst);
    let was = DECODES.replace(true);
    let outcome = catch_unwind(AssertUnwindSafe(read));
    DECODES.set(was);
    DECODING.fetch_sub(1, Ordering::SeqCst);
    outcome.ok()
}
