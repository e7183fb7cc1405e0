//! How loading and tidying keep the account of rows.

use std::collections::HashMap;

use super::account::{FileAccount, ReasonCount, Rejected, Remark, RowAccount};
use super::discover::Found;
use super::flags::Flags;
use super::load::Loaded;
use super::row_error::RowError;
use super::table::Table;

impl Loaded {
    /// Begins the account of a file; gives its index.
    pub(crate) fn begin(&mut self, found: &Found, table: Table) -> usize {
        self.files.push(found.clone());
        self.account.files.push(FileAccount {
            file: found.name.clone(),
            table: table.name().to_owned(),
            ..FileAccount::default()
        });
        self.account.files.len() - 1
    }

    pub(super) fn count_read(&mut self, file: usize) {
        if let Some(account) = self.account.files.get_mut(file) {
            account.read += 1;
        }
    }

    /// Rejects a row.
    pub(crate) fn reject(&mut self, file: usize, line: u64, reason: RowError, text: String) {
        if let Some(account) = self.account.files.get_mut(file) {
            account.rejected += 1;
            self.account.rejected.push(Rejected { file: account.file.clone(), line, reason, text });
        }
    }

    /// A file and line in words.
    pub(crate) fn place_text(&self, file: usize, line: u64) -> String {
        let name = self.files.get(file).map_or("", |f| f.name.as_str());
        format!("{name} line {line}")
    }

    /// A reading written as its columns, for the list of rejected rows.
    pub(crate) fn row_text(&self, row: usize, probe_ids: &[String], batch_ids: &[String]) -> String {
        let raw = &self.readings;
        let id =
            |ids: &[String], index: Option<u32>| index.and_then(|i| ids.get(i as usize)).cloned().unwrap_or_default();
        let number = |column: &[f64]| column.get(row).filter(|v| v.is_finite()).map(f64::to_string).unwrap_or_default();
        let at = raw.at.get(row).map(ToString::to_string).unwrap_or_default();
        let (probe, batch) =
            (id(probe_ids, raw.probe.get(row).copied()), id(batch_ids, raw.batch.get(row).copied().flatten()));
        let (tilt, temp, supply) = (number(&raw.tilt_deg), number(&raw.temp_c), number(&raw.supply_v));
        [at, probe, tilt, temp, batch, supply].join(",").trim_end_matches(',').to_owned()
    }

    /// Counts a row that is kept with flags.
    pub(crate) fn count_flagged(&mut self, file: usize, flags: Flags) {
        if flags.is_empty() {
            return;
        }
        if let Some(account) = self.account.files.get_mut(file) {
            account.flagged += 1;
        }
        for name in flags.names() {
            *self.flag_counts.entry((file, name)).or_default() += 1;
        }
    }

    /// The finished account.
    pub(crate) fn finish_account(&mut self) -> RowAccount {
        for file in &mut self.account.files {
            file.kept = file.read.saturating_sub(file.flagged + file.rejected);
        }
        let mut counts: Vec<_> = self.flag_counts.drain().collect();
        counts.sort();
        for ((file, reason), rows) in counts {
            if let Some(account) = self.account.files.get(file) {
                self.account.flagged.push(ReasonCount {
                    file: account.file.clone(),
                    table: account.table.clone(),
                    reason: reason.to_owned(),
                    rows,
                });
            }
        }
        let place: HashMap<&str, usize> = self.files.iter().enumerate().map(|(i, f)| (f.name.as_str(), i)).collect();
        let order = |file: &str| place.get(file).copied().unwrap_or(usize::MAX);
        self.account.rejected.sort_by_cached_key(|row| (order(&row.file), row.line));
        std::mem::take(&mut self.account)
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
