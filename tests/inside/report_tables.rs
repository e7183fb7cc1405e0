//! Tables as CSV and Parquet.

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
