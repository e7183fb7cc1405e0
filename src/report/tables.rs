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
    staging.file(&parquet, |file| {
        let mut out = BufWriter::new(file);
        // Of its own, polars names a type of text that Arrow has had since 2024 only.
        let types = schema_to_metadata_key(&zoned.schema().to_arrow(CompatLevel::oldest()));
        let words = [Some((COLUMNS.to_owned(), about(name, dictionary)?)), types.value.map(|value| (types.key, value))];
        let words = KeyValueMetadata::from_static(words.into_iter().flatten().collect());
        let writer = ParquetWriter::new(&mut out).with_compression(ParquetCompression::Snappy);
        let writer = writer.with_key_value_metadata(Some(words));
        writer.finish(&mut zoned).map_err(|e| unwritten(e, name, &shown))?;
        out.flush().map_err(|e| Error::io("writing", &shown, e))
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
mod tests {
    use polars::prelude::{Column, NamedFrom, ParquetReader, SerReader, Series};

    use super::*;

    #[test]
    fn times_are_utc_in_both_forms_and_numbers_keep_every_digit() {
        let home = tempfile::tempdir().unwrap();
        let at = Series::new("at".into(), [Some(1_930_000_000_000_000i64), Some(1_930_000_000_250_000), None]);
        let at = at.cast(&DataType::Datetime(TimeUnit::Microseconds, None)).unwrap();
        let columns = vec![
            at.into(),
            Column::new("sg".into(), [Some(0.1 + 0.2), None, Some(1e-7)]),
            Column::new("why".into(), ["a,\"b\"", "", "x"]),
        ];
        let frame = DataFrame::new(3, columns).unwrap();
        let mut staging = Staging::begin(&home.path().join("r")).unwrap();
        let dictionary = DataFrame::new(
            1,
            vec![
                Column::new("table".into(), ["t"]),
                Column::new("column".into(), ["sg"]),
                Column::new("unit".into(), ["SG"]),
                Column::new("meaning".into(), ["gravity"]),
                Column::new("empty".into(), ["never"]),
            ],
        )
        .unwrap();
        write(&mut staging, "t", &frame, &dictionary).unwrap();
        let out = staging.finish().unwrap();
        let csv = std::fs::read_to_string(out.join("tables/t.csv")).unwrap();
        let lines: Vec<&str> = csv.lines().collect();
        assert_eq!(lines[0], "at,sg,why");
        assert_eq!(lines[1], "2031-02-27T23:06:40Z,0.30000000000000004,\"a,\"\"b\"\"\"");
        assert!(lines[2].starts_with("2031-02-27T23:06:40.250Z,,"), "{csv}");
        assert!(lines[3].starts_with(','), "{csv}");
        let mut parquet = ParquetReader::new(std::fs::File::open(out.join("tables/t.parquet")).unwrap());
        let words = parquet.get_metadata().unwrap().key_value_metadata().clone().unwrap();
        let words = words.into_iter().find(|word| word.key == COLUMNS).and_then(|word| word.value).unwrap();
        let words: serde_json::Value = serde_json::from_str(&words).unwrap();
        assert_eq!((&words["sg"]["unit"], &words["sg"]["empty"]), (&"SG".into(), &"never".into()), "{words}");
        let back = parquet.finish().unwrap();
        let utc = DataType::Datetime(TimeUnit::Microseconds, Some(TimeZone::UTC));
        assert_eq!(back.column("at").unwrap().dtype(), &utc);
        let numbers = |frame: &DataFrame| frame.column("at").unwrap().cast(&DataType::Int64).unwrap();
        assert!(numbers(&back).equals_missing(&numbers(&frame)));
        for name in ["sg", "why"] {
            assert!(back.column(name).unwrap().equals_missing(frame.column(name).unwrap()), "{name}");
        }
    }
}
