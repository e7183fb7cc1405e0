//! Writing a season so that reading it again gives the same season.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use polars::prelude::ParquetWriter;

use crate::error::{Error, Result};

use super::Season;
use super::cells::CellValue;
use super::flags::Flags;
use super::frame::frame_of;
use super::readings::{Reading, Readings};
use super::table::SeasonTable;
use super::table_rows::{ReadingRow, TableRow};

/// The form of a table's file.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum FileFormat {
    /// Comma-separated text.
    #[default]
    Csv,
    /// One JSON object a line.
    Ndjson,
    /// Parquet.
    Parquet,
}

impl FileFormat {
    const fn extension(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Ndjson => "ndjson",
            Self::Parquet => "parquet",
        }
    }
}

/// Every ending that a table's file may have.
const ENDINGS: [&str; 5] = ["csv", "csv.gz", "ndjson", "ndjson.gz", "parquet"];

impl Season {
    /// Writes the season into the folder `dir`, made where it is not there, one CSV file a table.
    ///
    /// Reading it again gives the same season, its account apart: rejected rows are not written, and neither is what
    /// tidying filled in (a reading's batch, an SG computed from an uncorrected reading). Flags that only the first
    /// files could show (late rows, clock changes) go into a column `flags`. The tables without rows among events and
    /// plan are left out, and so are probes and readings when both are empty.
    ///
    /// # Errors
    /// [`Error::Io`] when the system refuses; [`Error::Usage`] when `dir` holds one of the tables in another form.
    #[doc = example!(no_run "season.write(\"my-season\")?;")]
    pub fn write(&self, dir: impl AsRef<Path>) -> Result<()> {
        self.write_as(dir, FileFormat::Csv)
    }

    /// Writes the season as [`Season::write`] does, in the given form.
    ///
    /// # Errors
    /// As [`Season::write`].
    pub fn write_as(&self, dir: impl AsRef<Path>, format: FileFormat) -> Result<()> {
        let dir = dir.as_ref();
        fs::create_dir_all(dir).map_err(|e| Error::io("making the folder", dir, e))?;
        for table in SeasonTable::ALL {
            let name = format!("{table}.{}", format.extension());
            for other in ENDINGS.map(|ending| format!("{table}.{ending}")) {
                if other != name && dir.join(&other).exists() {
                    let found = dir.join(other);
                    return Err(Error::Usage(format!(
                        "writing {name} beside {} would give the table twice",
                        found.display()
                    )));
                }
            }
            if self.is_left_out(table) {
                continue;
            }
            let path = dir.join(name);
            let out = BufWriter::new(File::create(&path).map_err(|e| Error::io("writing", &path, e))?);
            let rows = self.written_rows(table)?;
            match format {
                FileFormat::Csv => write_csv(out, table, rows).map_err(|e| Error::io("writing", &path, e))?,
                FileFormat::Ndjson => write_ndjson(out, table, rows).map_err(|e| Error::io("writing", &path, e))?,
                FileFormat::Parquet => write_parquet(out, table, rows)?,
            }
        }
        Ok(())
    }

    fn is_left_out(&self, table: SeasonTable) -> bool {
        match table {
            SeasonTable::Events => self.events.is_empty(),
            SeasonTable::Plan => self.plan.is_empty(),
            // An empty table of probes makes every probe unknown, no table makes none unknown.
            SeasonTable::Readings | SeasonTable::Probes => {
                let unknown = |r: &super::Reference| r.flags.intersects(Flags::UNKNOWN_PROBE);
                self.readings.is_empty() && self.probes.is_empty() && !self.references.iter().any(unknown)
            }
            SeasonTable::References | SeasonTable::Batches => false,
        }
    }

    fn written_rows(&self, table: SeasonTable) -> Result<Vec<Vec<CellValue>>> {
        Ok(match table {
            SeasonTable::Readings => {
                let rows = (0..self.readings.len()).map(|row| self.readings.written_row(row)).collect::<Option<_>>();
                rows.ok_or_else(|| Error::frame(table.name(), "the columns of the readings are not of one length"))?
            }
            SeasonTable::References => written(&self.references),
            SeasonTable::Batches => written(&self.batches),
            SeasonTable::Probes => written(&self.probes),
            SeasonTable::Events => written(&self.events),
            SeasonTable::Plan => written(&self.plan),
        })
    }
}

impl Readings {
    /// The cells of a row in the order of the table's columns, with the batch only where it was given.
    fn written_row(&self, row: usize) -> Option<Vec<CellValue>> {
        let (reading, given) = (self.get(row)?, *self.batch_given.get(row)?);
        let Reading { at, probe, tilt_deg, temp_c, .. } = reading;
        let written = ReadingRow {
            batch: reading.batch.filter(|_| given).map(str::to_owned),
            supply_v: self.supply_v(row),
            flags: reading.flags.of_the_file(),
            ..ReadingRow::new(at, probe, tilt_deg, temp_c)
        };
        Some(written.to_cells())
    }
}

/// The cells of rows as they are written.
fn written<T: TableRow>(rows: &[T]) -> Vec<Vec<CellValue>> {
    rows.iter().map(|row| row.written().to_cells()).collect()
}

/// The columns that hold anything, and those that every file must have.
fn used_columns(table: SeasonTable, rows: &[Vec<CellValue>]) -> Vec<usize> {
    let columns = table.columns().iter().enumerate();
    let is_used = |i: usize| rows.iter().any(|row| row.get(i).is_some_and(|v| *v != CellValue::Empty));
    // The gravity of references is no required column, as raw readings may stand for it; its name tells the table.
    columns.filter(|(i, c)| c.required || c.name == "sg" || is_used(*i)).map(|(i, _)| i).collect()
}

fn write_csv(out: impl Write, table: SeasonTable, rows: Vec<Vec<CellValue>>) -> std::io::Result<()> {
    let used = used_columns(table, &rows);
    let mut writer = csv::WriterBuilder::new().from_writer(out);
    writer.write_record(used.iter().filter_map(|i| table.columns().get(*i)).map(|c| c.name))?;
    for row in &rows {
        writer.write_record(used.iter().filter_map(|i| row.get(*i)).map(ToString::to_string))?;
    }
    writer.flush()
}

fn write_ndjson(mut out: impl Write, table: SeasonTable, rows: Vec<Vec<CellValue>>) -> std::io::Result<()> {
    for row in rows {
        let mut object = serde_json::Map::new();
        for (column, value) in table.columns().iter().zip(row) {
            match value {
                CellValue::Empty => {}
                CellValue::Number(number) => {
                    object.insert(column.name.to_owned(), number.into());
                }
                CellValue::Text(_) | CellValue::Time(_) => {
                    object.insert(column.name.to_owned(), value.to_string().into());
                }
            }
        }
        serde_json::to_writer(&mut out, &object)?;
        out.write_all(b"\n")?;
    }
    out.flush()
}

fn write_parquet(out: impl Write, table: SeasonTable, rows: Vec<Vec<CellValue>>) -> Result<()> {
    let mut frame = frame_of(table, &rows)?;
    ParquetWriter::new(out).finish(&mut frame).map(|_| ()).map_err(|e| Error::frame(table.name(), e))
}
