//! One cell of a table: as a file holds it, and as the schema wants it.

use std::fmt;

use crate::units::Instant;

use super::table::SeasonTable;

/// A cell as a reader finds it, before mapping and units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum SourceCell<'a> {
    /// Nothing there.
    Empty,
    /// Text, not yet trimmed.
    Text(&'a str),
    /// A number that the format itself stores as one.
    Number(f64),
    /// An instant that the format itself stores as one.
    Time(Instant),
    /// Something no column can hold, such as a list, described in words.
    Odd(&'static str),
}

impl fmt::Display for SourceCell<'_> {
    /// As a rejected row shows it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => Ok(()),
            Self::Text(text) | Self::Odd(text) => f.write_str(text),
            Self::Number(number) => write!(f, "{number}"),
            Self::Time(at) => write!(f, "{at}"),
        }
    }
}

/// A cell that fits its column.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum CellValue {
    Empty,
    Text(String),
    Number(f64),
    Time(Instant),
}

impl CellValue {
    pub(crate) fn as_text(&self) -> Option<&str> {
        if let Self::Text(text) = self { Some(text) } else { None }
    }

    pub(crate) fn as_number(&self) -> Option<f64> {
        if let Self::Number(number) = self { Some(*number) } else { None }
    }

    pub(crate) fn as_time(&self) -> Option<Instant> {
        if let Self::Time(at) = self { Some(*at) } else { None }
    }
}

impl fmt::Display for CellValue {
    /// As a text file holds it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => Ok(()),
            Self::Text(text) => f.write_str(text),
            Self::Number(number) => write!(f, "{number}"),
            Self::Time(at) => write!(f, "{at}"),
        }
    }
}

impl From<Option<&str>> for CellValue {
    fn from(text: Option<&str>) -> Self {
        text.map_or(Self::Empty, |t| Self::Text(t.to_owned()))
    }
}

impl From<&Option<String>> for CellValue {
    fn from(text: &Option<String>) -> Self {
        text.as_deref().into()
    }
}

impl From<&str> for CellValue {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<Option<f64>> for CellValue {
    fn from(number: Option<f64>) -> Self {
        number.filter(|n| n.is_finite()).map_or(Self::Empty, Self::Number)
    }
}

impl From<Option<Instant>> for CellValue {
    fn from(at: Option<Instant>) -> Self {
        at.map_or(Self::Empty, Self::Time)
    }
}

impl From<Instant> for CellValue {
    fn from(at: Instant) -> Self {
        Self::Time(at)
    }
}

/// The cells of one row in the order of the table's columns, taken out by name.
#[derive(Debug)]
pub(crate) struct RowValues {
    table: SeasonTable,
    values: Vec<CellValue>,
}

impl RowValues {
    pub(crate) fn new(table: SeasonTable, values: Vec<CellValue>) -> Self {
        Self { table, values }
    }

    fn take(&mut self, name: &str) -> CellValue {
        let slot = self.table.columns().iter().position(|c| c.name == name).and_then(|i| self.values.get_mut(i));
        debug_assert!(slot.is_some(), "{} has no column {name}", self.table);
        slot.map_or(CellValue::Empty, |v| std::mem::replace(v, CellValue::Empty))
    }

    /// The text of a column, if any.
    pub(crate) fn text(&mut self, name: &str) -> Option<String> {
        match self.take(name) {
            CellValue::Text(text) => Some(text),
            _ => None,
        }
    }

    /// The number of a column, if any.
    pub(crate) fn number(&mut self, name: &str) -> Option<f64> {
        match self.take(name) {
            CellValue::Number(number) => Some(number),
            _ => None,
        }
    }

    /// The instant of a column, if any.
    pub(crate) fn time(&mut self, name: &str) -> Option<Instant> {
        match self.take(name) {
            CellValue::Time(at) => Some(at),
            _ => None,
        }
    }
}
