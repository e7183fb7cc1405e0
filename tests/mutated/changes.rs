//! Changes without a thought: bytes, cells, columns, tables, and the form of a file.

use polars::prelude::{Column, DataFrame, DataType, ParquetWriter, TimeUnit, TimeZone};
use rand::RngExt;
use rand::rngs::SmallRng;
use rand::seq::{IndexedRandom, SliceRandom};

use super::meant;
use super::seasons::Files;

/// A table of plain text: no quotes.
#[derive(Debug, Clone)]
pub struct Table {
    pub header: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

impl Table {
    pub fn parse(bytes: &[u8]) -> Self {
        let text = String::from_utf8_lossy(bytes);
        let mut lines = text.lines().map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
        Self { header: lines.next().unwrap_or_default(), rows: lines.collect() }
    }

    pub fn bytes(&self) -> Vec<u8> {
        let lines: Vec<String> = [&self.header].into_iter().chain(&self.rows).map(|row| row.join(",")).collect();
        (lines.join("\n") + "\n").into_bytes()
    }

    pub fn column(&self, name: &str) -> Option<usize> {
        self.header.iter().position(|column| column == name)
    }

    /// Changes each cell of a column.
    pub fn map(&mut self, column: usize, mut to: impl FnMut(&str) -> String) {
        self.rows.iter_mut().filter_map(|row| row.get_mut(column)).for_each(|cell| *cell = to(cell));
    }
}

/// The name of some file, more often that of readings or references.
fn some_name(files: &Files, rng: &mut SmallRng, ending: &str) -> Option<String> {
    let names: Vec<&String> = files.keys().filter(|name| name.ends_with(ending) && !name.starts_with('.')).collect();
    let much: Vec<&&String> = names.iter().filter(|name| name.starts_with("re")).collect();
    if !much.is_empty() && rng.random() {
        much.choose(rng).map(|n| (**n).clone())
    } else {
        names.choose(rng).map(|n| (*n).clone())
    }
}

/// Changes some table of text.
pub fn edit(files: &mut Files, name: &str, change: impl FnOnce(&mut Table)) {
    if let Some(bytes) = files.get_mut(name) {
        let mut table = Table::parse(bytes);
        change(&mut table);
        *bytes = table.bytes();
    }
}

/// Makes one change.
pub fn change(files: &mut Files, others: &[Files], rng: &mut SmallRng) {
    match rng.random_range(0..100) {
        0..20 => {
            let Some(name) = some_name(files, rng, "") else { return };
            let bytes = files.get_mut(&name).unwrap();
            let pages = name.ends_with(".parquet").then(|| bytes[..footer_start(bytes)].to_vec());
            change_bytes(bytes, pages.as_ref().map(Vec::len), rng);
            if pages.is_some_and(|pages| !bytes.starts_with(&pages)) {
                files.insert(PAGES_CHANGED.to_owned(), Vec::new());
            }
        }
        20..40 => {
            let Some(name) = some_name(files, rng, ".csv") else { return };
            edit(files, &name, |table| change_cells(table, rng));
        }
        40..53 => {
            let Some(name) = some_name(files, rng, ".csv") else { return };
            edit(files, &name, |table| change_columns(table, rng));
        }
        53..65 => change_tables(files, others, rng),
        65..73 => change_form(files, rng),
        _ => meant::change(files, rng),
    }
}

const SNIPPETS: &[&str] = &[
    "",
    ",",
    ";",
    "\t",
    "\"",
    "\"\"",
    "\n",
    "\r\n",
    "\r",
    "\0",
    "NaN",
    "inf",
    "-1e308",
    "1e999",
    "1e-320",
    "0x10",
    "2031-03-04",
    "0000-00-00",
    "2131-03-04T12:00:00Z",
    "9999-12-31T23:59:59Z",
    "-9999-01-01T00:00:00Z",
    "1930392000",
    "1930392000000",
    "dunlin",
    "T1",
    "\u{feff}",
    "\u{1b}[31m",
    "é",
    "{",
    "}",
    "[]",
    "null",
    "{\"at\":1}",
    "at",
    "probe",
    "sg",
    "99999999999999999999",
    "0.95",
    "1.2",
    "1,050",
    "12.5",
    "-0",
    "=1+1",
    "2031-10-26 02:30",
    "cell_swap",
    "dry_hop",
    "water",
    "calibrate",
    "ignore",
];

/// A hidden file that says that some page of Parquet was changed: it has no checksum, so that any value may come of it.
pub const PAGES_CHANGED: &str = ".pages-changed";

/// Where the footer of a Parquet file begins; its end where it has none.
fn footer_start(bytes: &[u8]) -> usize {
    let length = bytes
        .len()
        .checked_sub(8)
        .and_then(|end| Some((end, u32::from_le_bytes(bytes.get(end..end + 4)?.try_into().ok()?) as usize)));
    length.and_then(|(end, length)| end.checked_sub(length)).unwrap_or(bytes.len())
}

/// Changes a few bytes, or lines; of Parquet, whose footer begins at `footer`, more often the footer.
fn change_bytes(bytes: &mut Vec<u8>, footer: Option<usize>, rng: &mut SmallRng) {
    let first = footer.filter(|_| rng.random_bool(0.7)).unwrap_or(0);
    for _ in 0..rng.random_range(1..6) {
        let at = rng.random_range(first.min(bytes.len())..=bytes.len());
        match rng.random_range(0..if footer.is_some() { 4 } else { 8 }) {
            0 | 1 if at < bytes.len() => bytes[at] = rng.random(),
            2 => {
                let snippet = SNIPPETS.choose(rng).unwrap_or(&"");
                bytes.splice(at..at, snippet.bytes());
            }
            3 => {
                let end = (at + rng.random_range(0..80)).min(bytes.len());
                bytes.drain(at..end);
            }
            4 => {
                let end = (at + rng.random_range(0..200)).min(bytes.len());
                let copy = bytes[at..end].to_vec();
                let to = rng.random_range(0..=bytes.len());
                bytes.splice(to..to, copy);
            }
            5 => {
                let (from, to) = ([b',', b'\n', b'.', b':'], [b';', b' ', b'"', b'\t']);
                let i = rng.random_range(0..from.len());
                bytes.iter_mut().filter(|b| **b == from[i]).take(rng.random_range(0..40)).for_each(|b| *b = to[i]);
            }
            6 => bytes.truncate(at),
            _ => {
                let mut lines: Vec<Vec<u8>> = bytes.split(|b| *b == b'\n').map(<[u8]>::to_vec).collect();
                let (a, b) = (rng.random_range(0..lines.len()), rng.random_range(0..lines.len()));
                lines.swap(a, b);
                let line = lines[a].clone();
                lines.insert(b, line);
                *bytes = lines.join(&b'\n');
            }
        }
    }
}

fn change_cells(table: &mut Table, rng: &mut SmallRng) {
    for _ in 0..rng.random_range(1..10) {
        let (width, height) = (table.header.len(), table.rows.len());
        if width == 0 || height == 0 {
            return;
        }
        let (column, row, other) =
            (rng.random_range(0..width), rng.random_range(0..height), rng.random_range(0..height));
        let there = |row: usize, column: usize| table.rows[row].get(column).cloned().unwrap_or_default();
        let number = there(row, column).parse::<f64>();
        let new = match (rng.random_range(0..6), number) {
            (0, _) => (*SNIPPETS.choose(rng).unwrap()).to_owned(),
            (1, _) => there(other, column),
            (2, _) => there(row, rng.random_range(0..width)),
            (3, _) => String::new(),
            (4, Ok(number)) => {
                (number * [1000.0, 0.001, -1.0, 1e200, 1e-200, 10.0][rng.random_range(0..6)]).to_string()
            }
            (_, Ok(number)) => (number + rng.random_range(-1.0..1.0)).to_string(),
            _ => (*SNIPPETS.choose(rng).unwrap()).to_owned(),
        };
        if let Some(cell) = table.rows[row].get_mut(column) {
            *cell = new;
        }
    }
}

fn change_columns(table: &mut Table, rng: &mut SmallRng) {
    let width = table.header.len();
    if width == 0 {
        return;
    }
    let (a, b) = (rng.random_range(0..width), rng.random_range(0..width));
    let value = (*SNIPPETS.choose(rng).unwrap()).to_owned();
    match rng.random_range(0..9) {
        0 => table.header.swap(a, b),
        1 => table.header[a] = value,
        2 => table.map(a, |_| value.clone()),
        3 => table.map(a, |_| String::new()),
        4 => {
            let mut cells: Vec<String> = table.rows.iter().filter_map(|row| row.get(a).cloned()).collect();
            cells.reverse();
            table.map(a, |_| cells.pop().unwrap_or_default());
        }
        5 => {
            let first = table.rows.first().and_then(|row| row.get(a)).cloned().unwrap_or_default();
            table.map(a, |_| first.clone());
        }
        6 => {
            table.header.remove(a);
            table.rows.iter_mut().filter(|row| row.len() > a).for_each(|row| drop(row.remove(a)));
        }
        7 => {
            let twice = table.header[a].clone();
            table.header.push(twice);
            table.rows.iter_mut().for_each(|row| row.push(row.get(a).cloned().unwrap_or_default()));
        }
        _ => {
            let factor = [2.0, 1e3, 1e-3, 0.0, -1.0, 1e300][rng.random_range(0..6)];
            table.map(a, |cell| cell.parse::<f64>().map_or(cell.to_owned(), |number| (number * factor).to_string()));
        }
    }
}

fn change_tables(files: &mut Files, others: &[Files], rng: &mut SmallRng) {
    let Some(name) = some_name(files, rng, "") else { return };
    let other = some_name(files, rng, &name[name.rfind('.').unwrap_or(0)..]).unwrap();
    match rng.random_range(0..9) {
        0 => drop(files.remove(&name)),
        1 => edit(files, &name, |table| table.rows.clear()),
        2 => {
            let (one, two) = (files[&name].clone(), files[&other].clone());
            files.insert(name, two);
            files.insert(other, one);
        }
        3 => {
            let season = others.choose(rng).unwrap();
            let hidden = format!(".{}", name.replace(".parquet", ".csv"));
            for (name, as_name) in [(&name, name.clone()), (&hidden, format!(".{hidden}"))] {
                files.extend(season.get(name).map(|bytes| (as_name, bytes.clone())));
            }
        }
        4 => {
            if let Some(foreign) =
                others.choose(rng).and_then(|season| season.get(&name)).map(|bytes| Table::parse(bytes))
            {
                edit(files, &name, |table| table.rows.extend(foreign.rows));
            }
        }
        5 => edit(files, &name, |table| table.rows.shuffle(rng)),
        6 => edit(files, &name, |table| table.rows.extend(table.rows.clone())),
        7 => edit(files, &name, |table| table.rows.truncate(rng.random_range(0..8))),
        _ => {
            let step = rng.random_range(2..9);
            edit(files, &name, |table| table.rows = table.rows.iter().step_by(step).cloned().collect());
        }
    }
}

/// Writes a table of text as JSON lines or as Parquet, its columns of some type.
fn change_form(files: &mut Files, rng: &mut SmallRng) {
    let Some(name) = some_name(files, rng, ".csv") else { return };
    let (stem, table) = (name.trim_end_matches(".csv").to_owned(), Table::parse(&files[&name]));
    let (form, bytes) = if rng.random() { (".ndjson", json(&table)) } else { (".parquet", parquet(&table, rng)) };
    if !bytes.is_empty() {
        // The text stays beside it, hidden, for the values.
        let text = files.remove(&name).unwrap();
        files.insert(format!(".{name}"), text);
        files.insert(stem + form, bytes);
    }
}

fn json(table: &Table) -> Vec<u8> {
    let value = |cell: &String| {
        cell.parse::<f64>()
            .ok()
            .and_then(serde_json::Number::from_f64)
            .map_or_else(|| serde_json::json!(cell), |n| serde_json::json!(n))
    };
    let object = |row: &Vec<String>| {
        let cells = table.header.iter().zip(row).filter(|(_, cell)| !cell.is_empty());
        serde_json::Value::Object(cells.map(|(name, cell)| (name.clone(), value(cell))).collect()).to_string()
    };
    table.rows.iter().map(object).collect::<Vec<_>>().join("\n").into_bytes()
}

/// Empty where two columns have one name.
fn parquet(table: &Table, rng: &mut SmallRng) -> Vec<u8> {
    let utc = [Some(TimeZone::UTC), None][rng.random_range(0..2)].clone();
    let is_text: bool = rng.random_bool(0.2);
    let column = |(i, name): (usize, &String)| {
        let cells: Vec<Option<&String>> =
            table.rows.iter().map(|row| row.get(i).filter(|cell| !cell.is_empty())).collect();
        let texts = || Column::new(name.into(), cells.iter().map(|cell| cell.cloned()).collect::<Vec<_>>());
        let micros: Option<Vec<Option<i64>>> = cells
            .iter()
            .map(|cell| {
                cell.map(|c| heelwort::Instant::parse(c).ok().map(|at| at.micros()))
                    .map_or(Some(None), |at| at.map(Some))
            })
            .collect();
        let numbers: Option<Vec<Option<f64>>> = cells
            .iter()
            .map(|cell| cell.map(|c| c.parse().ok()).map_or(Some(None), |number| number.map(Some)))
            .collect();
        match (micros, numbers) {
            _ if is_text => texts(),
            (_, Some(numbers)) => Column::new(name.into(), numbers),
            (Some(micros), _) => {
                Column::new(name.into(), micros).cast(&DataType::Datetime(TimeUnit::Microseconds, utc.clone())).unwrap()
            }
            _ => texts(),
        }
    };
    let columns: Vec<Column> = table.header.iter().enumerate().map(column).collect();
    let Ok(mut frame) = DataFrame::new(table.rows.len(), columns) else { return Vec::new() };
    let mut bytes = Vec::new();
    let group = [None, Some(7), Some(50)][rng.random_range(0..3)];
    match ParquetWriter::new(&mut bytes).with_row_group_size(group).finish(&mut frame) {
        Ok(_) => bytes,
        Err(_) => Vec::new(),
    }
}
