//! The one error type of the library.
//!
//! Every message is complete by itself: a notebook prints only the outermost text. Messages about input name the
//! file, the line, the column, what was found and what would be right.

use std::fmt;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// A result of this library.
pub type Result<T> = std::result::Result<T, Error>;

/// Where in the input something was found: as much as is known, file first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    /// The file, relative to the season's folder where there is one.
    pub file: Option<PathBuf>,
    /// The line, counted from 1 with the header as line 1; for Parquet the row, counted from 1.
    pub line: Option<u64>,
    /// The column as the file calls it.
    pub column: Option<String>,
}

impl Place {
    /// A place that is a whole file.
    pub fn file(path: impl AsRef<Path>) -> Self {
        Self { file: Some(path.as_ref().to_path_buf()), ..Self::default() }
    }

    /// The same place with a line.
    #[must_use]
    pub fn line(mut self, line: u64) -> Self {
        self.line = Some(line);
        self
    }

    /// The same place with a column.
    #[must_use]
    pub fn column(mut self, column: impl Into<String>) -> Self {
        self.column = Some(column.into());
        self
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
        if let Some(file) = &self.file {
            parts.push(file.display().to_string());
        }
        if let Some(line) = self.line {
            parts.push(format!("line {line}"));
        }
        if let Some(column) = &self.column {
            parts.push(format!("column `{column}`"));
        }
        if parts.is_empty() { f.write_str("input") } else { f.write_str(&parts.join(", ")) }
    }
}

/// What can go wrong, by who can mend it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// Something in a file is not as it must be: the user mends the file or its mapping.
    #[error("{place}: found {found}; wanted {wanted}{}", hint.as_deref().map(|h| format!(" ({h})")).unwrap_or_default())]
    Input {
        /// Where.
        place: Box<Place>,
        /// What stands there.
        found: String,
        /// What would be right.
        wanted: String,
        /// A guess at the slip, such as a name that is nearly right.
        hint: Option<String>,
    },
    /// A setting has a value that it cannot have: the caller mends the setting.
    #[error("setting `{name}` is {value}; wanted {wanted}")]
    Setting {
        /// The setting's name.
        name: &'static str,
        /// Its value, as text.
        value: String,
        /// The allowed range, in words.
        wanted: &'static str,
    },
    /// An argument lies outside the range for which a formula is stated.
    #[error("{quantity} is {} {unit}; {formula} is stated for {low} to {high} {unit}", rounded(*value))]
    Domain {
        /// The formula, by its everyday name.
        formula: &'static str,
        /// The quantity that is out of range.
        quantity: &'static str,
        /// Its value.
        value: f64,
        /// Lower end of the stated range.
        low: f64,
        /// Upper end of the stated range.
        high: f64,
        /// Unit of the three numbers.
        unit: &'static str,
    },
    /// The data cannot answer the question: more data may.
    #[error("{what} is not estimable: {why}")]
    NotEstimable {
        /// What was asked for.
        what: String,
        /// Why it cannot be had.
        why: String,
    },
    /// The numerics failed: a matrix is singular, an iteration does not settle.
    #[error("{doing} failed: {why}")]
    Numeric {
        /// What was being computed.
        doing: &'static str,
        /// What happened.
        why: String,
    },
    /// The command line or a call is used in a way that makes no sense.
    #[error("{0}")]
    Usage(String),
    /// The operating system refused.
    #[error("{doing} {}: {}", path.display(), in_words(source))]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What was being done, as in "reading".
        doing: &'static str,
        /// The system's error.
        source: std::io::Error,
    },
    /// polars refused to build, read or write a frame.
    #[error("table {table}: {why}")]
    Frame {
        /// The table.
        table: String,
        /// polars' message.
        why: String,
    },
}

impl From<linfa::Error> for Error {
    /// linfa's conventions ask for it: a data set of the wrong form.
    fn from(error: linfa::Error) -> Self {
        Self::Usage(error.to_string())
    }
}

impl Error {
    /// An [`Error::Input`] without a hint.
    pub fn input(place: Place, found: impl Into<String>, wanted: impl Into<String>) -> Self {
        Self::Input { place: Box::new(place), found: found.into(), wanted: wanted.into(), hint: None }
    }

    /// The same error with a guess at the slip, where there is one and it is about input.
    #[must_use]
    pub fn with_hint(mut self, guess: Option<String>) -> Self {
        if let Self::Input { hint, .. } = &mut self {
            *hint = guess;
        }
        self
    }

    /// An [`Error::Setting`].
    pub(crate) fn setting(name: &'static str, value: impl fmt::Display, wanted: &'static str) -> Self {
        Self::Setting { name, value: value.to_string(), wanted }
    }

    /// An [`Error::NotEstimable`].
    pub fn not_estimable(what: impl Into<String>, why: impl Into<String>) -> Self {
        Self::NotEstimable { what: what.into(), why: why.into() }
    }

    /// An [`Error::Numeric`].
    pub fn numeric(doing: &'static str, why: impl Into<String>) -> Self {
        Self::Numeric { doing, why: why.into() }
    }

    /// An [`Error::Io`].
    pub fn io(doing: &'static str, path: impl AsRef<Path>, source: std::io::Error) -> Self {
        Self::Io { path: path.as_ref().to_path_buf(), doing, source }
    }

    /// An [`Error::Frame`] from what polars says.
    pub fn frame(table: impl Into<String>, why: impl fmt::Display) -> Self {
        Self::Frame { table: table.into(), why: why.to_string() }
    }

    /// `value` if it lies in `low..=high`, else an [`Error::Domain`]; NaN is outside.
    pub fn check_domain(
        formula: &'static str,
        quantity: &'static str,
        unit: &'static str,
        value: f64,
        low: f64,
        high: f64,
    ) -> Result<f64> {
        if (low..=high).contains(&value) {
            Ok(value)
        } else {
            Err(Self::Domain { formula, quantity, value, low, high, unit })
        }
    }

    /// True when the data, not the caller, is the reason: the estimate may be left empty with this text as its `why`.
    pub fn is_not_estimable(&self) -> bool {
        matches!(self, Self::NotEstimable { .. } | Self::Numeric { .. } | Self::Domain { .. })
    }
}

/// A number to six digits.
fn rounded(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

/// What the operating system said, without its number.
fn in_words(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "no such file or folder".to_owned(),
        std::io::ErrorKind::PermissionDenied => "you may not do that here (no permission)".to_owned(),
        std::io::ErrorKind::NotADirectory => "a file stands where a folder is wanted".to_owned(),
        std::io::ErrorKind::StorageFull => "the disk is full".to_owned(),
        _ => {
            let text = error.to_string();
            text.split(" (os error").next().unwrap_or(&text).to_owned()
        }
    }
}

/// `value` within its range, else the setting's error; NaN is outside.
pub(crate) fn inside<T: PartialOrd + fmt::Display>(
    name: &'static str,
    value: T,
    range: RangeInclusive<T>,
    wanted: &'static str,
) -> Result<()> {
    if range.contains(&value) { Ok(()) } else { Err(Error::setting(name, value, wanted)) }
}
