//! What the tables of a report mean: `tables/dictionary.csv`.

use polars::prelude::{Column, DataFrame};

use crate::error::{Error, Result};

/// Table (`*` for a column that means the same wherever nothing else is said), column, unit, meaning, when empty.
const TEXT: &str = include_str!("dictionary.csv");
/// The name of its own table.
pub(super) const NAME: &str = "dictionary";

/// One row for each column of these tables and of its own.
///
/// # Errors
/// [`Error::Frame`] when its text is broken, or polars refuses.
pub(super) fn frame(tables: &[(String, DataFrame)]) -> Result<DataFrame> {
    let mut reader = csv::Reader::from_reader(TEXT.as_bytes());
    let heads = reader.headers().map_err(|e| Error::frame(NAME, e))?.clone();
    let entries = reader.records().collect::<csv::Result<Vec<_>>>().map_err(|e| Error::frame(NAME, e))?;
    let of_tables = tables.iter().flat_map(|(table, frame)| {
        frame.get_column_names().into_iter().map(move |column| (table.as_str(), column.as_str()))
    });
    let columns: Vec<(&str, &str)> = of_tables.chain(heads.iter().map(|head| (NAME, head))).collect();
    let entry = |(table, column): (&str, &str)| {
        let of = |table: &str| entries.iter().find(|entry| entry.get(0) == Some(table) && entry.get(1) == Some(column));
        of(table).or_else(|| of("*"))
    };
    let cells = |place: usize| columns.iter().map(|of| entry(*of).and_then(|entry| entry.get(place))).collect();
    let words: Vec<Vec<Option<&str>>> = (2..heads.len()).map(cells).collect();
    let (table, column): (Vec<&str>, Vec<&str>) = columns.iter().copied().unzip();
    let mut made = vec![Column::new("table".into(), table), Column::new("column".into(), column)];
    made.extend(heads.iter().skip(2).zip(words).map(|(head, words)| Column::new(head.into(), words)));
    DataFrame::new(columns.len(), made).map_err(|e| Error::frame(NAME, e))
}
