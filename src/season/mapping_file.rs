//! Reading `season.toml`, with the line of each slip.

use std::path::Path;

use jiff::tz::TimeZone;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::error::{Error, Place, Result};

use super::mapping::{Constant, FileRule, MappedColumn, Mapping, SeasonMap, glob};
use super::names::{guess, list};
use super::read::read_bytes;
use super::table::{ColumnKind, SeasonTable, TableColumn};
use super::time::TimeReader;
use super::unit::Unit;

/// The file's name.
pub(crate) const SEASON_TOML: &str = "season.toml";

/// What may stand at the top. What stands below `study` is read by the study.
const TOP_KEYS: &[&str] = &["time_zone", "files", "study"];
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

/// Reads `season.toml` in `dir`, or the default where there is none.
pub(crate) fn read_season_map(dir: &Path) -> Result<SeasonMap> {
    let path = dir.join(SEASON_TOML);
    if !path.exists() {
        return Ok(SeasonMap::default());
    }
    let bytes = read_bytes(&path, SEASON_TOML, false)?.bytes;
    let text =
        String::from_utf8(bytes).map_err(|e| Error::input(Place::file(SEASON_TOML), e.to_string(), "text in UTF-8"))?;
    parse(&text)
}

/// Parses the text of a `season.toml`.
pub(crate) fn parse(text: &str) -> Result<SeasonMap> {
    let file = TomlText { text };
    let document = DeTable::parse(text)
        .map_err(|e| file.error(e.span().map_or(0, |s| s.start), "", e.message(), "TOML as the README shows it"))?;
    let top = document.get_ref();
    file.check_keys(top, TOP_KEYS)?;
    let zone = file.zone(top)?;
    let mut files = Vec::new();
    if let Some(node) = top.get("files") {
        let entries = node.get_ref().as_array().ok_or_else(|| {
            file.error(node.span().start, "files", node.get_ref().type_str(), "one or more [[files]] tables")
        })?;
        for entry in entries.iter() {
            files.push(file.rule(entry, &zone)?);
        }
    }
    Ok(SeasonMap { zone, files })
}

struct TomlText<'a> {
    text: &'a str,
}

