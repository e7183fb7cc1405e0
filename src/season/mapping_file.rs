//! Reading `season.toml`, with the line of each slip.

use std::path::Path;

use jiff::tz::{TimeZone, TimeZoneDatabase};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::error::{Error, Place, Result};

use super::cells::CellValue;
use super::mapping::{FileRule, MappedColumn, Mapping, SeasonMap, Unit, glob};
use super::names::{guess, list};
use super::read::read_text;
use super::table::{SeasonTable, TableColumn};
use super::time::{TimeReader, is_time_format};

pub(crate) const SEASON_TOML: &str = "season.toml";

/// What may stand at the top. What stands below `study` is read by the study.
const TOP_KEYS: &[&str] = &["time_zone", "files", "study", "report"];
const FILE_KEYS: &[&str] = &[
    "match",
    "table",
    "decimal",
    "time_format",
    "time_zone",
    "delimiter",
    "skip_lines",
    "header",
    "constants",
    "columns",
];
/// Most lines that may stand before a header.
const MOST_SKIPPED: usize = 1_000_000;
const COLUMN_KEYS: &[&str] = &["from", "unit"];

type Node<'a> = Spanned<DeValue<'a>>;

/// The text of `season.toml` in a folder; empty where there is none, as below a season of one file.
pub(crate) fn season_toml(dir: &Path) -> Result<String> {
    let path = dir.join(SEASON_TOML);
    if path.exists() { read_text(&path, SEASON_TOML) } else { Ok(String::new()) }
}

/// Reads `season.toml` in `dir`, or the default where there is none.
pub(crate) fn read_season_map(dir: &Path) -> Result<SeasonMap> {
    parse(&season_toml(dir)?)
}

/// Parses the text of a `season.toml`.
pub(crate) fn parse(text: &str) -> Result<SeasonMap> {
    let file = TomlText { text };
    let document = DeTable::parse(text)
        .map_err(|e| file.error(e.span().map_or(0, |s| s.start), "", e.message(), "TOML as the README shows it"))?;
    let top = document.get_ref();
    file.check_keys(top, TOP_KEYS)?;
    let zone = file.value(top, "time_zone", ZONE, zone)?;
    let entries = file.value(top, "files", "one or more [[files]] tables", |value| value.as_array())?;
    let rules = entries.into_iter().flat_map(|entries| entries.iter()).map(|entry| file.rule(entry, &zone));
    Ok(SeasonMap { files: rules.collect::<Result<_>>()?, zone })
}

/// What a time zone is, for messages.
const ZONE: &str = "an IANA time zone such as Europe/Oslo, or UTC";

fn zone(value: &DeValue<'_>) -> Option<TimeZone> {
    // The bundled rules, not those of the machine, so that a season means the same everywhere.
    TimeZoneDatabase::bundled().get(value.as_str()?).ok()
}

struct TomlText<'a> {
    text: &'a str,
}

