//! Why a row was not used.

use std::fmt;

use super::names::short;

/// Longest text that a message quotes.
pub(crate) const QUOTED: usize = 60;

/// Why a row, or one cell of it, was not used: words, and amid them what stood in the row. Rows of a file with the same
/// words were rejected alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowError {
    before: String,
    found: String,
    after: String,
}

impl RowError {
    /// Words that hold of any such row.
    pub(crate) fn new(words: impl Into<String>) -> Self {
        Self::found(words, String::new(), "")
    }

    /// Words around what was found.
    pub(crate) fn found(before: impl Into<String>, found: impl Into<String>, after: impl Into<String>) -> Self {
        Self { before: before.into(), found: found.into(), after: after.into() }
    }

    /// A cell that is not what its column holds; `column` as the file calls it.
    pub(crate) fn unreadable(column: &str, found: &str, wanted: &str) -> Self {
        Self::found(format!("column `{column}`: found `"), short(found, QUOTED), format!("`; wanted {wanted}"))
    }

    /// A column that every row needs and that is empty.
    pub(crate) fn empty(column: &str) -> Self {
        Self::new(format!("column `{column}` is empty; every row needs it"))
    }

    /// None of the columns for a gravity is filled.
    pub(crate) fn no_gravity() -> Self {
        Self::new("columns `sg`, `raw_sg` and `raw_brix` are empty; every row needs one of them")
    }

    /// A number outside the range of the formula that converts or corrects it.
    pub(crate) fn formula(column: &str, why: impl ToString) -> Self {
        Self::found(format!("column `{column}`: "), why.to_string(), "")
    }

    /// A line with another number of fields than the header has.
    pub(crate) fn field_count(found: usize, header: usize, hint: &str) -> Self {
        let after = format!(" fields; the header has {header}{hint}");
        Self::found("the line has ", found.to_string(), after)
    }

    /// A line too long for a row.
    pub(crate) fn too_long(found: usize, most: usize) -> Self {
        Self::found("the line has ", found.to_string(), format!(" characters; at most {most} are read"))
    }

    /// A row that repeats an earlier one in all its cells.
    pub(crate) fn duplicate(of: String) -> Self {
        Self::found("an exact duplicate of ", of, "")
    }

    /// The same for all rows that were rejected alike.
    pub(crate) fn kind(&self) -> (&str, &str) {
        (&self.before, &self.after)
    }
}

impl fmt::Display for RowError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}{}", self.before, self.found, self.after)
    }
}
