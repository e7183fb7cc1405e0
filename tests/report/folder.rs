//! The folder: tables in two forms, and what happens when it cannot be written.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use heelwort::error::Error;
use heelwort::report;
use polars::prelude::{Column, DataFrame, DataType, ParquetReader, SerReader, TimeUnit, TimeZone};

use super::study;

fn parquet(path: PathBuf) -> DataFrame {
    ParquetReader::new(std::fs::File::open(path).unwrap()).finish().unwrap()
}

#[test]
fn every_table_lies_there_twice_with_the_same_rows_and_utc_times() {
    let home = tempfile::tempdir().unwrap();
    let tables = study().tables().unwrap();
    let out = report::write(study(), &tables, &home.path().join("report")).unwrap();
    for (name, frame) in &tables {
        let back = parquet(out.join(format!("tables/{name}.parquet")));
        assert_eq!(back.height(), frame.height(), "{name}");
        let mut reader = csv::Reader::from_path(out.join(format!("tables/{name}.csv"))).unwrap();
        let heading: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let names: Vec<String> = frame.get_column_names().iter().map(ToString::to_string).collect();
        assert_eq!(heading, names, "{name}");
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), frame.height(), "{name}");
        for (i, column) in frame.columns().iter().enumerate() {
            let stored = back.column(column.name()).unwrap();
            let plain =
                |c: &Column| if c.dtype().is_temporal() { c.cast(&DataType::Int64).unwrap() } else { c.clone() };
            assert!(plain(stored).equals_missing(&plain(column)), "{name}.{}", column.name());
            if let DataType::Datetime(unit, zone) = stored.dtype() {
                assert_eq!(
                    (unit, zone.as_ref()),
                    (&TimeUnit::Microseconds, Some(&TimeZone::UTC)),
                    "{name}.{}",
                    column.name()
                );
                for row in &rows {
                    assert!(row[i].is_empty() || row[i].ends_with('Z'), "{name}: {}", &row[i]);
                }
            }
            if let Ok(numbers) = column.f64() {
                for (row, number) in rows.iter().zip(numbers.iter()) {
                    let back = (!row[i].is_empty()).then(|| row[i].parse::<f64>().unwrap());
                    assert_eq!(back, number, "{name}.{}", column.name());
                }
            }
        }
    }
}

#[test]
fn the_dictionary_knows_every_column_and_when_it_is_empty() {
    let home = tempfile::tempdir().unwrap();
    let tables = study().tables().unwrap();
    let out = report::write(study(), &tables, &home.path().join("report")).unwrap();
    let mut reader = csv::Reader::from_path(out.join("tables/dictionary.csv")).unwrap();
    let entries: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let told = |table: &str, column: &str| entries.iter().find(|e| &e[0] == table && &e[1] == column);
    for (table, frame) in &tables {
        for column in frame.columns() {
            let name = column.name().as_str();
            let entry = told(table, name).unwrap_or_else(|| panic!("{table}.{name} is not in the dictionary"));
            assert!(!entry[3].is_empty() && !entry[4].is_empty(), "{table}.{name} has no meaning");
            let blank = column.str().map_or(0, |texts| texts.iter().flatten().filter(|text| text.is_empty()).count());
            let empty = column.null_count() + blank;
            assert!(empty == 0 || &entry[4] != "never", "{table}.{name} is empty in {empty} rows");
            let is_time = column.dtype().is_temporal();
            assert_eq!(&entry[2] == "UTC", is_time, "{table}.{name}");
            for (end, unit) in [("_sg", "SG"), ("_deg", "deg"), ("_mm", "mm"), ("_g", "g"), ("_kg_m3", "kg/m3")] {
                assert!(!name.ends_with(end) || entry[2].starts_with(unit), "{table}.{name} in {}", &entry[2]);
            }
        }
    }
    // Nothing stands in it that no table has.
    let text =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/report/dictionary.csv")).unwrap();
    for entry in csv::Reader::from_reader(text.as_bytes()).records().map(Result::unwrap) {
        let used = entries.iter().any(|e| (&entry[0] == "*" || e[0] == entry[0]) && e[1] == entry[1]);
        assert!(used, "no table has the column {entry:?}");
    }
}

/// Every file below a folder with its bytes.
fn contents(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(contents(&path));
        } else {
            found.insert(path.clone(), std::fs::read(&path).unwrap());
        }
    }
    found
}

#[test]
fn the_same_study_writes_the_same_bytes() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("report");
    let tables = study().tables().unwrap();
    report::write(study(), &tables, &out).unwrap();
    let first = contents(&out);
    report::write(study(), &tables, &out).unwrap();
    assert!(first == contents(&out));
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 1, "something was left beside the report");
}

#[test]
fn a_place_that_cannot_be_written_is_named_and_stays_as_it_was() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("notes.txt");
    std::fs::write(&file, "mine").unwrap();
    for out in [file.join("report"), file.clone()] {
        let error = report::write(study(), &[], &out).unwrap_err();
        assert!(matches!(error, Error::Io { .. } | Error::Usage(_)), "{error:?}");
        assert!(error.to_string().contains("notes.txt"), "{error}");
    }
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 1);
}
