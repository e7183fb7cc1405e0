//! How the columns of one file become the columns of its table.

use crate::error::{Error, Place, Result};

use crate::units::Instant;

use super::cells::{CellValue, Doubt, SourceCell, is_word};
use super::flags::Flags;
use super::mapping::{Mapping, Unit};
use super::names::{guess, list};
use super::row_error::RowError;
use super::table::{ColumnKind, SeasonTable, TableColumn};
use super::time::{ReadTime, epoch};

/// Where a column's cells come from.
#[derive(Debug, Clone)]
pub(crate) enum Origin {
    /// A field of the file.
    Field(usize),
    /// The same for every row.
    Constant(CellValue),
    Absent,
}

/// One column of the table, bound.
#[derive(Debug, Clone)]
pub(crate) struct Bound {
    pub(crate) column: &'static TableColumn,
    /// What the file calls it.
    pub(crate) label: String,
    pub(crate) origin: Origin,
    pub(crate) unit: Unit,
}

/// All columns of a table, bound to a file.
#[derive(Debug, Clone)]
pub(crate) struct Binding {
    pub(crate) table: SeasonTable,
    pub(crate) columns: Vec<Bound>,
    /// Fields of the file that belong to no column.
    pub(crate) unknown: Vec<String>,
    pub(crate) mapping: Mapping,
}

/// One row in the cells of its table.
#[derive(Debug, Default)]
pub(crate) struct Converted {
    /// Its cells in the order of the table's columns.
    pub(crate) values: Vec<CellValue>,
    /// What is doubtful about it.
    pub(crate) flags: Flags,
    /// The second occurrence of a local `at` that occurs twice.
    pub(crate) later: Option<Instant>,
    /// Optional cells that could not be read.
    pub(crate) doubts: Vec<Doubt>,
    /// True when a time had no offset.
    pub(crate) is_local: bool,
}

impl Binding {
    /// Binds the columns of `table` to a file's `header`, which stands at `place`.
    ///
    /// # Errors
    /// [`Error::Input`] when a required or mapped column is not there, or stands there twice.
    pub(crate) fn new(place: &Place, table: SeasonTable, header: &[String], mapping: &Mapping) -> Result<Self> {
        let mut used = vec![false; header.len()];
        let mut columns = Vec::with_capacity(table.columns().len());
        for column in table.columns() {
            let mapped = mapping.columns.get(column.name);
            let label = mapped.map_or(column.name, |m| m.from.as_str());
            let mut fields = header.iter().enumerate().filter(|(_, name)| *name == label).map(|(i, _)| i);
            let field = fields.next();
            if let (Some(first), Some(second)) = (field, fields.next()) {
                return Err(Error::input(
                    place.clone().column(label),
                    format!("the name twice, in fields {} and {}", first + 1, second + 1),
                    "each name once",
                ));
            }
            let constant = mapping.constants.get(column.name);
            let origin = match (field, constant, mapped) {
                (_, Some(constant), _) => Origin::Constant(constant.clone()),
                (Some(field), None, _) => Origin::Field(field),
                (None, None, Some(_)) => return Err(mapped_column_missing(place, column, label, header)),
                (None, None, None) => Origin::Absent,
            };
            if let Origin::Field(field) = origin
                && let Some(slot) = used.get_mut(field)
            {
                *slot = true;
            }
            let unit = mapped.map_or(Unit::AsIs, |m| m.unit);
            columns.push(Bound { column, label: label.to_owned(), origin, unit });
        }
        let unknown = header.iter().zip(&used).filter(|(name, used)| !**used && !name.is_empty());
        let unknown: Vec<String> = unknown.map(|(name, _)| name.clone()).collect();
        let binding = Self { table, columns, unknown, mapping: mapping.clone() };
        binding.check_required(place, header)?;
        Ok(binding)
    }

