//! Why a row was not used: a kind, and what stood in the row; the words are made of both.

use std::fmt;

use super::{SG_LEAST, SG_MOST};

/// Why a row, or one cell of it, was not used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowError {
    /// What kind of slip it is, whatever stood there.
    pub(crate) kind: RowErrorKind,
    /// What stood there; empty where the kind says it all.
    pub(crate) found: String,
}

/// A kind of slip in a row. Rows of a file with the same kind were rejected alike.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum RowErrorKind {
    /// The line has another number of fields than the header.
    FieldCount {
        /// Fields of the header.
        header: usize,
        /// The delimiter of the header and the one by which the line may be split, where they may differ.
        delimiters: Option<(char, char)>,
    },
    /// The line is too long for a row.
    TooLong {
        /// Most characters that are read.
        most: usize,
    },
    /// A quote opens and is not closed.
    OpenQuote,
    /// The line holds NUL bytes.
    NulBytes,
    /// The line is not valid UTF-8.
    NotUtf8,
    /// The file breaks off within the line.
    BrokenOff,
    /// The line is JSON, but no object.
    NotAnObject,
    /// The line is no JSON.
    NotJson,
    /// A column that every row needs is empty.
    Empty {
        /// The column as the file calls it.
        column: String,
    },
    /// None of the columns for a gravity is filled.
    NoGravity,
    /// A cell is not what its column holds.
    Unreadable {
        /// The column as the file calls it.
        column: String,
        /// What it holds.
        wanted: Wanted,
    },
    /// A gravity that no liquid of this trade has.
    SgRange {
        /// The column.
        column: String,
        /// The slip that it looks like.
        slip: Option<SgSlip>,
    },
    /// A number outside the range of the formula that converts or corrects it.
    Formula {
        /// The column.
        column: String,
    },
    /// An uncorrected reading of an instrument that cannot be corrected for want of something.
    Uncorrected(Lack),
    /// A time more than 20 years from the middle of the season's times.
    FarTime {
        /// The column.
        column: String,
    },
    /// The line has numbers with a decimal comma, and commas split it.
    SplitAtDecimalCommas,
    /// The row repeats an earlier one in all its cells.
    Duplicate,
}

/// What a cell should have been.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Wanted {
    /// A number.
    Number,
    /// A number with a decimal point, where one with a comma stands.
    DecimalPoint,
    /// A number with a decimal comma and no point.
    DecimalComma,
    /// A number that is finite.
    Finite,
    /// A single value: no list, no object, no truth.
    Plain,
    /// A value without NUL characters.
    NoNul,
    /// A time; with the format of a mapping, where it names one.
    Time(Option<String>),
    /// A time at which the batch was pitched already.
    NotBeforePitching,
}

/// A slip that turns a whole column of gravities away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum SgSlip {
    /// 1048 for 1.048.
    Thousandfold,
    /// Plato or Brix as read.
    Extract,
}

/// What an uncorrected reading lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Lack {
    /// `raw_sg` without `temp_c`.
    SampleTemperature,
    /// `raw_brix` of a batch that is not in the table of batches.
    Batch,
    /// `raw_brix` of a fermenting liquid whose original gravity is not known.
    OriginalGravity,
}

impl RowErrorKind {
    /// The error with what was found.
    pub(crate) fn found(self, found: impl Into<String>) -> RowError {
        RowError { kind: self, found: found.into() }
    }
}

impl From<RowErrorKind> for RowError {
    fn from(kind: RowErrorKind) -> Self {
        kind.found("")
    }
}

impl SgSlip {
    /// The slip that a number outside the range of an SG looks like.
    pub(crate) fn of(value: f64) -> Option<Self> {
        match value {
            v if (1000.0 * SG_LEAST..=1000.0 * SG_MOST).contains(&v) => Some(Self::Thousandfold),
            v if (1.5..=40.0).contains(&v) => Some(Self::Extract),
            _ => None,
        }
    }
}

