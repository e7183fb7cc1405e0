//! Loading: every file read, every row accounted for.

use std::path::Path;

use crate::error::{Error, Place, Result};

use super::account::Remark;
use super::binding::{Binding, Converted};
use super::cells::CellValue;
use super::flags::Flags;
use super::loaded::{Loaded, SourceRow};
use super::names::{list, short};
use super::raw::RawReading;
use super::read::{self, Delimited, Parquet, RawRow};
use super::row_error::{QUOTED, RowError};
use super::source_files::{Discovered, SourceFile, Storage, discover};
use super::table::SeasonTable;
use super::table_rows::{ReadingRow, TableRow};
use super::{Season, tidy};

/// What 0.97 to 1.2 degrees Plato are in SG: gravities that were SG before.
const ALSO_SG: std::ops::RangeInclusive<f64> = 1.0037..=1.0047;

impl Season {
    /// Reads the season at `path`: a folder, or a single file of one table.
    ///
    /// Every row of every file is kept, kept with flags, or rejected; [`Season::account`] says which and why.
    ///
    /// # Errors
    /// [`Error::Input`] when a file is no table, a required column or table is missing, `season.toml` is wrong, or an
    /// id of a probe or a batch stands twice; [`Error::Io`] when the system refuses. A row that cannot be read is no
    /// error: it is rejected.
    ///
    /// ```
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// let season = Season::load("datasets/published/agave-must-fermentation")?;
    /// assert!(season.readings.is_empty() && !season.references.is_empty());
    /// println!("{}", season.account);
    /// # Ok(())
    /// # }
    /// ```
    pub fn load(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let Discovered { files, unmatched, remarks } = discover(path)?;
        let mut loaded = Loaded::default();
        loaded.account.unmatched = unmatched;
        loaded.account.remarks = remarks;
        let mut there = Vec::new();
        for found in &files {
            there.push(loaded.read(found)?);
        }
        if path.is_dir() {
            check_tables(path, &there, &loaded.account.remarks)?;
        }
        tidy::tidy(loaded, there.contains(&SeasonTable::Probes), there.contains(&SeasonTable::Batches))
    }
}

/// A folder holds the four tables, except that probes and readings may be absent together.
fn check_tables(dir: &Path, there: &[SeasonTable], remarks: &[Remark]) -> Result<()> {
    let has = |table: &SeasonTable| there.contains(table);
    let samples_alone = !has(&SeasonTable::Readings) && !has(&SeasonTable::Probes);
    let wanted: &[SeasonTable] = if samples_alone {
        &[SeasonTable::References, SeasonTable::Batches]
    } else {
        &[SeasonTable::Readings, SeasonTable::References, SeasonTable::Batches, SeasonTable::Probes]
    };
    let Some(missing) = wanted.iter().find(|t| !has(t)) else { return Ok(()) };
    let names: Vec<&str> = SeasonTable::ALL.iter().filter(|t| has(t)).map(|t| t.name()).collect();
    let required: Vec<&str> = missing.columns().iter().filter(|c| c.required).map(|c| c.name).collect();
    Err(Error::input(
        Place::file(dir),
        format!("no table {missing}, only {}", list(&names)),
        format!("{missing}.csv (or another form of it) with the columns {}; a header alone will do", list(&required)),
    )
    .with_hint(remarks.first().map(|remark| format!("{}: {}", remark.file, remark.text))))
}

impl Loaded {
    fn read(&mut self, found: &SourceFile) -> Result<SeasonTable> {
        if found.storage == Storage::Parquet {
            return self.read_parquet(found);
        }
        let (bytes, cut) = read::read_bytes(&found.path, &found.name, found.gzip)?;
        let text = read::text_of(&bytes, &found.name)?;
        if !cut {
            return self.read_text(found, text);
        }
        let (lines, line, rest) = read::broken_off(text);
        let file = self.account.files.len();
        let table = self.read_text(found, lines)?;
        // What stands of the line that the file broke off in may be half a number.
        if !rest.is_empty() {
            self.count_read(file, 1);
            let text = short(&String::from_utf8_lossy(rest), read::KEPT_TEXT);
            self.reject(file, line, RowError::new("the file breaks off within this line"), text);
        }
        let text = "the gzip file breaks off here, as a half-copied one does; the lines before are read, what followed \
                    is lost and not counted";
        self.remark(file, Some(line), "end of file", text.to_owned());
        Ok(table)
    }

