//! What became of every row.

/// One input file and table, and what became of its rows: `read == kept + flagged + rejected`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FileAccount {
    /// The file, relative to the season's folder.
    pub file: String,
    /// The table.
    pub table: String,
    /// Rows read, blank lines not counted.
    pub read: usize,
    /// Rows kept without a remark.
    pub kept: usize,
    /// Rows kept with reasons.
    pub flagged: usize,
    /// Rows rejected.
    pub rejected: usize,
}

/// A row that was not used, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rejected {
    /// The file, relative to the season's folder.
    pub file: String,
    /// The line, with the header as line 1; for Parquet the row, counted from 1.
    pub line: u64,
    /// Why, in words.
    pub reason: String,
    /// The row as it stands, cut after 200 characters.
    pub text: String,
}

/// The whole account of a season.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RowAccount {
    /// One entry per file and table.
    pub files: Vec<FileAccount>,
    /// The rejected rows.
    pub rejected: Vec<Rejected>,
    /// Files in the folder that match no table and no mapping.
    pub unmatched: Vec<String>,
    /// Columns that belong to no table: file and column.
    pub unknown_columns: Vec<(String, String)>,
}
