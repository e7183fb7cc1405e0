//! A polars frame as a table for reading.

use std::fmt;

use maud::html;
use polars::prelude::DataFrame;

use super::cells::{Cells, cells};
use super::page::Show;

/// From a name to its words.
type Words = fn(&str) -> &str;

/// Texts up to this many letters are not broken.
const SHORT: usize = 26;

/// Columns of sentences, which many rows share or which would make their rows tall: each stands once below the table.
const NOTES: [&str; 2] = ["why", "advice"];

/// A polars frame that shows well in a notebook and on a terminal: numbers at the right and rounded to their errors,
/// units under the headings, at most some rows, and how many there are.
///
/// Only what is shown is rounded; [`Table::frame`] is the frame as it is.
#[derive(Debug, Clone)]
pub struct Table {
    frame: DataFrame,
    title: String,
    rows: usize,
    columns: Vec<(String, String)>,
    keep_empty: bool,
    /// A column whose texts are told in words.
    words: Option<(String, Words)>,
}

impl Table {
    /// All columns of a frame under their own names, at most 20 rows.
    ///
    /// ```no_run
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// let season = Season::load("my-season")?;
    /// Table::new(season.account.to_frame()?).titled("What became of every row").limit(12);
    /// # Ok(())
    /// # }
    /// ```
    pub fn new(frame: DataFrame) -> Self {
        let columns = frame.get_column_names().into_iter().map(|name| (name.to_string(), name.to_string())).collect();
        Self { frame, title: String::new(), rows: 20, columns, keep_empty: true, words: None }
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

    /// The same table showing these columns in this order; names that the frame lacks are left out.
    #[must_use]
    pub fn columns(mut self, names: &[&str]) -> Self {
        self.columns = names.iter().map(|name| ((*name).to_owned(), (*name).to_owned())).collect();
        self
    }

    /// The same table showing these columns in this order under headings in words: (column, heading). A column without
    /// a single value is left out.
    #[must_use]
    pub fn headed(mut self, columns: &[(&str, &str)]) -> Self {
        self.columns = columns.iter().map(|(name, heading)| ((*name).to_owned(), (*heading).to_owned())).collect();
        self.keep_empty = false;
        self
    }

    /// The same table with the names in one column of text told in words; only what is shown changes.
    #[must_use]
    pub fn in_words(mut self, column: &str, words: fn(&str) -> &str) -> Self {
        self.words = Some((column.to_owned(), words));
        self
    }

    /// The frame, unrounded.
    pub fn frame(&self) -> &DataFrame {
        &self.frame
    }

    fn cells(&self) -> Vec<(String, Cells)> {
        let names: Vec<String> = self.columns.iter().map(|(name, _)| name.clone()).collect();
        let heading = |name: &str| {
            self.columns.iter().find(|(n, _)| n == name).map_or_else(|| name.to_owned(), |(_, heading)| heading.clone())
        };
        cells(&self.frame, &names, self.rows)
            .into_iter()
            .filter(|cells| self.keep_empty || cells.texts.iter().any(|text| !text.is_empty()))
            .map(|mut cells| {
                if let Some((_, words)) = self.words.as_ref().filter(|(column, _)| *column == cells.name) {
                    cells.texts.iter_mut().for_each(|text| *text = words(text).to_owned());
                }
                (heading(&cells.name), cells)
            })
            .collect()
    }

    fn caption(&self) -> String {
        let all = self.frame.height();
        let rows = if all == 1 { "1 row".to_owned() } else { format!("{all} rows") };
        let rows = if all > self.rows { format!("{rows}, the first {} shown", self.rows) } else { rows };
        if self.title.is_empty() { rows } else { format!("{} ({rows})", self.title) }
    }
}

impl Show for Table {
    fn html(&self) -> String {
        let columns = self.cells();
        let shown = self.frame.height().min(self.rows);
        let align = |right: bool| if right { "right" } else { "left" };
        let cell = "padding:.2em .6em;vertical-align:top;text-align:";
        // Numbers, times and short words stay on one line; only sentences break.
        let wrap = |text: &str| if text.chars().count() <= SHORT { ";white-space:nowrap" } else { ";min-width:14em" };
        // A heading takes three lines or so, however narrow the screen.
        let wide = |heading: &str| format!(";min-width:{}em", heading.chars().count().div_ceil(5));
        let (columns, notes) = noted(columns);
        html! {
            div style="overflow-x:auto;max-width:100%;margin:0 0 1.2em" {
                table style="border-collapse:collapse;font-variant-numeric:tabular-nums;font-size:.9em" {
                    caption style="text-align:left;padding:.2em 0;font-weight:600;white-space:nowrap" { (self.caption()) }
                    thead { tr {
                        @for (heading, column) in &columns {
                            th scope="col" title=(column.name)
                                style={ (cell) (align(column.right)) (wide(heading)) ";border-bottom:1px solid currentColor" } {
                                (heading)
                                @if !column.unit.is_empty() {
                                    br; span style="font-weight:400;opacity:.75;white-space:nowrap" { (column.unit) }
                                }
                            }
                        }
                    } }
                    tbody { @for row in 0..shown {
                        tr { @for (_, column) in &columns {
                            @let text = column.texts.get(row).map(String::as_str).unwrap_or_default();
                            td style={ (cell) (align(column.right)) (wrap(text)) } { (text) }
                        } }
                    } }
                }
            }
            @if !notes.is_empty() {
                ol style="max-width:46em;margin:-.6em 0 1.2em;padding-left:2em;font-size:.9em" {
                    @for note in &notes { li { (note) } }
                }
            }
        }
        .into_string()
    }

