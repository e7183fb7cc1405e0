//! Progress on a terminal: one line on standard error, nothing where there is no terminal.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

/// The line that shows what is being done.
#[derive(Debug)]
pub struct Progress {
    bar: ProgressBar,
}

impl Progress {
    /// A line that has not started yet.
    pub fn new() -> Self {
        let bar = ProgressBar::new_spinner();
        if let Ok(style) = ProgressStyle::with_template("{spinner} {elapsed:>3} {msg}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(120));
        Self { bar }
    }

    /// Says what is being done now.
    pub fn say(&self, doing: &str) {
        self.bar.set_message(doing.to_owned());
    }

    /// Takes the line away.
    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}

impl Default for Progress {
    fn default() -> Self {
        Self::new()
    }
}
