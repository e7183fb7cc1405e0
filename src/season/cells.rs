//! One cell of a table: as a file holds it, as the schema wants it, and as a field of a row has it.

use std::fmt;
use std::ops::RangeInclusive;

use crate::liquid::sg_from_plato;
use crate::units::Instant;

use super::ends::{EndShape, ReferenceUse};
use super::flags::Flags;
use super::names::{each_once, short};
use super::row_error::{QUOTED, RowError};
use super::table::{ColumnKind, Quantity, TableColumn};
use super::{SG_LEAST, SG_MOST};

/// A cell as a reader finds it, before mapping and units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum SourceCell<'a> {
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
    /// The same cell as a file might have it.
    pub(crate) fn as_source(&self) -> SourceCell<'_> {
        match self {
            Self::Empty => SourceCell::Empty,
            Self::Text(text) => SourceCell::Text(text),
            Self::Number(number) => SourceCell::Number(*number),
            Self::Time(at) => SourceCell::Time(*at),
        }
    }

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
        self.as_source().fmt(f)
    }
}

/// A cell of an optional column that was not taken as it stands.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Doubt {
    pub(crate) column: &'static str,
    /// What was found and what became of it, in words.
    pub(crate) text: String,
    /// Why it could not be read, where that is so.
    pub(crate) unread: Option<RowError>,
}

impl Doubt {
    /// A value that means something else, or nothing.
    pub(crate) fn new(column: &'static str, text: String) -> Self {
        Self { column, text, unread: None }
    }

    /// A cell that could not be read.
    pub(crate) fn unread(column: &'static str, why: RowError) -> Self {
        Self { column, text: format!("{why}, so it was left empty"), unread: Some(why) }
    }
}

/// What a field of a row may be when its cell is not empty.
pub(crate) trait CellType: Sized {
    /// What stands in its column.
    const KIND: ColumnKind;
    /// The value of a cell; none where it is empty or is left so, which goes to `doubts`.
    fn read(cell: CellValue, column: &TableColumn, doubts: &mut Vec<Doubt>) -> Result<Option<Self>, RowError>;
    fn write(&self) -> CellValue;
}

impl CellType for Instant {
    const KIND: ColumnKind = ColumnKind::Time;

    fn read(cell: CellValue, _: &TableColumn, _: &mut Vec<Doubt>) -> Result<Option<Self>, RowError> {
        Ok(cell.as_time())
    }

    fn write(&self) -> CellValue {
        CellValue::Time(*self)
    }
}

impl CellType for f64 {
    const KIND: ColumnKind = ColumnKind::Number;

    fn read(cell: CellValue, column: &TableColumn, doubts: &mut Vec<Doubt>) -> Result<Option<Self>, RowError> {
        let Some(number) = cell.as_number() else { return Ok(None) };
        let sds = match column.quantity {
            Quantity::Gravity | Quantity::RawGravity => return checked_sg(column.name, number).map(Some),
            Quantity::GravitySd => SG_SD,
            Quantity::AngleSd => TILT_SD_DEG,
            _ => return Ok(Some(number)),
        };
        if sds.contains(&number) {
            return Ok(Some(number));
        }
        let (name, low, high) = (column.name, sds.start(), sds.end());
        let text = format!(
            "column `{name}` is {number}; a standard deviation lies between {low} and {high}, so it was left empty"
        );
        doubts.push(Doubt::new(name, text));
        Ok(None)
    }

    fn write(&self) -> CellValue {
        if self.is_finite() { CellValue::Number(*self) } else { CellValue::Empty }
    }
}

/// Standard deviations that somebody may mean, SG: from a hundredth of what the best instrument resolves to the whole
/// range of worts. Others are slips, and weights made of them would overflow.
const SG_SD: RangeInclusive<f64> = 1e-5..=0.2;
/// The same for tilts, degrees.
const TILT_SD_DEG: RangeInclusive<f64> = 1e-3..=90.0;

