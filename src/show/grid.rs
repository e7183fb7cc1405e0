//! A table laid out in texts, and how it looks on a page, in a notebook and on a terminal.

use std::fmt;

use maud::{Markup, html};

use super::page::Show;

/// Texts up to this many letters are not broken.
const SHORT: usize = 26;

/// One column of a [`Grid`].
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct GridColumn {
    pub(crate) heading: String,
    /// Stands under the heading.
    pub(crate) unit: String,
    /// Numbers and times stand at the right.
    pub(crate) right: bool,
    /// Sentences that many rows share or that make their rows tall: each stands once below the table.
    pub(crate) notes: bool,
    /// One text a row.
    pub(crate) texts: Vec<String>,
}

/// A table of texts in columns under headings.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Grid {
    pub(crate) title: String,
    pub(crate) columns: Vec<GridColumn>,
    /// Rows that there are, of which the columns hold the first.
    pub(crate) rows: usize,
}

impl Grid {
    fn shown(&self) -> usize {
        self.columns.iter().map(|column| column.texts.len()).max().unwrap_or(0)
    }

    /// The title and how many rows there are.
    fn caption(&self) -> String {
        let rows = if self.rows == 1 { "1 row".to_owned() } else { format!("{} rows", self.rows) };
        let shown = self.shown();
        let rows = if self.rows > shown { format!("{rows}, the first {shown} shown") } else { rows };
        if self.title.is_empty() { rows } else { format!("{} ({rows})", self.title) }
    }

    /// The table as a fragment of HTML with inline attributes only. It scrolls sideways where it is too wide.
    pub(crate) fn markup(&self) -> Markup {
        let (columns, notes) = noted(&self.columns);
        let align = |column: &GridColumn| if column.right { "right" } else { "left" };
        let cell = "padding:.2em .6em .2em 0;vertical-align:top;text-align:";
        // Numbers, times and short words stay on one line; only sentences break.
        let wrap = |column: &GridColumn, text: &str| match column.right || text.chars().count() <= SHORT {
            true => ";white-space:nowrap",
            false => ";min-width:14em",
        };
        // A heading takes three lines or so, however narrow the screen.
        let wide = |heading: &str| format!(";min-width:{}em", heading.chars().count().div_ceil(5));
        html! {
            div style="overflow-x:auto;max-width:100%;margin:0 0 1.2em" tabindex="0" role="group" aria-label=(self.caption()) {
                table style="border-collapse:collapse;font-variant-numeric:tabular-nums;font-size:.9em" {
                    @if !self.title.is_empty() || self.rows > self.shown() {
                        caption style="text-align:left;padding:.2em 0;font-weight:600;white-space:nowrap" { (self.caption()) }
                    }
                    thead { tr {
                        @for column in &columns {
                            th scope="col" style={ (cell) (align(column)) (wide(&column.heading)) ";border-bottom:1px solid currentColor" } {
                                (column.heading)
                                @if !column.unit.is_empty() {
                                    br; span style="font-weight:400;opacity:.75;white-space:nowrap" { (column.unit) }
                                }
                            }
                        }
                    } }
                    tbody { @for row in 0..self.shown() {
                        tr { @for column in &columns {
                            @if let Some(text) = column.texts.get(row) { td style={ (cell) (align(column)) (wrap(column, text)) } { (text) } }
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
    }
}

impl Show for Grid {
    fn html(&self) -> String {
        self.markup().into_string()
    }
}

impl fmt::Display for Grid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.caption())?;
        self.lines(usize::MAX).iter().try_for_each(|line| write!(f, "\n{line}"))
    }
}

impl Grid {
    /// The lines of the table without its title, columns two spaces apart, as many as fit into `most` letters.
    pub(crate) fn lines(&self, most: usize) -> Vec<String> {
        let mut lines = vec![String::new(); self.shown() + 2];
        let mut taken = 0;
        for column in &self.columns {
            let cells = [&column.heading, &column.unit].into_iter().chain(&column.texts);
            let cells: Vec<String> = cells.map(|cell| cell.replace(['\n', '\r', '\t'], " ")).collect();
            let width = cells.iter().map(|cell| cell.chars().count()).max().unwrap_or(0);
            if taken + width > most {
                break;
            }
            taken += width + 2;
            for (line, cell) in lines.iter_mut().zip(&cells) {
                let cell = if column.right { format!("{cell:>width$}") } else { format!("{cell:<width$}") };
                line.push_str(&cell);
                line.push_str("  ");
            }
        }
        let units = self.columns.iter().any(|column| !column.unit.is_empty());
        let kept = lines.iter().enumerate().filter(|(i, _)| units || *i != 1);
        kept.map(|(_, line)| line.trim_end().to_owned()).collect()
    }
}

/// The columns with sentences replaced by numbers, and the sentences, each once.
fn noted(columns: &[GridColumn]) -> (Vec<GridColumn>, Vec<String>) {
    let (mut columns, mut notes) = (columns.to_vec(), Vec::<String>::new());
    let long = |text: &String| text.chars().count() > SHORT;
    for column in columns.iter_mut().filter(|column| column.notes && column.texts.iter().any(long)) {
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