impl fmt::Display for Wanted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const PLAIN_TIME: &str = "a time such as 2031-03-04T05:06:07Z or 2031-03-04 05:06";
        match self {
            Self::Number => f.write_str("a number"),
            Self::DecimalPoint => {
                f.write_str("a number with a decimal point; for decimal commas set `decimal = \",\"` in season.toml")
            }
            Self::DecimalComma => f.write_str("a number with a decimal comma and no other sign in it"),
            Self::Finite => f.write_str("a finite number"),
            Self::Plain => f.write_str("a plain value"),
            Self::NoNul => f.write_str("a value without NUL characters"),
            Self::Time(Some(format)) => write!(f, "a time in the format `{format}`, or {PLAIN_TIME}"),
            Self::Time(None) => write!(f, "{PLAIN_TIME}; any other form needs `time_format` in season.toml"),
            Self::NotBeforePitching => f.write_str("a time not before `pitched_at`"),
        }
    }
}

impl fmt::Display for RowError {
    /// The reason in words.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use RowErrorKind as Kind;
        let found = &self.found;
        match &self.kind {
            Kind::FieldCount { header, delimiters } => {
                write!(f, "the line has {found} fields; the header has {header}")?;
                let Some((of_header, of_line)) = delimiters.map(|(a, b)| (delimiter_name(a), delimiter_name(b))) else {
                    return Ok(());
                };
                write!(f, "; the header is split by {of_header}, this line perhaps by {of_line}")
            }
            Kind::TooLong { most } => write!(f, "the line has {found} characters; at most {most} are read"),
            Kind::OpenQuote => f.write_str("a quote opens and is not closed"),
            Kind::NulBytes => f.write_str("the line holds NUL bytes, as a broken file does"),
            Kind::NotUtf8 => f.write_str("the line is not valid UTF-8"),
            Kind::BrokenOff => f.write_str("the file breaks off within this line"),
            Kind::NotAnObject => f.write_str("the line is JSON but no object { ... }"),
            Kind::NotJson => write!(f, "the line is no JSON object: {found}"),
            Kind::Empty { column } => write!(f, "column `{column}` is empty; every row needs it"),
            Kind::NoGravity => {
                f.write_str("columns `sg`, `raw_sg` and `raw_brix` are empty; every row needs one of them")
            }
            Kind::Unreadable { column, wanted } => write!(f, "column `{column}`: found `{found}`; wanted {wanted}"),
            Kind::SgRange { column, slip } => {
                write!(f, "column `{column}` is {found}; an SG lies between {SG_LEAST} and {SG_MOST}")?;
                f.write_str(match slip {
                    Some(SgSlip::Thousandfold) => " (1048 is written 1.048)",
                    Some(SgSlip::Extract) => " (Plato or Brix as read goes into `raw_brix`)",
                    None => "",
                })
            }
            Kind::Formula { column } => write!(f, "column `{column}`: {found}"),
            Kind::Uncorrected(Lack::SampleTemperature) => {
                f.write_str("`raw_sg` needs `temp_c`, the temperature of the sample, to be corrected")
            }
            Kind::Uncorrected(Lack::Batch) => {
                write!(f, "`raw_brix` of a sample needs its batch, and `{found}` is not in the table of batches")
            }
            Kind::Uncorrected(Lack::OriginalGravity) => f.write_str(
                "`raw_brix` of a fermenting liquid needs the batch's `original_sg`, or a sample at pitching",
            ),
            Kind::FarTime { column } => {
                write!(f, "column `{column}` lies more than 20 years from the middle of the season's times")
            }
            Kind::SplitAtDecimalCommas => f.write_str(
                "the line has numbers with decimal commas and is split by commas too; split it by `;` and set \
                 `decimal = \",\"` in season.toml",
            ),
            Kind::Duplicate => write!(f, "an exact duplicate of {found}"),
        }
    }
}

/// A delimiter in words.
fn delimiter_name(delimiter: char) -> String {
    if delimiter == '\t' { "tabs".to_owned() } else { format!("`{delimiter}`") }
}