/// `value` if it is an SG that a liquid of this trade can have.
pub(crate) fn checked_sg(column: &str, value: f64) -> Result<f64, RowError> {
    if (SG_LEAST..=SG_MOST).contains(&value) {
        return Ok(value);
    }
    let is_reference = ["sg", "raw_sg"].contains(&column);
    let slip = match value {
        v if (1000.0 * SG_LEAST..=1000.0 * SG_MOST).contains(&v) => " (1048 is written 1.048)".to_owned(),
        v if (1.5..=40.0).contains(&v) && is_reference => " (Plato or Brix as read goes into `raw_brix`)".to_owned(),
        v if (1.5..=40.0).contains(&v) => {
            sg_from_plato(v).map_or_else(|_| String::new(), |sg| format!(" ({v} degrees Plato are {sg:.4})"))
        }
        _ => String::new(),
    };
    let after = format!("; an SG lies between {SG_LEAST} and {SG_MOST}{slip}");
    Err(RowError::found(format!("column `{column}` is "), value.to_string(), after))
}

/// Types that stand in a table as text: how it is read, what it should be, how it is written.
macro_rules! in_text {
    ($($kind:ty: |$text:ident| $read:expr, $wanted:literal, |$it:ident| $write:expr;)*) => {
        $(impl CellType for $kind {
            const KIND: ColumnKind = ColumnKind::Text;

            fn read(cell: CellValue, column: &TableColumn, doubts: &mut Vec<Doubt>) -> Result<Option<Self>, RowError> {
                let CellValue::Text($text) = cell else { return Ok(None) };
                let read = $read;
                if read.is_none() {
                    let name = column.name;
                    let (found, wanted) = (short(&$text, QUOTED), $wanted);
                    let text = format!("column `{name}` is `{found}`; wanted {wanted}, so it was left empty");
                    doubts.push(Doubt::new(name, text));
                }
                Ok(read)
            }

            fn write(&self) -> CellValue {
                let $it = self;
                let text = $write;
                if text.is_empty() { CellValue::Empty } else { CellValue::Text(text) }
            }
        })*
    };
}

in_text! {
    String: |text| Some(text.clone()), "a text", |it| it.clone();
    Vec<String>: |text| Some(split_ids(&text)), "ids", |it| it.join(";");
    Flags: |text| Flags::parse(&text), "flags of a season", |it| it.to_string();
    ReferenceUse: |text| Self::from_name(&text), "`calibrate`, `check`, `both` or `ignore`", |it| it.name().to_owned();
    EndShape: |text| Self::parse(&text), "`flat`, `hemisphere` or a height in mm above 0", |it| it.to_string();
}

/// Longest id and word of a table, bytes.
const LONGEST_WORD: usize = 200;

/// True for what may be an id or another word of a table, or several split by `;`: longer ones and control characters
/// would go into every message and page.
pub(crate) fn is_word(text: &str) -> bool {
    text.split(';').all(|word| word.len() <= LONGEST_WORD) && !text.contains(char::is_control)
}

/// Ids split by `;`, blanks around them dropped, each once.
fn split_ids(ids: &str) -> Vec<String> {
    each_once(ids.split(';').map(str::trim).filter(|id| !id.is_empty()).map(str::to_owned))
}

/// A field of a row: a value that every row needs, or one that may be absent.
pub(crate) trait RowField: Sized {
    /// What stands in its column.
    const KIND: ColumnKind;
    /// True when no row may leave it empty.
    const REQUIRED: bool;
    /// The field from its cell.
    fn from_cell(cell: CellValue, column: &TableColumn, doubts: &mut Vec<Doubt>) -> Result<Self, RowError>;
    fn to_cell(&self) -> CellValue;
}

impl<T: CellType> RowField for T {
    const KIND: ColumnKind = T::KIND;
    const REQUIRED: bool = true;

    fn from_cell(cell: CellValue, column: &TableColumn, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        T::read(cell, column, doubts)?.ok_or_else(|| RowError::empty(column.name))
    }

    fn to_cell(&self) -> CellValue {
        self.write()
    }
}

impl<T: CellType> RowField for Option<T> {
    const KIND: ColumnKind = T::KIND;
    const REQUIRED: bool = false;

    fn from_cell(cell: CellValue, column: &TableColumn, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        // The row can do without it.
        Ok(T::read(cell, column, doubts).unwrap_or_else(|why| {
            doubts.push(Doubt::unread(column.name, why));
            None
        }))
    }

    fn to_cell(&self) -> CellValue {
        self.as_ref().map_or(CellValue::Empty, T::write)
    }
}
