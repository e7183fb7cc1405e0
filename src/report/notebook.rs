//! The answers of a season in a notebook.

use maud::html;

use crate::show::{Show, print};
use crate::study::SeasonStudy;

use super::summary::{Answer, NEVER, Summary};

impl Show for Summary {
    fn html(&self) -> String {
        html! {
            div {
                p { b { (self.season) } }
                @for answer in self.answers() { (block(answer)) }
                p style="max-width:46em;font-weight:600" { (NEVER) }
            }
        }
        .into_string()
    }

    fn text(&self) -> String {
        self.to_string()
    }
}

fn block(answer: &Answer) -> maud::Markup {
    html! {
        h4 style="margin:1em 0 .3em" { (answer.question) }
        @for sentence in &answer.sentences { p style="max-width:46em;margin:.3em 0" { (sentence) } }
        @if answer.table.rows > 0 { (answer.table.html()) }
    }
}

impl Summary {
    /// Shows it as the result of a notebook cell.
    pub fn evcxr_display(&self) {
        print(self);
    }
}

impl SeasonStudy {
    /// Shows the answers of the season as the result of a notebook cell.
    pub fn evcxr_display(&self) {
        print(&Summary::of(self));
    }
}
