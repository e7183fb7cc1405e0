//! Tables as CSV and Parquet.

use std::io::{BufWriter, Write};
use std::path::Path;

use polars::prelude::{
    CompatLevel, CsvWriter, DataFrame, DataType, IntoSeries, KeyValueMetadata, ParquetCompression, ParquetWriter,
    PolarsError, SchemaExt, SerWriter, TimeUnit, TimeZone,
};

use polars_parquet::write::schema_to_metadata_key;

use crate::error::{Error, Result};

use super::folder::Staging;

/// The key of the Parquet metadata under which the columns are explained.
const COLUMNS: &str = "heelwort.columns";
/// How instants stand in a CSV: RFC 3339 in UTC, with a fraction only where there is one.
const CSV_TIME: &str = "%Y-%m-%dT%H:%M:%S%.fZ";

/// Writes `tables/NAME.csv` and `tables/NAME.parquet`, which carries what `dictionary` says of its columns.
pub(super) fn write(staging: &mut Staging, name: &str, frame: &DataFrame, dictionary: &DataFrame) -> Result<()> {
    let csv = format!("tables/{name}.csv");
    let shown = staging.shown(&csv);
    let mut plain = in_zone(frame, name, None)?;
    staging.file(&csv, |file| {
        let mut out = BufWriter::new(file);
        let mut writer = CsvWriter::new(&mut out).with_datetime_format(Some(CSV_TIME.into()));
        writer.finish(&mut plain).map_err(|e| unwritten(e, name, &shown))?;
        out.flush().map_err(|e| Error::io("writing", &shown, e))
    })?;
    let parquet = format!("tables/{name}.parquet");
    let shown = staging.shown(&parquet);
    let mut zoned = in_zone(frame, name, Some(TimeZone::UTC))?;
    staging.file(&parquet, |mut file| {
        // In memory first: of a full disk polars does not tell which file.
        let mut out = Vec::new();
        // Of its own, polars names a type of text that Arrow has had since 2024 only.
        let types = schema_to_metadata_key(&zoned.schema().to_arrow(CompatLevel::oldest()));
        let words = [Some((COLUMNS.to_owned(), about(name, dictionary)?)), types.value.map(|value| (types.key, value))];
        let words = KeyValueMetadata::from_static(words.into_iter().flatten().collect());
        let writer = ParquetWriter::new(&mut out).with_compression(ParquetCompression::Snappy);
        let writer = writer.with_key_value_metadata(Some(words));
        writer.finish(&mut zoned).map_err(|e| Error::frame(name, e))?;
        file.write_all(&out).map_err(|e| Error::io("writing", &shown, e))
    })
}

/// Unit, meaning and null rule of each column of a table, as JSON by column.
fn about(table: &str, dictionary: &DataFrame) -> Result<String> {
    let column = |name: &str| dictionary.column(name).and_then(|c| c.str()).map_err(|e| Error::frame(table, e));
    let (tables, columns) = (column("table")?, column("column")?);
    let told = ["unit", "meaning", "empty"].map(|word| column(word).map(|texts| (word, texts)));
    let told = told.into_iter().collect::<Result<Vec<_>>>()?;
    let rows = (0..dictionary.height()).filter(|row| tables.get(*row) == Some(table));
    let of_row = |row: usize| -> serde_json::Map<_, _> {
        told.iter().filter_map(|(word, texts)| Some(((*word).to_owned(), texts.get(row)?.into()))).collect()
    };
    let all = rows.filter_map(|row| Some((columns.get(row)?.to_owned(), of_row(row).into())));
    Ok(serde_json::Value::Object(all.collect()).to_string())
}

/// What polars says on a failed write: the system's error where there is one.
fn unwritten(error: PolarsError, table: &str, path: &Path) -> Error {
    match error {
        PolarsError::IO { error, .. } => {
            Error::io("writing", path, std::io::Error::new(error.kind(), error.to_string()))
        }
        other => Error::frame(table, other),
    }
}

/// The frame with all its times as microseconds in the zone: none for CSV, where the format writes the Z, UTC for
/// Parquet. A cast would drop the zone, as polars casts to a zone only with a zone database of its own; so the
/// microseconds are named anew.
fn in_zone(frame: &DataFrame, table: &str, zone: Option<TimeZone>) -> Result<DataFrame> {
    let mut out = frame.clone();
    let refused = |e: PolarsError| Error::frame(table, e);
    for column in frame.columns().iter().filter(|column| matches!(column.dtype(), DataType::Datetime(..))) {
        let micros = DataType::Datetime(TimeUnit::Microseconds, None);
        let numbers = column.cast(&micros).and_then(|c| c.cast(&DataType::Int64)).map_err(refused)?;
        let numbers = numbers.i64().map_err(refused)?.clone();
        let named = numbers.into_datetime(TimeUnit::Microseconds, zone.clone()).into_series();
        out.with_column(named.into()).map_err(refused)?;
    }
    Ok(out)
}

#[cfg(test)]
#[path = "../../tests/inside/report_tables.rs"]
mod tests;
