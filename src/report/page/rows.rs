//! What became of the rows.

use maud::{Markup, html};

use crate::report::summary::Summary;
use crate::show::ResultTable;
use crate::study::SeasonStudy;

use super::parts::{answer, fold, table};

/// Rejected rows on the page; all of them are in the table beside it.
const SHOWN: usize = 200;

pub(super) fn section(study: &SeasonStudy, summary: &Summary) -> Markup {
    let account = &study.season.account;
    let files = ResultTable::new(&account.files, usize::MAX)
        .text("file", |file| &file.file)
        .text("table", |file| &file.table)
        .count("read", |file| file.read)
        .count("kept", |file| file.kept)
        .count("flagged", |file| file.flagged)
        .count("rejected", |file| file.rejected)
        .titled("");
    let flagged = ResultTable::new(&account.flagged, usize::MAX)
        .text("file", |reason| &reason.file)
        .text("table", |reason| &reason.table)
        .text("reason", |reason| &reason.reason)
        .count("rows", |reason| reason.rows)
        .titled("");
    let rejected = ResultTable::new(&account.rejected, SHOWN)
        .text("file", |row| &row.file)
        .text("line", |row| row.line)
        .text("reason", |row| &row.reason)
        .text("row", |row| &row.text)
        .titled("");
    html! {
        p { "Each row that was read is kept, kept with a reason to look twice, or rejected." }
        (answer(&summary.rows))
        (fold("File by file", &table(&files, "row_account")))
        (fold("Reasons to look twice", &table(&flagged, "row_account")))
        (fold("Remarks", &html! { @if !account.remarks.is_empty() {
            ul { @for remark in &account.remarks {
                li { b { (remark.file) } @if let Some(line) = remark.line { ", line " (line) } ": " (remark.text) }
            } }
        } }))
        (fold("Rejected rows", &table(&rejected, "rejected")))
    }
}
