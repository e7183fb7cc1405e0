//! Tables over typed results: a column is a closure over one row, so one that is not there does not compile.

use crate::chart::{Scales, Shown, minute, percent, signed};
use crate::fit::robust::median_of;
use crate::fit::{Estimate, decimals_for};
use crate::units::Instant;

use super::grid::{Grid, GridColumn};

/// A table in the making: its rows, and the columns made of them so far.
#[derive(Debug)]
pub(crate) struct ResultTable<T> {
    rows: Vec<T>,
    limit: usize,
    columns: Vec<GridColumn>,
}

impl<T: Copy> ResultTable<T> {
    /// A table with these rows, of which at most `limit` are shown.
    pub(crate) fn new(rows: impl IntoIterator<Item = T>, limit: usize) -> Self {
        Self { rows: rows.into_iter().collect(), limit, columns: Vec::new() }
    }

    fn column(mut self, heading: &str, unit: &str, right: bool, texts: Vec<String>) -> Self {
        // A column without a single value is left out.
        if texts.iter().take(self.limit).any(|text| !text.is_empty()) {
            let (heading, unit) = (heading.to_owned(), unit.to_owned());
            let texts = texts.into_iter().take(self.limit).collect();
            self.columns.push(GridColumn { heading, unit, right, texts, ..GridColumn::default() });
        }
        self
    }

    /// The texts of a column, empty where a row has none.
    fn texts(&self, cell: impl Fn(T) -> Option<String>) -> Vec<String> {
        self.rows.iter().map(|row| cell(*row).unwrap_or_default()).collect()
    }

    /// A column of words.
    pub(crate) fn text<S: ToString>(self, heading: &str, cell: impl Fn(T) -> S) -> Self {
        let texts = self.texts(|row| Some(cell(row).to_string()));
        self.column(heading, "", false, texts)
    }

    /// A column of sentences, which stand below the table.
    pub(crate) fn note<S: ToString>(self, heading: &str, cell: impl Fn(T) -> Option<S>) -> Self {
        let (before, texts) = (self.columns.len(), self.texts(|row| Some(cell(row)?.to_string())));
        let mut made = self.column(heading, "", false, texts);
        made.columns.iter_mut().skip(before).for_each(|column| column.notes = true);
        made
    }

    /// A column of numbers with these decimals.
    pub(crate) fn number(
        self,
        heading: &str,
        unit: impl Into<Shown>,
        decimals: usize,
        cell: impl Fn(T) -> Option<f64>,
    ) -> Self {
        let shown: Shown = unit.into();
        let texts = self.texts(|row| Some(signed(shown.value(cell(row)?), shown.decimals(decimals), false)));
        self.column(heading, &shown.unit, true, texts)
    }

    /// A column of whole numbers.
    pub(crate) fn count(self, heading: &str, cell: impl Fn(T) -> usize) -> Self {
        self.number(heading, "", 0, |row| Some(cell(row) as f64))
    }

    /// A column of probabilities.
    pub(crate) fn chance(self, heading: &str, cell: impl Fn(T) -> Option<f64>) -> Self {
        let texts = self.texts(|row| cell(row).map(percent));
        self.column(heading, "", true, texts)
    }

    /// A column of times.
    pub(crate) fn time(self, heading: &str, scales: &Scales, cell: impl Fn(T) -> Option<Instant>) -> Self {
        let texts = self.texts(|row| cell(row).map(|at| minute(at, &scales.zone)));
        self.column(heading, scales.clock(), true, texts)
    }

    /// A column of estimates of one quantity with their intervals, all to the decimals of its middle error. The level
    /// stands under the heading.
    pub(crate) fn estimate<'e>(
        self,
        heading: &str,
        unit: impl Into<Shown>,
        cell: impl Fn(T) -> Option<&'e Estimate>,
    ) -> Self {
        let shown: Shown = unit.into();
        let all: Vec<_> = self.rows.iter().map(|row| Some(shown.estimate(cell(*row)?))).collect();
        let middle = median_of(&mut all.iter().flatten().map(|e| e.se).filter(|se| *se > 0.0).collect::<Vec<_>>());
        self.intervals(heading, &shown.unit, &all, |e| decimals_for(middle.unwrap_or(e.se)))
    }

    /// A column of estimates of several quantities, each to the decimals of its own error.
    pub(crate) fn mixed<'e>(
        self,
        heading: &str,
        unit: impl Fn(T) -> Shown,
        cell: impl Fn(T) -> Option<&'e Estimate>,
    ) -> Self {
        let all: Vec<_> = self.rows.iter().map(|row| Some(unit(*row).estimate(cell(*row)?))).collect();
        self.intervals(heading, "", &all, |e| decimals_for(e.se))
    }

    fn intervals(
        self,
        heading: &str,
        unit: &str,
        all: &[Option<Estimate>],
        decimals: impl Fn(&Estimate) -> usize,
    ) -> Self {
        let text = |e: &Estimate| {
            let [value, lower, upper] = [e.value, e.lower, e.upper].map(|v| signed(v, decimals(e), false));
            format!("{value} ({lower} to {upper})")
        };
        let level = all.iter().flatten().next().map(|e| percent(e.level));
        let unit = [Some(unit.to_owned()).filter(|unit| !unit.is_empty()), level];
        let unit = unit.into_iter().flatten().collect::<Vec<_>>().join(", ");
        let texts: Vec<String> = all.iter().map(|e| e.as_ref().map_or_else(String::new, text)).collect();
        self.column(heading, &unit, true, texts)
    }

    /// The table, laid out under its title.
    pub(crate) fn titled(self, title: &str) -> Grid {
        Grid { title: title.to_owned(), rows: self.rows.len(), columns: self.columns }
    }
}

#[cfg(test)]
mod tests {
    use super::super::page::Show;
    use super::*;

    fn estimate(value: f64) -> Estimate {
        Estimate { value, se: 0.4, lower: value - 0.7, upper: value + 0.7, level: 0.9, method: "t".into() }
    }

    #[test]
    fn columns_hold_what_their_closures_say_and_empty_ones_are_left_out() {
        let rows = [("<b>1</b>", Some(estimate(12.34)), None), ("two", None, Some("no reading within two days of it"))];
        let table = ResultTable::new(&rows, 20)
            .text("batch", |row| row.0)
            .estimate("lag", "h", |row| row.1.as_ref())
            .number("gone", "", 1, |_| None)
            .note("why not", |row| row.2)
            .titled("Lags");
        let expected = [
            "Lags (2 rows)",
            "batch                     lag  why not",
            "                      h, 90 %",
            "<b>1</b>  12.3 (11.6 to 13.0)",
            "two                            no reading within two days of it",
        ];
        assert_eq!(table.to_string(), expected.join("\n"));
        let html = table.html();
        assert!(html.contains("&lt;b&gt;") && html.contains("note 1<") && !html.contains("gone"), "{html}");
    }
}
