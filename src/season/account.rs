//! What became of every row.

use std::collections::BTreeMap;
use std::fmt;

use super::row_error::RowError;

/// Kinds of rejected rows, columns and files that the text form lists.
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
    /// Why.
    pub reason: RowError,
    /// The row as it stands, cut after 200 characters.
    pub text: String,
    /// Rows further down with the same kind of slip that are counted here and not listed: none unless it is the last
    /// of 1,000 in its file that are.
    pub unlisted: usize,
}

/// Rejected rows of a file with the same kind of slip, which differ only in what was found there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct RejectedAlike<'a> {
    /// The first of them.
    pub(crate) first: &'a Rejected,
    /// How many there are.
    pub(crate) rows: usize,
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

    /// The rejected rows, those together that differ only in what was found there; in order of the first of each kind.
    pub(crate) fn rejected_alike(&self) -> Vec<RejectedAlike<'_>> {
        let mut places = BTreeMap::new();
        let mut alike: Vec<RejectedAlike<'_>> = Vec::new();
        for first in &self.rejected {
            let place = *places.entry((first.file.as_str(), first.reason.kind())).or_insert(alike.len());
            match alike.get_mut(place) {
                Some(kind) => kind.rows += 1 + first.unlisted,
                None => alike.push(RejectedAlike { first, rows: 1 + first.unlisted }),
            }
        }
        alike
    }

    /// True when in every file the rows kept, flagged and rejected add up to those read, and the list of rejected
    /// rows stands for as many as the counts say.
    pub fn adds_up(&self) -> bool {
        let (_, _, _, rejected) = self.totals();
        let listed: usize = self.rejected.iter().map(|row| 1 + row.unlisted).sum();
        self.files.iter().all(|f| f.read == f.kept + f.flagged + f.rejected) && rejected == listed
    }
}

impl fmt::Display for RejectedAlike<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} line {}", self.first.file, self.first.line)?;
        match self.rows {
            1 => {}
            2 => f.write_str(" and 1 row like it")?,
            n => write!(f, " and {} rows like it", n - 1)?,
        }
        write!(f, ": {}", self.first.reason)
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let line = self.line.map_or_else(String::new, |line| format!(" line {line}"));
        write!(f, "{}{line}: {}", self.file, self.text)
    }
}

/// Says how many of `all` are not shown.
fn more(f: &mut fmt::Formatter<'_>, all: usize, what: &str) -> fmt::Result {
    if all > SHOWN { writeln!(f, "... and {} more {what}", all - SHOWN) } else { Ok(()) }
}

impl fmt::Display for RowAccount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.files.iter().map(|a| a.file.chars().count()).max().unwrap_or(4).max(4);
        let heading = ["table", "read", "kept", "flagged", "rejected"].map(str::to_owned);
        let files = self.files.iter().map(|a| {
            let counts = [a.read, a.kept, a.flagged, a.rejected].map(|count| count.to_string());
            let [read, kept, flagged, rejected] = counts;
            (a.file.as_str(), [a.table.clone(), read, kept, flagged, rejected])
        });
        for (file, [table, read, kept, flagged, rejected]) in [("file", heading)].into_iter().chain(files) {
            writeln!(f, "{file:width$}  {table:10} {read:>9} {kept:>9} {flagged:>9} {rejected:>9}")?;
        }
        for reason in &self.flagged {
            writeln!(f, "flagged in {}: {} {}", reason.file, reason.rows, reason.reason)?;
        }
        let alike = self.rejected_alike();
        for kind in alike.iter().take(SHOWN) {
            writeln!(f, "rejected {kind}")?;
        }
        if alike.len() > SHOWN {
            let rows: usize = alike.iter().skip(SHOWN).map(|kind| kind.rows).sum();
            writeln!(f, "... and {rows} more rejected rows for other reasons")?;
        }
        for remark in &self.remarks {
            writeln!(f, "remark on {remark}")?;
        }
        for (file, column) in self.unknown_columns.iter().take(SHOWN) {
            writeln!(f, "not used: column `{column}` of {file}")?;
        }
        more(f, self.unknown_columns.len(), "columns that are not used")?;
        for file in self.unmatched.iter().take(SHOWN) {
            writeln!(f, "not read: {file}")?;
        }
        more(f, self.unmatched.len(), "files that are not read")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::season::cells::checked_sg;

    #[test]
    fn rows_rejected_for_one_reason_stand_together() {
        let row = |line, reason: RowError| Rejected {
            file: "readings.csv".to_owned(),
            line,
            reason,
            text: String::new(),
            unlisted: 0,
        };
        let no_number = |column, found| RowError::unreadable(column, found, "a number");
        let no_sg = |sg| checked_sg("sg", sg).unwrap_err();
        let duplicate = |of: &str| RowError::duplicate(of.to_owned());
        let account = RowAccount {
            rejected: vec![
                row(2, no_number("tilt_deg", "29,7")),
                row(3, no_number("temp_c", "x")),
                row(4, no_number("tilt_deg", "a `; wanted b")),
                row(5, duplicate("readings.csv line 4")),
                row(7, duplicate("readings.csv line 6")),
                row(8, no_sg(0.0)),
                row(9, no_sg(3.6)),
                row(10, no_sg(0.5)),
            ],
            ..RowAccount::default()
        };
        let alike: Vec<(u64, usize)> =
            account.rejected_alike().iter().map(|kind| (kind.first.line, kind.rows)).collect();
        assert_eq!(alike, [(2, 2), (3, 1), (5, 2), (8, 2), (9, 1)]);
        let text = account.to_string();
        assert!(
            text.contains("rejected readings.csv line 2 and 1 row like it: column `tilt_deg`: found `29,7`"),
            "{text}"
        );
    }
}
