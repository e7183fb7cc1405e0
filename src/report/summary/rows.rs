//! What became of the rows?

use crate::season::{RejectedAlike, RowAccount, list};

use super::super::words::{count, grouped};
use super::Answer;

/// Most reasons and most remarks that are said here.
const MOST: usize = 4;
/// Share of the rows of a file that must be rejected alike to be said here.
const SHARE: f64 = 0.05;
/// Share of the rows of a file that must carry one flag to be said here.
const FLAGGED_SHARE: f64 = 0.25;

/// Whether rows rejected alike are more than a few of their file.
fn weighs(account: &RowAccount, kind: &RejectedAlike<'_>) -> bool {
    kind.rows as f64 >= SHARE * read_of(account, &kind.first.file) as f64
}

/// Rows read from a file.
fn read_of(account: &RowAccount, file: &str) -> usize {
    account.files.iter().filter(|one| one.file == file).map(|one| one.read).sum()
}

pub(super) fn answer(account: &RowAccount) -> Answer {
    let mut answer = Answer::new("What became of every row?");
    let (read, kept, flagged, rejected) = account.totals();
    answer.say(format!(
        "{} read from {}: {} kept, {} kept with a reason to look twice, {} rejected.",
        count(read, "row", "rows"),
        count(account.files.len(), "file", "files"),
        grouped(kept),
        grouped(flagged),
        grouped(rejected)
    ));
    for kind in account.rejected_alike().iter().filter(|kind| weighs(account, kind)).take(MOST) {
        answer.say(format!("Rejected: {kind}."));
    }
    for reason in &account.flagged {
        let share = reason.rows as f64 / read_of(account, &reason.file).max(1) as f64;
        if share >= FLAGGED_SHARE {
            answer.say(format!(
                "{:.0} % of the rows of {} are kept with the reason `{}`.",
                100.0 * share,
                reason.file,
                reason.reason
            ));
        }
    }
    for remark in account.remarks.iter().take(MOST) {
        answer.say(format!("{remark}."));
    }
    if account.remarks.len() > MOST {
        let more = count(account.remarks.len() - MOST, "more remark", "more remarks");
        answer.say(format!("The row account has {more}."));
    }
    if !account.unmatched.is_empty() {
        answer.say(format!("Files that belong to no table: {}.", list(&account.unmatched)));
    }
    if !account.unknown_columns.is_empty() {
        let names: Vec<String> =
            account.unknown_columns.iter().map(|(file, column)| format!("{column} of {file}")).collect();
        answer.say(format!("Columns that belong to no table: {}.", list(&names)));
    }
    answer
}
