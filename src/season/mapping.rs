//! What `season.toml` says about the files: which belong to which table, and how their columns are to be read.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use regex::Regex;

use crate::units::{celsius_from_fahrenheit, celsius_from_kelvin};

use super::cells::CellValue;
use super::table::{Quantity, SeasonTable};
use super::time::TimeReader;

/// How a number of a file becomes a number of its column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Unit {
    /// It is in the column's unit already.
    AsIs,
    /// It is multiplied by this.
    Times(f64),
    /// Degrees Fahrenheit to C.
    Fahrenheit,
    /// Kelvin to C.
    Kelvin,
    /// Extract, mass percent, to SG.
    Plato,
    /// Density at 20 C in this many kg/m3 to SG.
    Density(f64),
}

/// Temperature at which a density stands for an SG 20/20, C.
const SG_TEMP_C: f64 = 20.0;

impl Unit {
    /// The units of a quantity, by the names that a mapping may use; the column's own is first.
    pub(crate) const fn of(quantity: Quantity) -> &'static [(&'static str, Self)] {
        match quantity {
            Quantity::Angle | Quantity::AngleSd => {
                &[("deg", Self::AsIs), ("rad", Self::Times(180.0 / std::f64::consts::PI))]
            }
            Quantity::Temperature => {
                &[("degC", Self::AsIs), ("C", Self::AsIs), ("degF", Self::Fahrenheit), ("K", Self::Kelvin)]
            }
            Quantity::Gravity => &[
                ("sg", Self::AsIs),
                ("plato", Self::Plato),
                ("kg/m3", Self::Density(1.0)),
                ("g/L", Self::Density(1.0)),
                ("g/cm3", Self::Density(1000.0)),
                ("g/mL", Self::Density(1000.0)),
            ],
            Quantity::Voltage => &[("V", Self::AsIs), ("mV", Self::Times(1e-3))],
            Quantity::Mass => &[("g", Self::AsIs), ("mg", Self::Times(1e-3)), ("kg", Self::Times(1e3))],
            Quantity::Length => {
                &[("mm", Self::AsIs), ("cm", Self::Times(10.0)), ("m", Self::Times(1e3)), ("in", Self::Times(25.4))]
            }
            Quantity::Volume => &[("L", Self::AsIs), ("mL", Self::Times(1e-3)), ("hL", Self::Times(100.0))],
            Quantity::RawGravity | Quantity::GravitySd | Quantity::Plain => &[],
        }
    }

    /// `value` in the column's unit.
    pub(crate) fn convert(self, value: f64) -> crate::error::Result<f64> {
        Ok(match self {
            Self::AsIs => value,
            Self::Times(factor) => value * factor,
            Self::Fahrenheit => celsius_from_fahrenheit(value),
            Self::Kelvin => celsius_from_kelvin(value),
            Self::Plato => crate::liquid::sg_from_plato(value)?,
            Self::Density(kg_m3) => value * kg_m3 / crate::liquid::water_density_kg_m3(SG_TEMP_C)?,
        })
    }
}

/// A column that a file calls by another name, or gives in another unit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct MappedColumn {
    /// The file's name for it.
    pub(crate) from: String,
    pub(crate) unit: Unit,
}

/// How one file is to be read.
#[derive(Debug, Clone, Default)]
pub(crate) struct Mapping {
    /// Mapped columns by their name in the table.
    pub(crate) columns: BTreeMap<String, MappedColumn>,
    /// Constants by the column's name in the table.
    pub(crate) constants: BTreeMap<String, CellValue>,
    /// How to read times.
    pub(crate) times: TimeReader,
    /// True when numbers have a comma for a decimal point.
    pub(crate) decimal_comma: bool,
    /// The delimiter, where it is not left to the header.
    pub(crate) delimiter: Option<u8>,
    /// Lines before the header.
    pub(crate) skip_lines: usize,
    /// Column names of a file that has no header.
    pub(crate) header: Option<Vec<String>>,
}

impl Mapping {
    /// Names, units and forms as the tables have them; local times in `zone`, UTC where none is named.
    pub(crate) fn plain(zone: Option<TimeZone>) -> Self {
        Self { times: TimeReader { zone, format: None }, ..Self::default() }
    }

    /// Reads a trimmed number, or says what was wanted.
    pub(crate) fn number(&self, text: &str) -> Result<f64, &'static str> {
        let parsed = if self.decimal_comma {
            if text.contains('.') {
                return Err("a number with a decimal comma and no other sign in it");
            }
            text.replace(',', ".").parse()
        } else {
            text.parse()
        };
        match parsed {
            Ok(number) => Ok(number),
            Err(_) if !self.decimal_comma && text.replace(',', ".").parse::<f64>().is_ok() => {
                Err("a number with a decimal point; for decimal commas set `decimal = \",\"` in season.toml")
            }
            Err(_) => Err("a number"),
        }
    }
}

/// One `[[files]]` entry.
#[derive(Debug, Clone)]
pub(crate) struct FileRule {
    /// The pattern as written.
    pub(crate) pattern: String,
    /// The pattern, with one group for each `*`.
    pub(crate) regex: Regex,
    pub(crate) table: SeasonTable,
    /// How to read its files, before the text of the `*`s is known.
    pub(crate) mapping: Mapping,
}

impl FileRule {
    /// How to read the file of that name, relative to the season's folder; none when the pattern does not match.
    /// A pattern without `/` is matched against the last part of the name.
    pub(crate) fn matching(&self, name: &str) -> Option<Mapping> {
        let subject = if self.pattern.contains('/') { name } else { name.rsplit('/').next().unwrap_or(name) };
        let captures = self.regex.captures(subject)?;
        let mut mapping = self.mapping.clone();
        for constant in mapping.constants.values_mut() {
            if let CellValue::Text(text) = constant {
                for (i, group) in captures.iter().enumerate().skip(1) {
                    *text = text.replace(&format!("{{{i}}}"), group.map_or("", |g| g.as_str()));
                }
            }
        }
        Some(mapping)
    }
}

/// A pattern with `*` (any text without `/`) and `?` (any one character but `/`) as a regular expression.
pub(crate) fn glob(pattern: &str) -> Result<Regex, regex::Error> {
    let mut text = String::from("^");
    for c in pattern.chars() {
        match c {
            '*' => text.push_str("([^/]*)"),
            '?' => text.push_str("[^/]"),
            other => text.push_str(&regex::escape(other.encode_utf8(&mut [0; 4]))),
        }
    }
    text.push('$');
    Regex::new(&text)
}

/// All of `season.toml`.
#[derive(Debug, Clone, Default)]
pub(crate) struct SeasonMap {
    /// The zone of times without an offset, where one is named.
    pub(crate) zone: Option<TimeZone>,
    /// The `[[files]]` in order; the first that matches a file decides.
    pub(crate) files: Vec<FileRule>,
}
