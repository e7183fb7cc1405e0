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

    /// Adds a column for each of `names`, as far as they go, of what stands at its place in the rows.
    #[must_use]
    pub fn numbers<const N: usize>(self, names: &[&str], rows: impl Iterator<Item = Option<[f64; N]>>) -> Self {
        let rows: Vec<Option<[f64; N]>> = rows.collect();
        let column = |i: usize| rows.iter().map(move |row| row.as_ref()?.get(i).copied());
        names.iter().enumerate().fold(self, |frame, (i, name)| frame.number(name, column(i)))
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

impl RowAccount {
    /// The table `row_account`: file, table, read, kept, flagged, rejected.
    ///
    /// # Errors
    /// [`Error::Frame`] when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        let count = |of: fn(&super::FileAccount) -> usize| self.files.iter().map(move |f| Some(of(f) as i64));
        FrameBuilder::new("row_account")
            .text("file", self.files.iter().map(|f| Some(&f.file)))
            .text("table", self.files.iter().map(|f| Some(&f.table)))
            .count("read", count(|f| f.read))
            .count("kept", count(|f| f.kept))
            .count("flagged", count(|f| f.flagged))
            .count("rejected", count(|f| f.rejected))
            .finish()
    }

    /// The table `rejected`: file, line, reason, text.
    ///
    /// # Errors
    /// [`Error::Frame`] when polars refuses.
    pub fn rejected_frame(&self) -> Result<DataFrame> {
        FrameBuilder::new("rejected")
            .text("file", self.rejected.iter().map(|r| Some(&r.file)))
            .count("line", self.rejected.iter().map(|r| Some(r.line as i64)))
            .text("reason", self.rejected.iter().map(|r| Some(r.reason.to_string())))
            .count("rows", self.rejected.iter().map(|r| Some(r.unlisted as i64 + 1)))
            .text("text", self.rejected.iter().map(|r| Some(&r.text)))
            .finish()
    }
}
