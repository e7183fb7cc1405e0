//! A polars frame as a table for reading.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::{Error, Result};

use super::cells::column;
use super::grid::Grid;
use super::page::Show;

/// A polars frame that shows well in a notebook and on a terminal: numbers at the right and rounded to their errors,
/// units under the headings, at most some rows, and how many there are.
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
#[path = "../../tests/inside/table.rs"]
mod tests;