    fn read_text(&mut self, found: &SourceFile, text: &[u8]) -> Result<SeasonTable> {
        if found.storage == Storage::Csv {
            let source = Delimited::open(text, &found.name, &found.mapping)?;
            let binding = self.bind(found, &source.header, source.header_line)?;
            let file = self.begin(found, binding.table);
            read::each_block(&source, &binding, |block| match block {
                Ok(rows) => {
                    self.count_read(file, rows.len());
                    rows.iter().for_each(|(line, row, _)| self.readings.push(file, *line, row));
                    self.remark_zone(file, &binding, rows.iter().any(|(.., is_local)| *is_local));
                }
                Err(lines) => self.rows(file, &binding, |each| source.each(lines, &binding, each)),
            });
            return Ok(binding.table);
        }
        // A blank text is a table without rows.
        if let Some(table) = found.table.filter(|_| text.iter().all(u8::is_ascii_whitespace)) {
            self.begin(found, table);
            return Ok(table);
        }
        let keys = read::json_keys(text);
        let mut binding = self.bind(found, &keys, None)?;
        let used: Vec<String> = binding.fields().iter().filter_map(|field| keys.get(*field).cloned()).collect();
        binding.renumber_fields();
        let file = self.begin(found, binding.table);
        self.rows(file, &binding, |each| read::each_json_row(text, &used, each));
        Ok(binding.table)
    }

    fn read_parquet(&mut self, found: &SourceFile) -> Result<SeasonTable> {
        let source = Parquet::open(&found.path, &found.name)?;
        let mut binding = self.bind(found, &source.header, None)?;
        let names: Vec<String> =
            binding.fields().iter().filter_map(|field| source.header.get(*field).cloned()).collect();
        binding.renumber_fields();
        let file = self.begin(found, binding.table);
        let naive_is_utc = binding.mapping.times.zone_is_utc();
        source.each_piece(&names, |before, frame| {
            let is_readings = binding.table == SeasonTable::Readings;
            let raw = Some(&mut self.readings).filter(|_| is_readings);
            if let Some(is_naive) = raw.and_then(|raw| read::take_columns(raw, frame, &binding, (file, before))) {
                self.count_read(file, frame.height());
                self.remark_zone(file, &binding, is_naive);
                return Ok(());
            }
            let mut outcome = Ok(());
            self.rows(file, &binding, |each| outcome = read::each_row(frame, before, &found.name, naive_is_utc, each));
            outcome
        })?;
        Ok(binding.table)
    }

    /// Notes that times without an offset were read as UTC for want of a zone.
    fn remark_zone(&mut self, file: usize, binding: &Binding, saw_local_time: bool) {
        if saw_local_time && binding.mapping.times.zone.is_none() {
            let text = "times without an offset were read as UTC; if they are local, set `time_zone` in season.toml";
            self.remark(file, None, "time_zone", text.to_owned());
        }
    }

    fn bind(&mut self, found: &SourceFile, header: &[String], line: Option<u64>) -> Result<Binding> {
        let table = match found.table {
            Some(table) => table,
            None => guess_table(found, header)?,
        };
        let place = Place { line, ..Place::file(&found.name) };
        let binding = Binding::new(&place, table, header, &found.mapping)?;
        if table == SeasonTable::Readings && self.temp_column.is_none() {
            self.temp_column = binding.label("temp_c").map(str::to_owned);
        }
        for column in &binding.unknown {
            self.account.unknown_columns.push((found.name.clone(), short(column, QUOTED)));
        }
        Ok(binding)
    }