    fn check_required(&self, place: &Place, header: &[String]) -> Result<()> {
        let is_there = |bound: &&Bound| !matches!(bound.origin, Origin::Absent);
        let (missing, wanted) = if self.table == SeasonTable::References {
            let gravity = ["sg", "raw_sg", "raw_brix"];
            let has_gravity = self.columns.iter().filter(is_there).any(|bound| gravity.contains(&bound.column.name));
            let wanted = "`at`, and a gravity in `sg`, `raw_sg` or `raw_brix`, at least".to_owned();
            (Some("sg").filter(|_| !has_gravity), wanted)
        } else {
            let required: Vec<&str> = self.table.columns().iter().filter(|c| c.required).map(|c| c.name).collect();
            (None, format!("the columns of {}: {} at least", self.table, list(&required)))
        };
        let absent = self.columns.iter().find(|bound| bound.column.required && !is_there(bound));
        let Some(name) = absent.map(|bound| bound.column.name).or(missing) else { return Ok(()) };
        let error = Error::input(place.clone(), format!("no column `{name}` among {}", list(header)), wanted);
        let near = guess(name, &self.unknown);
        Err(error.with_hint(near.map(|near| {
            let source = match near.to_lowercase().ends_with("_f") && name == "temp_c" {
                true => format!("{{ from = \"{near}\", unit = \"degF\" }}"),
                false => format!("\"{near}\""),
            };
            format!("did you mean to map `{near}`? In season.toml: {name} = {source}")
        })))
    }

    /// What the file calls a column of the table.
    pub(crate) fn label(&self, name: &str) -> Option<&str> {
        self.columns.iter().find(|bound| bound.column.name == name).map(|bound| bound.label.as_str())
    }

    /// The places of the columns that the file gives in degrees Plato.
    pub(crate) fn in_plato(&self) -> Vec<usize> {
        let bound = self.columns.iter().enumerate().filter(|(_, bound)| bound.unit == Unit::Plato);
        bound.map(|(place, _)| place).collect()
    }

    /// The fields of the file that are bound to a column, rising.
    pub(crate) fn fields(&self) -> Vec<usize> {
        let field = |b: &Bound| if let Origin::Field(field) = b.origin { Some(field) } else { None };
        let mut fields: Vec<usize> = self.columns.iter().filter_map(field).collect();
        fields.sort_unstable();
        fields.dedup();
        fields
    }

    /// Counts the bound fields anew, for a reader that gives only those.
    pub(crate) fn renumber_fields(&mut self) {
        let fields = self.fields();
        for bound in &mut self.columns {
            if let Origin::Field(field) = &mut bound.origin {
                *field = fields.partition_point(|other| other < field);
            }
        }
    }

