//! The tables as polars frames: columns, types and order are those of the table, whatever the files held.

use polars::prelude::{Column, DataFrame, DataType, IntoColumn, NamedFrom, PolarsResult, Series, TimeUnit, TimeZone};

use crate::error::{Error, Result};
use crate::units::Instant;

use super::account::RowAccount;
use super::cells::CellValue;
use super::readings::Readings;
use super::table::{ColumnKind, SeasonTable};
use super::table_rows::TableRow;
use super::{Season, table};

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
        C::add(self, names, cells.into_iter())
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
    /// The frame with these cells.
    fn add(frame: FrameBuilder, names: N, cells: impl Iterator<Item = Self>) -> FrameBuilder;
}

/// A kind of cell, and how it stands in a column.
pub(crate) trait CellKind: Sized {
    /// The frame with a column of such cells.
    fn column(frame: FrameBuilder, name: &str, cells: Vec<Option<Self>>) -> FrameBuilder;
}

impl<T: CellKind> Cell<&str> for T {
    fn add(frame: FrameBuilder, name: &str, cells: impl Iterator<Item = Self>) -> FrameBuilder {
        T::column(frame, name, cells.map(Some).collect())
    }
}

impl<T: CellKind> Cell<&str> for Option<T> {
    fn add(frame: FrameBuilder, name: &str, cells: impl Iterator<Item = Self>) -> FrameBuilder {
        T::column(frame, name, cells.collect())
    }
}

/// As many of these as there are names.
impl<T: CellKind + Copy, const N: usize, const M: usize> Cell<[&str; N]> for Option<[T; M]> {
    fn add(frame: FrameBuilder, names: [&str; N], cells: impl Iterator<Item = Self>) -> FrameBuilder {
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

impl Season {
    /// A table as a frame. Unlike the files, it shows what tidying found: the batch of each reading, the SG of each
    /// reference, all flags.
    ///
    /// # Errors
    /// [`Error::Frame`] when polars refuses.
    #[doc = example!(season "let table = season.frame(heelwort::season::SeasonTable::Batches)?;")]
    pub fn frame(&self, table: SeasonTable) -> Result<DataFrame> {
        match table {
            SeasonTable::Readings => self.readings.to_frame(),
            SeasonTable::References => frame_of(table, &cells_of(&self.references)),
            SeasonTable::Batches => frame_of(table, &cells_of(&self.batches)),
            SeasonTable::Probes => frame_of(table, &cells_of(&self.probes)),
            SeasonTable::Events => frame_of(table, &cells_of(&self.events)),
            SeasonTable::Plan => frame_of(table, &cells_of(&self.plan)),
        }
    }
}

/// The cells of rows.
fn cells_of<T: TableRow>(rows: &[T]) -> Vec<Vec<CellValue>> {
    rows.iter().map(TableRow::to_cells).collect()
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

impl Readings {
    /// The readings as a frame, sorted by probe and time: at, probe, tilt_deg, temp_c, batch (as given or found),
    /// supply_v, flags.
    ///
    /// # Errors
    /// [`Error::Frame`] when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        FrameBuilder::new(SeasonTable::Readings.name())
            .time("at", self.at.iter().copied().map(Some))
            .text("probe", self.probe.iter().map(|p| self.probe_ids.get(*p as usize)))
            .number("tilt_deg", self.tilt_deg.iter().copied().map(Some))
            .number("temp_c", self.temp_c.iter().copied().map(Some))
            .text("batch", self.batch.iter().map(|b| b.and_then(|b| self.batch_ids.get(b as usize))))
            .number("supply_v", (0..self.len()).map(|row| self.supply_v(row)))
            .text(
                table::FLAGS_COLUMN,
                self.flags.iter().map(|f| Some(*f).filter(|f| !f.is_empty()).map(|f| f.to_string())),
            )
            .finish()
    }
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
