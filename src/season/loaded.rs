//! All rows of a season as its files hold them, with the account so far.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::error::{Error, Result};

use super::account::{FileAccount, ReasonCount, Rejected, Remark, RowAccount};
use super::cells::Doubt;
use super::flags::Flags;
use super::raw::RawReadings;
use super::row_error::RowError;
use super::source_files::SourceFile;
use super::table::SeasonTable;
use super::table_rows::{Batch, Event, PlanStep, Probe, Reference};

/// Most rejected rows of a file that are listed for one kind of slip: a whole log in a wrong form would fill the memory.
const MOST_LISTED: usize = 1000;

/// A row of a small table with where it stands.
#[derive(Debug, Clone)]
pub(crate) struct SourceRow<T> {
    pub(crate) row: T,
    pub(crate) file: usize,
    pub(crate) line: u64,
    pub(crate) text: String,
    pub(crate) flags: Flags,
}

/// All rows as read. Each row of a file is counted when it is read, and again when it is kept, flagged or rejected.
#[derive(Debug, Default)]
pub(crate) struct Loaded {
    pub(crate) readings: RawReadings,
    pub(crate) references: Vec<SourceRow<Reference>>,
    pub(crate) batches: Vec<SourceRow<Batch>>,
    pub(crate) probes: Vec<SourceRow<Probe>>,
    pub(crate) events: Vec<SourceRow<Event>>,
    pub(crate) plan: Vec<SourceRow<PlanStep>>,
    pub(crate) account: RowAccount,
    /// What the first file of readings calls its temperature.
    pub(crate) temp_column: Option<String>,
    flag_counts: BTreeMap<(usize, &'static str), usize>,
    /// Rejected rows by file and kind: how many, and the last that is listed.
    rejected_of: HashMap<(usize, String, String), (usize, usize)>,
    remarked: HashSet<(usize, &'static str)>,
    /// Columns of files with a cell that was not taken: their remark, and how many more there are.
    doubted: BTreeMap<(usize, &'static str), (usize, usize)>,
}

impl Loaded {
    /// Begins the account of a file; gives its index.
    pub(crate) fn begin(&mut self, found: &SourceFile, table: SeasonTable) -> usize {
        self.account.files.push(FileAccount {
            file: found.name.clone(),
            table: table.name().to_owned(),
            ..FileAccount::default()
        });
        self.account.files.len() - 1
    }

    pub(crate) fn count_read(&mut self, file: usize, rows: usize) {
        if let Some(account) = self.account.files.get_mut(file) {
            account.read += rows;
        }
    }

    pub(crate) fn reject(&mut self, file: usize, line: u64, reason: RowError, text: String) {
        let Some(account) = self.account.files.get_mut(file) else { return };
        account.rejected += 1;
        let (before, after) = reason.kind();
        let (alike, last) = self.rejected_of.entry((file, before.to_owned(), after.to_owned())).or_default();
        *alike += 1;
        match self.account.rejected.get_mut(*last).filter(|_| *alike > MOST_LISTED) {
            Some(last) => last.unlisted += 1,
            None => {
                *last = self.account.rejected.len();
                let file = account.file.clone();
                self.account.rejected.push(Rejected { file, line, reason, text, unlisted: 0 });
            }
        }
    }

    pub(crate) fn file_name(&self, file: usize) -> &str {
        self.account.files.get(file).map_or("", |account| account.file.as_str())
    }

    /// A file and line in words.
    pub(crate) fn place_text(&self, file: usize, line: u64) -> String {
        format!("{} line {line}", self.file_name(file))
    }

    /// Counts a row that is kept, with its flags.
    pub(crate) fn count_kept(&mut self, file: usize, flags: Flags) {
        let Some(account) = self.account.files.get_mut(file) else { return };
        if flags.is_empty() {
            account.kept += 1;
            return;
        }
        account.flagged += 1;
        for name in flags.names() {
            *self.flag_counts.entry((file, name)).or_default() += 1;
        }
    }

    /// The finished account.
    ///
    /// # Errors
    /// [`Error::Numeric`] when a row that was read was neither kept nor flagged nor rejected.
    pub(crate) fn finish_account(&mut self) -> Result<RowAccount> {
        let mut account = std::mem::take(&mut self.account);
        for ((file, reason), rows) in std::mem::take(&mut self.flag_counts) {
            account.flagged.extend(account.files.get(file).map(|FileAccount { file, table, .. }| ReasonCount {
                file: file.clone(),
                table: table.clone(),
                reason: reason.to_owned(),
                rows,
            }));
        }
        for (place, more) in self.doubted.values().filter(|(_, more)| *more > 0) {
            let rows = if *more == 1 { "row" } else { "rows" };
            let remark = account.remarks.get_mut(*place);
            remark.into_iter().for_each(|remark| remark.text += &format!(" (and {more} {rows} like it)"));
        }
        let place: HashMap<&str, usize> = account.files.iter().enumerate().map(|(i, f)| (f.file.as_str(), i)).collect();
        account.rejected.sort_by_cached_key(|row| (place.get(row.file.as_str()).copied(), row.line));
        if account.adds_up() {
            Ok(account)
        } else {
            Err(Error::numeric("accounting for every row", format!("the counts differ:\n{account}")))
        }
    }

    /// Notes a cell that was not taken as it stands, the first of its column in words and all by their number.
    pub(crate) fn doubt(&mut self, file: usize, line: u64, doubt: Doubt) {
        let place = self.account.remarks.len();
        let (_, more) = self.doubted.entry((file, doubt.column)).and_modify(|of| of.1 += 1).or_insert((place, 0));
        if *more == 0 {
            self.add_remark(file, line, doubt.text);
        }
    }

    /// Notes something about a line.
    pub(crate) fn add_remark(&mut self, file: usize, line: u64, text: String) {
        let file = self.file_name(file).to_owned();
        self.account.remarks.push(Remark { file, line: Some(line), text });
    }

    /// Notes something about a column or a setting, once a file: rows often repeat it, and their flags count them.
    pub(crate) fn remark(&mut self, file: usize, line: Option<u64>, about: &'static str, text: String) {
        if let Some(account) = self.account.files.get(file)
            && self.remarked.insert((file, about))
        {
            self.account.remarks.push(Remark { file: account.file.clone(), line, text });
        }
    }
}
