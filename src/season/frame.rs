//! The tables as polars frames: columns, types and order are those of the table, whatever the files held.

use polars::prelude::{Column, DataFrame, DataType, IntoColumn, NamedFrom, PolarsResult, Series, TimeUnit, TimeZone};

use crate::error::{Error, Result};
use crate::units::Instant;

use super::account::RowAccount;
use super::cells::CellValue;
use super::table::{ColumnKind, SeasonTable};

/// A frame, column by column: instants as UTC timestamps in microseconds, an absent value as null, a number that is
/// not finite too.
#[derive(Debug)]
pub(crate) struct FrameBuilder {
    table: String,
    columns: Vec<PolarsResult<Column>>,
}

impl FrameBuilder {
    /// A frame for the table of that name, for messages.
    pub fn new(table: impl Into<String>) -> Self {
        Self { table: table.into(), columns: Vec::new() }
    }

    fn add<T, I: ?Sized>(mut self, name: &str, cells: T) -> Self
    where
        Series: NamedFrom<T, I>,
    {
        self.columns.push(Ok(Series::new(name.into(), cells).into_column()));
        self
    }

    /// Adds a column of text.
    #[must_use]
    pub fn text<S: AsRef<str>>(self, name: &str, cells: impl IntoIterator<Item = Option<S>>) -> Self {
        let cells: Vec<Option<S>> = cells.into_iter().collect();
        self.add(name, cells.iter().map(|c| c.as_ref().map(AsRef::as_ref)).collect::<Vec<Option<&str>>>())
    }

    /// Adds a column of numbers.
    #[must_use]
    pub fn number(self, name: &str, cells: impl IntoIterator<Item = Option<f64>>) -> Self {
        self.add(name, cells.into_iter().map(|c| c.filter(|v| v.is_finite())).collect::<Vec<_>>())
    }

    /// Adds a column of whole numbers.
    #[must_use]
    pub fn count(self, name: &str, cells: impl IntoIterator<Item = Option<i64>>) -> Self {
        self.add(name, cells.into_iter().collect::<Vec<_>>())
    }

    /// Adds a column of truths.
    #[must_use]
    pub fn truth(self, name: &str, cells: impl IntoIterator<Item = Option<bool>>) -> Self {
        self.add(name, cells.into_iter().collect::<Vec<_>>())
    }

    /// Adds a column of instants.
    #[must_use]
    pub fn time(mut self, name: &str, cells: impl IntoIterator<Item = Option<Instant>>) -> Self {
        let micros: Vec<Option<i64>> = cells.into_iter().map(|c| c.map(Instant::micros)).collect();
        let utc = DataType::Datetime(TimeUnit::Microseconds, Some(TimeZone::UTC));
        self.columns.push(Series::new(name.into(), micros).cast(&utc).map(Series::into_column));
        self
    }

    /// Adds what stands in these cells: one column, or several beside each other.
    pub fn column<N, C: Cell<N>>(self, names: N, cells: impl IntoIterator<Item = C>) -> Self {
        C::add(self, names, &mut cells.into_iter())
    }

    /// The frame.
    ///
    /// # Errors
    /// [`Error::Frame`] when the columns differ in length or a name stands twice.
    pub fn finish(self) -> Result<DataFrame> {
        let columns = self.columns.into_iter().collect::<PolarsResult<Vec<Column>>>();
        let frame = columns.and_then(|columns| DataFrame::new(columns.first().map_or(0, Column::len), columns));
        frame.map_err(|e| Error::frame(self.table, e))
    }
}

/// What a row has in one column, named by a text, or in several.
pub(crate) trait Cell<N>: Sized {
    /// The frame with these cells. One copy for each kind of cell, not for each column of each table.
    fn add(frame: FrameBuilder, names: N, cells: &mut dyn Iterator<Item = Self>) -> FrameBuilder;
}

/// A kind of cell, and how it stands in a column.
pub(crate) trait CellKind: Sized {
    /// The frame with a column of such cells.
    fn column(frame: FrameBuilder, name: &str, cells: Vec<Option<Self>>) -> FrameBuilder;
}

impl<T: CellKind> Cell<&str> for T {
    fn add(frame: FrameBuilder, name: &str, cells: &mut dyn Iterator<Item = Self>) -> FrameBuilder {
        T::column(frame, name, cells.map(Some).collect())
    }
}

impl<T: CellKind> Cell<&str> for Option<T> {
    fn add(frame: FrameBuilder, name: &str, cells: &mut dyn Iterator<Item = Self>) -> FrameBuilder {
        T::column(frame, name, cells.collect())
    }
}

/// As many of these as there are names.
impl<T: CellKind + Copy, const N: usize, const M: usize> Cell<[&str; N]> for Option<[T; M]> {
    fn add(frame: FrameBuilder, names: [&str; N], cells: &mut dyn Iterator<Item = Self>) -> FrameBuilder {
        let cells: Vec<Self> = cells.collect();
        let column = |i: usize| cells.iter().map(|cells| cells.as_ref()?.get(i).copied()).collect();
        names.iter().enumerate().fold(frame, |frame, (i, name)| T::column(frame, name, column(i)))
    }
}

macro_rules! kinds {
    ($($kind:ty: $column:ident $(as $number:ty)?;)*) => {
        $(impl CellKind for $kind {
            fn column(frame: FrameBuilder, name: &str, cells: Vec<Option<Self>>) -> FrameBuilder {
                frame.$column(name, cells$(.into_iter().map(|cell| cell.map(|cell| cell as $number)))?)
            }
        })*
    };
}

kinds! {
    String: text;
    &String: text;
    &str: text;
    &std::borrow::Cow<'_, str>: text;
    f64: number;
    i64: count;
    usize: count as i64;
    bool: truth;
    Instant: time;
}

/// A frame of rows that are given as cells.
pub(crate) fn frame_of(table: SeasonTable, rows: &[Vec<CellValue>]) -> Result<DataFrame> {
    let mut frame = FrameBuilder::new(table.name());
    for (i, column) in table.columns().iter().enumerate() {
        let cells = rows.iter().filter_map(|row| row.get(i));
        frame = match column.kind {
            ColumnKind::Text => frame.text(column.name, cells.map(CellValue::as_text)),
            ColumnKind::Number => frame.number(column.name, cells.map(CellValue::as_number)),
            ColumnKind::Time => frame.time(column.name, cells.map(CellValue::as_time)),
        };
    }
    frame.finish()
}

tables! {
    impl RowAccount {
        /// The table `row_account`: file, table, read, kept, flagged, rejected.
        fn to_frame(self) = "row_account", |file| &self.files => {
            "file": &file.file,
            "table": &file.table,
            "read": file.read,
            "kept": file.kept,
            "flagged": file.flagged,
            "rejected": file.rejected,
        }

        /// The table `rejected`: file, line, reason, text.
        fn rejected_frame(self) = "rejected", |row| &self.rejected => {
            "file": &row.file,
            "line": row.line as i64,
            "reason": row.reason.to_string(),
            "rows": row.unlisted + 1,
            "text": &row.text,
        }
    }
}
