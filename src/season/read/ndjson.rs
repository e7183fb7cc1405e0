//! The reader for newline-delimited JSON: one object a line, in any order of its keys.

use std::collections::HashSet;
use std::fmt;

use serde::Deserializer;
use serde::de::{Error, MapAccess, Visitor};
use serde_json::Value as Json;

use crate::season::cells::SourceCell;
use crate::season::names::short;
use crate::season::row_error::{QUOTED, RowError};

use super::delimited::{is_blank, lines};
use super::{KEPT_TEXT, MAX_ROW, RawRow};

/// The keys of all lines, in the order of their first appearance.
pub(crate) fn json_keys(text: &[u8]) -> Vec<String> {
    let (mut keys, mut seen) = (Vec::new(), HashSet::new());
    for object in lines(text).filter_map(|(_, _, line)| parse(line).ok()) {
        keys.extend(object.keys().filter(|key| !seen.contains(*key) && seen.insert((*key).clone())).cloned());
    }
    keys
}

/// Gives every row that is not blank to `each`, its cells in the order of `keys`.
pub(crate) fn each_json_row(text: &[u8], keys: &[String], each: &mut dyn FnMut(RawRow<'_>)) {
    for (line, _, row) in lines(text).filter(|(_, _, row)| !is_blank(row)) {
        let object = parse(row);
        let cells = object.as_ref().map(|object| keys.iter().map(|key| cell(object.get(key))).collect::<Vec<_>>());
        let text = || short(&String::from_utf8_lossy(row), KEPT_TEXT);
        each(RawRow { line, cells: cells.as_deref().map_err(|reason| (*reason).clone()), text: &text });
    }
}

fn parse(line: &[u8]) -> Result<serde_json::Map<String, Json>, RowError> {
    if line.len() > MAX_ROW {
        return Err(RowError::too_long(line.len(), MAX_ROW));
    }
    let mut reader = serde_json::Deserializer::from_slice(line);
    let object = reader.deserialize_map(EachOnce).and_then(|object| reader.end().map(|()| object));
    object.map_err(|e| RowError::found("the line is no JSON object: ", e.to_string(), ""))
}

/// Takes an object whose keys stand once each: of two values under one key nobody knows which is meant.
struct EachOnce;

impl<'de> Visitor<'de> for EachOnce {
    type Value = serde_json::Map<String, Json>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object { ... }")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Self::Value, A::Error> {
        let mut object = Self::Value::new();
        while let Some(key) = entries.next_key::<String>()? {
            if object.contains_key(&key) {
                return Err(A::Error::custom(format_args!("the key `{}` stands twice", short(&key, QUOTED))));
            }
            object.insert(key, entries.next_value()?);
        }
        Ok(object)
    }
}

fn cell(value: Option<&Json>) -> SourceCell<'_> {
    match value {
        None | Some(Json::Null) => SourceCell::Empty,
        Some(Json::String(text)) => SourceCell::Text(text),
        Some(Json::Number(number)) => {
            number.as_f64().map_or(SourceCell::Odd("a number out of range"), SourceCell::Number)
        }
        Some(Json::Bool(_)) => SourceCell::Odd("true or false"),
        Some(Json::Array(_)) => SourceCell::Odd("a list"),
        Some(Json::Object(_)) => SourceCell::Odd("an object"),
    }
}