impl TomlText<'_> {
    fn error(&self, start: usize, key: &str, found: impl Into<String>, wanted: impl Into<String>) -> Error {
        let place = place_in(self.text, start);
        Error::input(if key.is_empty() { place } else { place.column(key) }, found, wanted)
    }

    fn check_keys(&self, table: &DeTable<'_>, known: &[&str]) -> Result<()> {
        let Some(key) = table.keys().find(|key| !known.contains(&key.get_ref().as_ref())) else { return Ok(()) };
        let (start, name) = (key.span().start, key.get_ref().as_ref());
        let error = self.error(start, "", format!("the key `{name}`"), format!("one of {}", list(known)));
        Err(error.with_hint(meant(name, known)))
    }

    /// A value as `read` takes it; none where the key is not there.
    fn value<'t, 'i, T>(
        &self,
        table: &'t DeTable<'i>,
        key: &str,
        wanted: &str,
        read: impl Fn(&'t DeValue<'i>) -> Option<T>,
    ) -> Result<Option<T>> {
        table.get(key).map(|node| self.read(node, key, wanted, read)).transpose()
    }

    /// The value at a place as `read` takes it.
    fn read<'t, 'i, T>(
        &self,
        node: &'t Node<'i>,
        key: &str,
        wanted: &str,
        read: impl Fn(&'t DeValue<'i>) -> Option<T>,
    ) -> Result<T> {
        let value = node.get_ref();
        read(value).ok_or_else(|| {
            let found = value.as_str().map_or_else(|| value.type_str().to_owned(), |text| format!("`{text}`"));
            self.error(node.span().start, key, found, wanted)
        })
    }

    fn rule(&self, entry: &Node<'_>, season_zone: &Option<TimeZone>) -> Result<FileRule> {
        let start = entry.span().start;
        let table = self.read(entry, "files", "a table { name = value }", DeValue::as_table)?;
        self.check_keys(table, FILE_KEYS)?;
        let pattern =
            self.value(table, "match", "a pattern such as \"log-*.csv\"", DeValue::as_str)?.ok_or_else(|| {
                self.error(start, "match", "a [[files]] table without it", "a pattern such as \"log-*.csv\"")
            })?;
        let regex = glob(pattern).map_err(|e| self.error(start, "match", e.to_string(), "a file pattern"))?;
        let names: Vec<&str> = SeasonTable::ALL.iter().map(|t| t.name()).collect();
        let one_of = format!("one of {}", list(&names));
        let of_table = self.value(table, "table", &one_of, |value| SeasonTable::from_name(value.as_str()?));
        let of_table = of_table
            .map_err(|error| {
                let name = table.get("table").and_then(|node| node.get_ref().as_str());
                error.with_hint(name.and_then(|name| meant(name, &names)))
            })?
            .ok_or_else(|| self.error(start, "table", format!("`{pattern}` without it"), one_of))?;
        let form = "a strftime format such as \"%d.%m.%Y %H:%M\"";
        let format =
            self.value(table, "time_format", form, |value| value.as_str().filter(|form| is_time_format(form)))?;
        let own_zone = self.value(table, "time_zone", ZONE, zone)?;
        let decimal_comma = self.value(table, "decimal", "\".\" or \",\"", |value| {
            [".", ","].into_iter().position(|sign| Some(sign) == value.as_str()).map(|place| place == 1)
        })?;
        let delimiter =
            self.value(table, "delimiter", "one of \",\", \";\", \"\\t\"", |value| match value.as_str()?.as_bytes() {
                [one] if !one.is_ascii_alphanumeric() && !matches!(one, b'"' | b'\n' | b'\r') => Some(*one),
                _ => None,
            })?;
        let lines = format!("a whole number from 0 to {MOST_SKIPPED}");
        let skip_lines = self.value(table, "skip_lines", &lines, |value| {
            value.as_integer()?.as_str().parse().ok().filter(|count| *count <= MOST_SKIPPED)
        })?;
        let header = self.value(table, "header", "a list of names, [\"when\", \"lean\"]", |value| {
            value.as_array()?.iter().map(|name| name.get_ref().as_str().map(str::to_owned)).collect()
        })?;
        let mut mapping = Mapping {
            times: TimeReader { zone: own_zone.or_else(|| season_zone.clone()), format: format.map(str::to_owned) },
            decimal_comma: decimal_comma == Some(true),
            delimiter,
            skip_lines: skip_lines.unwrap_or(0),
            header,
            ..Mapping::default()
        };
        for (key, node) in
            self.value(table, "columns", "a table { name = value }", DeValue::as_table)?.into_iter().flatten()
        {
            let column = self.column(of_table, key)?;
            mapping.columns.insert(column.name.to_owned(), self.mapped(column, node)?);
        }
        for (key, node) in
            self.value(table, "constants", "a table { name = value }", DeValue::as_table)?.into_iter().flatten()
        {
            let name = self.column(of_table, key)?.name;
            if mapping.columns.contains_key(name) {
                let found = format!("`{name}` under `columns` and under `constants`");
                return Err(self.error(key.span().start, "constants", found, "it under one of them"));
            }
            mapping.constants.insert(name.to_owned(), self.read(node, name, "a text or a number", constant)?);
        }
        Ok(FileRule { pattern: pattern.to_owned(), regex, table: of_table, mapping })
    }

    fn column(&self, table: SeasonTable, key: &Spanned<toml::de::DeString<'_>>) -> Result<&'static TableColumn> {
        let name = key.get_ref().as_ref();
        table.columns().iter().find(|c| c.name == name).ok_or_else(|| {
            let known: Vec<&str> = table.columns().iter().map(|c| c.name).collect();
            let wanted = format!("columns of {table}: {}", list(&known));
            self.error(key.span().start, "", format!("the column `{name}`"), wanted).with_hint(meant(name, &known))
        })
    }

    fn mapped(&self, column: &TableColumn, node: &Node<'_>) -> Result<MappedColumn> {
        if let Some(from) = node.get_ref().as_str() {
            return Ok(MappedColumn { from: from.to_owned(), unit: Unit::AsIs });
        }
        let wanted = "a column's name, or { from = \"name\", unit = \"degF\" }";
        let table = self.read(node, column.name, wanted, DeValue::as_table)?;
        self.check_keys(table, COLUMN_KEYS)?;
        let from = self.value(table, "from", "a text in quotes", DeValue::as_str)?.unwrap_or(column.name);
        let units = Unit::of(column.quantity);
        let known: Vec<&str> = units.iter().map(|(name, _)| *name).collect();
        let wanted = if known.is_empty() {
            format!("no unit: `{}` has none to choose from", column.name)
        } else {
            format!("a unit of `{}`: {}", column.name, list(&known))
        };
        let unit = self.value(table, "unit", &wanted, |value| {
            units.iter().find(|(name, _)| Some(*name) == value.as_str()).map(|(_, unit)| *unit)
        })?;
        Ok(MappedColumn { from: from.to_owned(), unit: unit.unwrap_or(Unit::AsIs) })
    }
}

fn constant(value: &DeValue<'_>) -> Option<CellValue> {
    let number = |text: &str| text.replace('_', "").parse().ok().filter(|n: &f64| n.is_finite()).map(CellValue::Number);
    match value {
        DeValue::String(text) => Some(CellValue::Text(text.to_string())),
        DeValue::Datetime(at) => Some(CellValue::Text(at.to_string())),
        DeValue::Integer(i) => number(i.as_str()),
        DeValue::Float(f) => number(f.as_str()),
        _ => None,
    }
}

/// The line of a place in the text of a `season.toml`.
pub(crate) fn place_in(text: &str, start: usize) -> Place {
    Place::file(SEASON_TOML).line(text.bytes().take(start).filter(|b| *b == b'\n').count() as u64 + 1)
}

/// A guess at the name that was meant, as a hint.
pub(crate) fn meant<S: AsRef<str>>(name: &str, known: &[S]) -> Option<String> {
    guess(name, known).map(|near| format!("did you mean `{near}`?"))
}