    /// The cells of one row as values of the table.
    pub(crate) fn convert(&self, cells: &[SourceCell<'_>]) -> std::result::Result<Converted, RowError> {
        let mut out = Converted::default();
        for bound in &self.columns {
            let cell = match &bound.origin {
                Origin::Field(field) => {
                    *cells.get(*field).ok_or_else(|| RowError::field_count(cells.len(), field + 1, ""))?
                }
                Origin::Constant(constant) => constant.as_source(),
                Origin::Absent => SourceCell::Empty,
            };
            let value = match self.value(bound, cell, &mut out) {
                Ok(CellValue::Empty) if bound.column.required => {
                    return Err(RowError::empty(&bound.label));
                }
                Err(reason) if bound.column.required || self.names_owner(bound.column) => return Err(reason),
                Ok(value) => value,
                Err(reason) => {
                    out.flags.insert(Flags::VALUE_UNREADABLE);
                    out.doubts.push(Doubt::unread(bound.column.name, reason));
                    CellValue::Empty
                }
            };
            out.values.push(value);
        }
        Ok(out)
    }

    /// True where a cell says of what the row tells: a sample without its batch would be a bath.
    fn names_owner(&self, column: &TableColumn) -> bool {
        matches!(self.table, SeasonTable::References | SeasonTable::Events) && ["probe", "batch"].contains(&column.name)
    }

    fn value(
        &self,
        bound: &Bound,
        cell: SourceCell<'_>,
        out: &mut Converted,
    ) -> std::result::Result<CellValue, RowError> {
        // Not a number is how number columns of many programs mark an empty cell.
        let (kind, required) = (bound.column.kind, bound.column.required);
        let is_blank = kind == ColumnKind::Text || kind == ColumnKind::Number && !required;
        let cell = match cell {
            SourceCell::Text(text) if text.trim().is_empty() => SourceCell::Empty,
            SourceCell::Text(text) => SourceCell::Text(text.trim()),
            SourceCell::Number(number) if number.is_nan() && is_blank => SourceCell::Empty,
            other => other,
        };
        let unreadable = |found: &str, wanted: &str| Err(RowError::unreadable(&bound.label, found, wanted));
        match (kind, cell) {
            (_, SourceCell::Empty) => Ok(CellValue::Empty),
            (_, SourceCell::Text(text)) if text.contains('\0') => unreadable(text, "a value without NUL characters"),
            (ColumnKind::Text, SourceCell::Text(text)) if bound.column.name != "note" && !is_word(text) => {
                unreadable(text, "at most 200 letters without control characters")
            }
            (_, SourceCell::Odd(what)) => unreadable(what, "a plain value"),
            (ColumnKind::Text, SourceCell::Number(number))
                if number.abs() >= EXACT || number.to_string().len() > MOST_DIGITS =>
            {
                unreadable(&number.to_string(), "at most 15 digits, or the name as text")
            }
            (ColumnKind::Text, cell) => Ok(CellValue::Text(cell.to_string())),
            (ColumnKind::Time, cell) => {
                let times = &self.mapping.times;
                let read = match cell {
                    SourceCell::Time(at) => Some(at.into()),
                    SourceCell::Number(number) => epoch(number).map(ReadTime::from),
                    SourceCell::Text(text) => times.read(text),
                    SourceCell::Empty | SourceCell::Odd(_) => None,
                };
                let Some(read) = read else { return unreadable(&cell.to_string(), &times.wanted()) };
                out.flags.insert(read.flags);
                // A day on which a probe was built is a day in any zone.
                out.is_local |= read.is_local && bound.column.name != "built_on";
                if bound.column.name == "at" {
                    out.later = read.later;
                }
                Ok(CellValue::Time(read.at))
            }
            (ColumnKind::Number, SourceCell::Text(text)) => match self.mapping.number(text) {
                Ok(number) => self.value(bound, SourceCell::Number(number), out),
                Err(wanted) => unreadable(text, wanted),
            },
            (ColumnKind::Number, SourceCell::Number(number)) => converted(bound, number),
            (ColumnKind::Number, SourceCell::Time(at)) => unreadable(&at.to_string(), "a number"),
        }
    }
}

/// From here on numbers of eight bytes leave whole numbers out, and one name may become another.
const EXACT: f64 = 9_007_199_254_740_992.0;
/// Letters of the longest number that may be a name: a tiny number written out would be hundreds.
const MOST_DIGITS: usize = 17;

fn converted(bound: &Bound, number: f64) -> std::result::Result<CellValue, RowError> {
    let refused = |e: Error| RowError::formula(&bound.label, e);
    let value = if number.is_finite() { bound.unit.convert(number).map_err(refused)? } else { number };
    if !value.is_finite() {
        return Err(RowError::unreadable(&bound.label, &value.to_string(), "a finite number"));
    }
    Ok(CellValue::Number(value))
}

fn mapped_column_missing(place: &Place, column: &TableColumn, label: &str, header: &[String]) -> Error {
    let error = Error::input(
        place.clone(),
        format!("no column `{label}` among {}", list(header)),
        format!("the column that season.toml maps to `{}`", column.name),
    );
    let near = guess(label, header);
    error.with_hint(near.map(|near| format!("column `{label}` not found; did you mean to map `{near}`?")))
}