impl TomlText<'_> {
    fn error(&self, start: usize, key: &str, found: impl Into<String>, wanted: impl Into<String>) -> Error {
        let line = self.text.bytes().take(start).filter(|b| *b == b'\n').count() as u64 + 1;
        let place = Place::file(SEASON_TOML).line(line);
        Error::input(if key.is_empty() { place } else { place.column(key) }, found, wanted)
    }

    fn check_keys(&self, table: &DeTable<'_>, known: &[&str]) -> Result<()> {
        for key in table.keys() {
            let name = key.get_ref().as_ref();
            if !known.contains(&name) {
                return Err(self.unknown_key(key.span().start, name, known));
            }
        }
        Ok(())
    }

    fn unknown_key(&self, start: usize, name: &str, known: &[&str]) -> Error {
        let error = self.error(start, "", format!("the key `{name}`"), format!("one of {}", list(known)));
        match guess(name, known) {
            Some(near) => error.with_hint(format!("did you mean `{near}`?")),
            None => error,
        }
    }

    fn string<'t>(&self, table: &'t DeTable<'_>, key: &str) -> Result<Option<(&'t str, usize)>> {
        let Some(node) = table.get(key) else { return Ok(None) };
        match node.get_ref().as_str() {
            Some(text) => Ok(Some((text, node.span().start))),
            None => Err(self.error(node.span().start, key, node.get_ref().type_str(), "a text in quotes")),
        }
    }

    fn zone(&self, table: &DeTable<'_>) -> Result<Option<TimeZone>> {
        let Some((name, start)) = self.string(table, "time_zone")? else { return Ok(None) };
        TimeZone::get(name).map(Some).map_err(|_| {
            self.error(start, "time_zone", format!("`{name}`"), "an IANA time zone such as Europe/Oslo, or UTC")
        })
    }

    fn table<'t, 'i>(&self, node: &'t Node<'i>, key: &str) -> Result<&'t DeTable<'i>> {
        node.get_ref()
            .as_table()
            .ok_or_else(|| self.error(node.span().start, key, node.get_ref().type_str(), "a table { name = value }"))
    }

    fn rule(&self, entry: &Node<'_>, season_zone: &Option<TimeZone>) -> Result<FileRule> {
        let start = entry.span().start;
        let table = self.table(entry, "files")?;
        self.check_keys(table, FILE_KEYS)?;
        let (pattern, pattern_start) = self.string(table, "match")?.ok_or_else(|| {
            self.error(start, "match", "a [[files]] table without it", "a pattern such as \"log-*.csv\"")
        })?;
        let regex = glob(pattern).map_err(|e| self.error(pattern_start, "match", e.to_string(), "a file pattern"))?;
        let names: Vec<&str> = SeasonTable::ALL.iter().map(|t| t.name()).collect();
        let (name, name_start) = self.string(table, "table")?.ok_or_else(|| {
            self.error(start, "table", format!("`{pattern}` without it"), format!("one of {}", list(&names)))
        })?;
        let of_table = SeasonTable::from_name(name).ok_or_else(|| {
            let error = self.error(name_start, "table", format!("`{name}`"), format!("one of {}", list(&names)));
            guess(name, &names).map(|near| format!("did you mean `{near}`?")).into_iter().fold(error, Error::with_hint)
        })?;
        let mut mapping = Mapping::plain(None);
        let format = self.string(table, "time_format")?.map(|(format, _)| format.to_owned());
        mapping.times = TimeReader::new(self.zone(table)?.or_else(|| season_zone.clone()), format);
        mapping.decimal_comma = match self.string(table, "decimal")? {
            None | Some((".", _)) => false,
            Some((",", _)) => true,
            Some((other, start)) => return Err(self.error(start, "decimal", format!("`{other}`"), "\".\" or \",\"")),
        };
        mapping.delimiter = match self.string(table, "delimiter")? {
            None => None,
            Some((text, start)) => match text.as_bytes() {
                [one] if !one.is_ascii_alphanumeric() && !matches!(one, b'"' | b'\n' | b'\r') => Some(*one),
                _ => return Err(self.error(start, "delimiter", format!("`{text}`"), "one of \",\", \";\", \"\\t\"")),
            },
        };
        if let Some(node) = table.get("skip_lines") {
            let count = node.get_ref().as_integer().and_then(|i| i.as_str().parse().ok());
            mapping.skip_lines = count.filter(|count| *count <= MOST_SKIPPED).ok_or_else(|| {
                let wanted = format!("a whole number from 0 to {MOST_SKIPPED}");
                self.error(node.span().start, "skip_lines", node.get_ref().type_str(), wanted)
            })?;
        }
        if let Some(node) = table.get("header") {
            let names = node.get_ref().as_array().map(|names| names.iter().map(|n| n.get_ref().as_str()));
            let names = names.and_then(|names| names.map(|n| n.map(str::to_owned)).collect::<Option<Vec<_>>>());
            mapping.header = Some(names.ok_or_else(|| {
                self.error(
                    node.span().start,
                    "header",
                    node.get_ref().type_str(),
                    "a list of names, [\"when\", \"lean\"]",
                )
            })?);
        }
        if let Some(node) = table.get("columns") {
            for (key, node) in self.table(node, "columns")? {
                let column = self.column(of_table, key)?;
                mapping.columns.insert(column.name.to_owned(), self.mapped(column, node)?);
            }
        }
        if let Some(node) = table.get("constants") {
            for (key, node) in self.table(node, "constants")? {
                let column = self.column(of_table, key)?;
                if mapping.columns.contains_key(column.name) {
                    let found = format!("`{}` under `columns` and under `constants`", column.name);
                    return Err(self.error(key.span().start, "constants", found, "it under one of them"));
                }
                mapping.constants.insert(column.name.to_owned(), self.constant(column, node)?);
            }
        }
        Ok(FileRule { pattern: pattern.to_owned(), regex, table: of_table, mapping })
    }

    fn column(&self, table: SeasonTable, key: &Spanned<toml::de::DeString<'_>>) -> Result<&'static TableColumn> {
        let name = key.get_ref().as_ref();
        table.columns().iter().find(|c| c.name == name).ok_or_else(|| {
            let known: Vec<&str> = table.columns().iter().map(|c| c.name).collect();
            let error = self.error(
                key.span().start,
                "",
                format!("the column `{name}`"),
                format!("columns of {table}: {}", list(&known)),
            );
            guess(name, &known).map(|near| format!("did you mean `{near}`?")).into_iter().fold(error, Error::with_hint)
        })
    }

    fn mapped(&self, column: &TableColumn, node: &Node<'_>) -> Result<MappedColumn> {
        if let Some(from) = node.get_ref().as_str() {
            return Ok(MappedColumn { from: from.to_owned(), unit: Unit::AsIs });
        }
        let start = node.span().start;
        let table = node.get_ref().as_table().ok_or_else(|| {
            let wanted = "a column's name, or { from = \"name\", unit = \"degF\" }";
            self.error(start, column.name, node.get_ref().type_str(), wanted)
        })?;
        self.check_keys(table, COLUMN_KEYS)?;
        let from = self.string(table, "from")?.map_or(column.name, |(from, _)| from).to_owned();
        let Some((name, unit_start)) = self.string(table, "unit")? else {
            return Ok(MappedColumn { from, unit: Unit::AsIs });
        };
        let units = match column.kind {
            ColumnKind::Number(quantity) => Unit::of(quantity),
            ColumnKind::Time | ColumnKind::Text => &[],
        };
        match units.iter().find(|(n, _)| *n == name) {
            Some((_, unit)) => Ok(MappedColumn { from, unit: *unit }),
            None => {
                let known: Vec<&str> = units.iter().map(|(n, _)| *n).collect();
                let wanted = if known.is_empty() {
                    format!("no unit: `{}` has none to choose from", column.name)
                } else {
                    format!("a unit of `{}`: {}", column.name, list(&known))
                };
                Err(self.error(unit_start, "unit", format!("`{name}`"), wanted))
            }
        }
    }

    fn constant(&self, column: &TableColumn, node: &Node<'_>) -> Result<Constant> {
        let number = |text: &str| text.replace('_', "").parse::<f64>().ok().filter(|n| n.is_finite());
        let value = node.get_ref();
        let found = match value {
            DeValue::String(text) => Some(Constant::Text(text.to_string())),
            DeValue::Datetime(at) => Some(Constant::Text(at.to_string())),
            DeValue::Integer(i) => number(i.as_str()).map(Constant::Number),
            DeValue::Float(f) => number(f.as_str()).map(Constant::Number),
            _ => None,
        };
        found.ok_or_else(|| self.error(node.span().start, column.name, value.type_str(), "a text or a number"))
    }
}
