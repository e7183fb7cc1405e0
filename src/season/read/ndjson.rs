//! The reader for newline-delimited JSON: one object a line, in any order of its keys.

use std::collections::HashSet;

use serde_json::Value as Json;

use crate::season::names::short;
use crate::season::row_error::{RowError, RowErrorKind};
use crate::season::value::SourceCell;

use super::delimited::Lines;
use super::{KEPT_TEXT, MAX_ROW, RawRow};

/// Newline-delimited JSON with the keys of all its lines read.
pub(crate) struct Ndjson<'a> {
    text: &'a [u8],
    header: Vec<String>,
}

impl<'a> Ndjson<'a> {
    /// Reads the keys of all lines, in the order of their first appearance.
    pub(crate) fn open(text: &'a [u8]) -> Self {
        let (mut header, mut seen) = (Vec::new(), HashSet::new());
        for (_, _, line) in Lines::new(text) {
            if let Ok(Json::Object(object)) = parse(line) {
                for key in object.keys() {
                    if !seen.contains(key) {
                        seen.insert(key.clone());
                        header.push(key.clone());
                    }
                }
            }
        }
        Self { text, header }
    }

    /// The keys.
    pub(crate) fn header(&self) -> &[String] {
        &self.header
    }

    /// True when no line is anything but blank: a table without rows.
    pub(crate) fn is_blank(&self) -> bool {
        self.text.iter().all(u8::is_ascii_whitespace)
    }

    /// Gives every row that is not blank to `each`.
    pub(crate) fn each(self, each: &mut dyn FnMut(RawRow<'_>)) {
        for (line, _, row) in Lines::new(self.text).filter(|(_, _, row)| !row.iter().all(u8::is_ascii_whitespace)) {
            let text = || short(&String::from_utf8_lossy(row), KEPT_TEXT);
            match parse(row) {
                Ok(Json::Object(object)) => {
                    let cells: Vec<SourceCell<'_>> = self.header.iter().map(|key| cell(object.get(key))).collect();
                    each(RawRow { line, cells: Ok(&cells), text: &text });
                }
                Ok(_) => {
                    each(RawRow { line, cells: Err(RowErrorKind::NotAnObject.into()), text: &text });
                }
                Err(reason) => each(RawRow { line, cells: Err(reason), text: &text }),
            }
        }
    }
}

fn parse(line: &[u8]) -> Result<Json, RowError> {
    if line.len() > MAX_ROW {
        return Err(RowErrorKind::TooLong { most: MAX_ROW }.found(line.len().to_string()));
    }
    serde_json::from_slice(line).map_err(|e| RowErrorKind::NotJson.found(e.to_string()))
}

fn cell(value: Option<&Json>) -> SourceCell<'_> {
    match value {
        None | Some(Json::Null) => SourceCell::Empty,
        Some(Json::String(text)) if text.is_empty() => SourceCell::Empty,
        Some(Json::String(text)) => SourceCell::Text(text),
        Some(Json::Number(number)) => {
            number.as_f64().map_or(SourceCell::Odd("a number out of range"), SourceCell::Number)
        }
        Some(Json::Bool(_)) => SourceCell::Odd("true or false"),
        Some(Json::Array(_)) => SourceCell::Odd("a list"),
        Some(Json::Object(_)) => SourceCell::Odd("an object"),
    }
}
