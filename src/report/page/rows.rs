//! What became of the rows.

use maud::{Markup, html};

use crate::study::SeasonStudy;

use super::parts::picture;

/// Rejected rows on the page; all of them are in the table beside it.
const SHOWN: usize = 200;

pub(super) fn section(study: &SeasonStudy) -> Markup {
    let account = &study.season.account;
    let rejected = account.rejected.len();
    html! {
        p { "Each row that was read is kept, kept with a reason to look twice, or rejected; the three add up to what was read. \
             All of it: " a href="tables/row_account.csv" { "tables/row_account.csv" } ", "
             a href="tables/rejected.csv" { "tables/rejected.csv" } "." }
        (picture(account.chart()))
        div.scroll { table {
            thead { tr { @for name in ["file", "table", "read", "kept", "flagged", "rejected"] { th scope="col" { (name) } } } }
            tbody { @for file in &account.files { tr {
                td { (file.file) } td { (file.table) } td { (file.read) } td { (file.kept) } td { (file.flagged) } td { (file.rejected) }
            } } }
        } }
        @if !account.flagged.is_empty() {
            details {
                summary { "Reasons to look twice" }
                div.scroll { table {
                    thead { tr { @for name in ["file", "table", "reason", "rows"] { th scope="col" { (name) } } } }
                    tbody { @for reason in &account.flagged { tr {
                        td { (reason.file) } td { (reason.table) } td { (reason.reason) } td { (reason.rows) }
                    } } }
                } }
            }
        }
        @if !account.remarks.is_empty() {
            ul { @for remark in &account.remarks {
                li { b { (remark.file) } @if let Some(line) = remark.line { ", line " (line) } ": " (remark.text) }
            } }
        }
        @if rejected > 0 {
            details open[rejected <= 20] {
                summary { (rejected) " rejected" @if rejected > SHOWN { ", the first " (SHOWN) " here" } }
                div.scroll { table {
                    thead { tr { @for name in ["file", "line", "reason", "row"] { th scope="col" { (name) } } } }
                    tbody { @for row in account.rejected.iter().take(SHOWN) { tr {
                        td { (row.file) } td { (row.line) } td { (row.reason) } td { code { (row.text) } }
                    } } }
                } }
            }
        }
    }
}
