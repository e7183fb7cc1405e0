//! What became of every row.

use std::fmt;

/// Rejected rows that the text form lists.
const SHOWN: usize = 20;

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

/// How many rows of a file carry one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReasonCount {
    /// The file, relative to the season's folder.
    pub file: String,
    /// The table.
    pub table: String,
    /// The flag, or what the rejected rows have in common.
    pub reason: String,
    /// Rows with it. A row with two flags counts under both.
    pub rows: usize,
}

/// Something about the input that a person should know and that is no row's fault alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// The file, relative to the season's folder.
    pub file: String,
    /// The line where it first shows, where there is one.
    pub line: Option<u64>,
    /// What, in words.
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
    /// Flagged rows by file and flag.
    pub flagged: Vec<ReasonCount>,
    /// What else there is to say: values left empty, times read as UTC for want of a zone.
    pub remarks: Vec<Remark>,
}

impl RowAccount {
    /// Rows read, kept, flagged and rejected over all files.
    pub fn totals(&self) -> (usize, usize, usize, usize) {
        self.files.iter().fold((0, 0, 0, 0), |(read, kept, flagged, rejected), f| {
            (read + f.read, kept + f.kept, flagged + f.flagged, rejected + f.rejected)
        })
    }

    /// True when in every file the rows kept, flagged and rejected add up to those read, and the list of rejected
    /// rows has as many entries as the counts say.
    pub fn adds_up(&self) -> bool {
        let (_, _, _, rejected) = self.totals();
        self.files.iter().all(|f| f.read == f.kept + f.flagged + f.rejected) && rejected == self.rejected.len()
    }
}

impl fmt::Display for RowAccount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.files.iter().map(|a| a.file.chars().count()).max().unwrap_or(4).max(4);
        writeln!(
            f,
            "{:width$}  {:10} {:>9} {:>9} {:>9} {:>9}",
            "file", "table", "read", "kept", "flagged", "rejected"
        )?;
        for a in &self.files {
            writeln!(
                f,
                "{:width$}  {:10} {:>9} {:>9} {:>9} {:>9}",
                a.file, a.table, a.read, a.kept, a.flagged, a.rejected
            )?;
        }
        for reason in &self.flagged {
            writeln!(f, "flagged in {}: {} {}", reason.file, reason.rows, reason.reason)?;
        }
        for row in self.rejected.iter().take(SHOWN) {
            writeln!(f, "rejected {} line {}: {}", row.file, row.line, row.reason)?;
        }
        if self.rejected.len() > SHOWN {
            writeln!(f, "... and {} more rejected rows", self.rejected.len() - SHOWN)?;
        }
        for remark in &self.remarks {
            match remark.line {
                Some(line) => writeln!(f, "remark on {} line {line}: {}", remark.file, remark.text)?,
                None => writeln!(f, "remark on {}: {}", remark.file, remark.text)?,
            }
        }
        for (file, column) in &self.unknown_columns {
            writeln!(f, "not used: column `{column}` of {file}")?;
        }
        for file in &self.unmatched {
            writeln!(f, "not read: {file}")?;
        }
        Ok(())
    }
}
