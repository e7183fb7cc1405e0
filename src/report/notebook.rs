//! The answers of a season in a notebook.

use crate::show::{Page, Show, print};
use crate::study::SeasonStudy;

use super::summary::{NEVER, Summary};

impl Show for Summary {
    fn html(&self) -> String {
        let mut page = Page::new().words(&self.season);
        for answer in self.answers() {
            page = answer.sentences.iter().fold(page.heading(&answer.question), |page, sentence| page.words(sentence));
            if answer.table.rows > 0 {
                page = page.with(&answer.table);
            }
        }
        page.words(NEVER).html()
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