    /// Takes the rows that a reader gives.
    fn rows(&mut self, file: usize, binding: &Binding, read: impl FnOnce(&mut dyn FnMut(RawRow<'_>))) {
        let mut saw_local_time = false;
        let plato = binding.in_plato();
        let (mut gravities, mut alike) = (0, 0);
        read(&mut |row: RawRow<'_>| {
            self.count_read(file, 1);
            let converted = row.cells.clone().and_then(|cells| binding.convert(cells));
            let taken = converted.and_then(|converted| {
                saw_local_time |= converted.is_local;
                for value in plato.iter().filter_map(|place| converted.values.get(*place)) {
                    gravities += usize::from(matches!(value, CellValue::Number(_)));
                    alike += usize::from(matches!(value, CellValue::Number(sg) if ALSO_SG.contains(sg)));
                }
                self.take(file, binding.table, &row, converted)
            });
            if let Err(reason) = taken {
                self.reject(file, row.line, reason, (row.text)());
            }
        });
        if gravities > 1 && 2 * alike > gravities {
            let text = format!(
                "{alike} of {gravities} gravities in degrees Plato lie about 1, as specific gravities do; if they are, drop \
                 `unit = \"plato\"` in season.toml"
            );
            self.remark(file, None, "plato", text);
        }
        self.remark_zone(file, binding, saw_local_time);
    }

    fn take(
        &mut self,
        file: usize,
        table: SeasonTable,
        raw: &RawRow<'_>,
        mut converted: Converted,
    ) -> std::result::Result<(), RowError> {
        let line = raw.line;
        let place = || (file, line, short(&(raw.text)(), read::KEPT_TEXT));
        match table {
            SeasonTable::Readings => {
                let row = ReadingRow::from_cells(std::mem::take(&mut converted.values), &mut converted.doubts)?;
                let ReadingRow { at, probe, tilt_deg, temp_c, batch, supply_v, flags } = row;
                let flags = converted.flags.with(flags.of_the_file());
                let raw = &mut self.readings;
                raw.twice.extend(converted.later.map(|later| (raw.columns.len(), later)));
                let (probe, batch) = (probe.as_str(), batch.as_deref());
                raw.push(file, line, &RawReading { at, probe, tilt_deg, temp_c, batch, supply_v, flags });
            }
            SeasonTable::References => keep(&mut self.references, place(), &mut converted)?,
            SeasonTable::Batches => keep(&mut self.batches, place(), &mut converted)?,
            SeasonTable::Probes => keep(&mut self.probes, place(), &mut converted)?,
            SeasonTable::Events => keep(&mut self.events, place(), &mut converted)?,
            SeasonTable::Plan => keep(&mut self.plan, place(), &mut converted)?,
        }
        for doubt in converted.doubts {
            self.doubt(file, line, doubt);
        }
        Ok(())
    }
}

fn keep<T: TableRow>(
    rows: &mut Vec<SourceRow<T>>,
    (file, line, text): (usize, u64, String),
    converted: &mut Converted,
) -> std::result::Result<(), RowError> {
    // Those from before it were weighed when they were found.
    let before = converted.doubts.len();
    let row = T::from_cells(std::mem::take(&mut converted.values), &mut converted.doubts)?;
    let doubtful = if converted.doubts.len() == before { Flags::NONE } else { Flags::VALUE_UNREADABLE };
    rows.push(SourceRow { row, file, line, text, flags: converted.flags.with(doubtful) });
    Ok(())
}

/// The table whose required columns a header has, the one with most of them first.
fn guess_table(found: &SourceFile, header: &[String]) -> Result<SeasonTable> {
    let has = |name: &str| header.iter().any(|h| h == name);
    let gravity = has("sg") || has("raw_sg") || has("raw_brix");
    let fits = |table: &SeasonTable| {
        table.columns().iter().filter(|c| c.required).all(|c| has(c.name))
            && (*table != SeasonTable::References || gravity)
    };
    // The most telling first: `at` alone with a gravity is a reference, a `probe` alone a probe.
    use SeasonTable as Table;
    let order = [Table::Readings, Table::Batches, Table::Plan, Table::Events, Table::References, Table::Probes];
    order.into_iter().find(fits).ok_or_else(|| {
        let named: Vec<&str> = SeasonTable::ALL.iter().map(|t| t.name()).collect();
        Error::input(
            Place::file(&found.name),
            format!("the columns {}", list(header)),
            format!(
                "a file named for its table ({}) or with a table's required columns, or a season.toml beside it",
                list(&named)
            ),
        )
    })
}
