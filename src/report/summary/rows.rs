//! What became of the rows?

use crate::season::RowAccount;

use super::super::words::{count, grouped, list};
use super::Answer;

pub(super) fn answer(account: &RowAccount) -> Answer {
    let mut answer = Answer::new("What became of every row?");
    let sum = |of: fn(&crate::season::FileAccount) -> usize| account.files.iter().map(of).sum::<usize>();
    answer.say(format!(
        "{} read from {}: {} kept, {} kept with a reason to look twice, {} rejected.",
        count(sum(|f| f.read), "row", "rows"),
        count(account.files.len(), "file", "files"),
        grouped(sum(|f| f.kept)),
        grouped(sum(|f| f.flagged)),
        grouped(sum(|f| f.rejected))
    ));
    if !account.unmatched.is_empty() {
        answer.say(format!("Files that belong to no table: {}.", list(&account.unmatched)));
    }
    if !account.unknown_columns.is_empty() {
        let names: Vec<String> =
            account.unknown_columns.iter().map(|(file, column)| format!("`{column}` in {file}")).collect();
        answer.say(format!("Columns that belong to no table: {}.", list(&names)));
    }
    answer
}
