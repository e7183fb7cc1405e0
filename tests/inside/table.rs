//! Tables for notebook and terminal.

use polars::prelude::{Column, DataType, NamedFrom, Series, TimeUnit, TimeZone};

use super::*;

fn frame() -> DataFrame {
    let at = Series::new("finish_at".into(), [Some(1_930_000_000_000_000i64), None]);
    let at = at.cast(&DataType::Datetime(TimeUnit::Microseconds, Some(TimeZone::UTC))).unwrap();
    DataFrame::new(
        2,
        vec![
            Column::new("batch".into(), ["<b>1</b>", "two"]),
            Column::new("lag_h".into(), [Some(12.345_6), Some(7.0)]),
            Column::new("lag_se".into(), [Some(0.421), None]),
            Column::new("n".into(), [3u32, 40]),
            at.into(),
        ],
    )
    .unwrap()
}

#[test]
fn a_table_prints_aligned_and_rounded_to_its_errors() {
    let expected = [
        "Lags (2 rows)",
        "batch     lag_h  lag_se   n             finish_at",
        "              h                               UTC",
        "<b>1</b>   12.3     0.4   3  Th 27 Feb 2031 23:06",
        "two         7.0          40",
    ];
    assert_eq!(Table::new(frame()).titled("Lags").to_string(), expected.join("\n"));
}

#[test]
fn a_sentence_that_rows_share_stands_once_below() {
    let why = ["no reading within two days of it", "", "no reading within two days of it", "too <few>"];
    let frame = DataFrame::new(
        4,
        vec![Column::new("probe".into(), ["dunlin", "knot", "godwit", "avocet"]), Column::new("why".into(), why)],
    )
    .unwrap();
    let table = Table::new(frame).columns(&["probe", "why"]).unwrap();
    let html = table.html();
    assert_eq!((html.matches("note 1<").count(), html.matches("note 2<").count()), (2, 1), "{html}");
    assert!(html.contains("<li>no reading within two days of it</li><li>too &lt;few&gt;</li></ol>"), "{html}");
    assert!(table.to_string().contains("godwit  no reading within"), "{table}");
}

#[test]
fn a_column_that_is_not_there_is_an_error() {
    let message = Table::new(frame()).titled("Lags").columns(&["batch", "gone"]).unwrap_err().to_string();
    assert!(message.contains("Lags") && message.contains("gone"), "{message}");
}

#[test]
fn html_escapes_what_the_user_wrote_and_tells_what_is_left_out() {
    let html = Table::new(frame()).titled("Lags").limit(1).columns(&["batch"]).unwrap().html();
    assert!(html.contains("&lt;b&gt;1&lt;/b&gt;") && !html.contains("<b>"), "{html}");
    assert!(html.contains("2 rows, the first 1 shown") && !html.contains("lag_h"), "{html}");
    assert!(!html.contains("<style"));
}