    fn text(&self) -> String {
        self.to_string()
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.caption())?;
        let columns = self.cells();
        let shown = self.frame.height().min(self.rows);
        let units = columns.iter().any(|(_, column)| !column.unit.is_empty());
        let mut lines = vec![columns.iter().map(|(heading, _)| heading.as_str()).collect::<Vec<_>>()];
        if units {
            lines.push(columns.iter().map(|(_, column)| column.unit.as_str()).collect());
        }
        for row in 0..shown {
            lines.push(columns.iter().map(|(_, c)| c.texts.get(row).map_or("", String::as_str)).collect());
        }
        let right: Vec<bool> = columns.iter().map(|(_, column)| column.right).collect();
        for line in align(&lines, &right) {
            write!(f, "\n{line}")?;
        }
        Ok(())
    }
}

/// The columns with the sentences of [`NOTES`] replaced by numbers, and the sentences, each once.
fn noted(mut columns: Vec<(String, Cells)>) -> (Vec<(String, Cells)>, Vec<String>) {
    let mut notes: Vec<String> = Vec::new();
    for (_, column) in &mut columns {
        let long = |text: &String| text.chars().count() > SHORT;
        if !NOTES.contains(&column.name.as_str()) || !column.texts.iter().any(long) {
            continue;
        }
        for text in column.texts.iter_mut().filter(|text| !text.is_empty()) {
            let place = notes.iter().position(|note| note == text).unwrap_or(notes.len());
            if place == notes.len() {
                notes.push(text.clone());
            }
            *text = format!("note {}", place + 1);
        }
    }
    (columns, notes)
}

/// Lines of cells as lines of text, columns two spaces apart; `right` says which stand at the right.
pub(crate) fn align(lines: &[Vec<&str>], right: &[bool]) -> Vec<String> {
    let width = |column: usize| {
        lines.iter().filter_map(|line| line.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..right.len()).map(width).collect();
    lines
        .iter()
        .map(|line| {
            let cells = line.iter().zip(widths.iter().zip(right)).map(|(cell, (width, right))| {
                let cell = cell.replace(['\n', '\r', '\t'], " ");
                if *right { format!("{cell:>width$}") } else { format!("{cell:<width$}") }
            });
            cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
        })
        .collect()
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
        let table = Table::new(frame).headed(&[("probe", "probe"), ("why", "why not")]);
        let html = table.html();
        assert_eq!((html.matches("note 1<").count(), html.matches("note 2<").count()), (2, 1), "{html}");
        assert!(html.contains("<li>no reading within two days of it</li><li>too &lt;few&gt;</li></ol>"), "{html}");
        assert!(table.to_string().contains("godwit  no reading within"), "{table}");
    }

    #[test]
    fn html_escapes_what_the_user_wrote_and_tells_what_is_left_out() {
        let html = Table::new(frame()).limit(1).headed(&[("batch", "Batch"), ("gone", "Gone")]).html();
        assert!(html.contains("&lt;b&gt;1&lt;/b&gt;") && !html.contains("<b>"), "{html}");
        assert!(html.contains("2 rows, the first 1 shown") && !html.contains("Gone"), "{html}");
        assert!(!html.contains("<style"));
    }
}
