//! A polars frame as a table for reading.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::{Error, Result};

use super::cells::column;
use super::grid::Grid;
use super::page::Show;

/// A polars frame that shows well in a notebook and on a terminal: numbers at the right and rounded to their errors,
/// units under the headings, at most some rows, and how many there are.
///
/// Only what is shown is rounded; [`Table::frame`] is the frame as it is.
#[derive(Debug, Clone)]
pub struct Table {
    frame: DataFrame,
    title: String,
    rows: usize,
    columns: Vec<String>,
}

impl Table {
    /// All columns of a frame under their own names, at most 20 rows.
    #[doc = example!(no_run "Table::new(season.account.to_frame()?).titled(\"What became of every row\").limit(12);")]
    pub fn new(frame: DataFrame) -> Self {
        let columns = frame.get_column_names().into_iter().map(ToString::to_string).collect();
        Self { frame, title: String::new(), rows: 20, columns }
    }

    /// The same table with a title.
    #[must_use]
    pub fn titled(mut self, title: impl Into<String>) -> Self {
        self.title = title.into();
        self
    }

    /// The same table showing at most `rows` rows.
    #[must_use]
    pub fn limit(mut self, rows: usize) -> Self {
        self.rows = rows;
        self
    }

    /// The same table showing these columns in this order.
    ///
    /// # Errors
    /// [`Error::Frame`] for a name that the frame lacks.
    pub fn columns(mut self, names: &[&str]) -> Result<Self> {
        for name in names {
            self.frame.column(name).map_err(|e| Error::frame(&self.title, e))?;
        }
        self.columns = names.iter().map(|name| (*name).to_owned()).collect();
        Ok(self)
    }

    /// The frame, unrounded.
    pub fn frame(&self) -> &DataFrame {
        &self.frame
    }

    fn grid(&self) -> Grid {
        let columns = self.columns.iter().filter_map(|name| column(&self.frame, name, self.rows)).collect();
        Grid { title: self.title.clone(), columns, rows: self.frame.height() }
    }
}

impl Show for Table {
    fn html(&self) -> String {
        self.grid().html()
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.grid().fmt(f)
    }
}

#[cfg(test)]
mod tests {
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
            "batch     lag_h  lag_se   n         finish_at",
            "              h                           UTC",
            "<b>1</b>   12.3     0.4   3  2031-02-27 23:06",
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
}
