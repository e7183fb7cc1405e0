//! One step: what to do, and why.

use crate::season::each_once;

use super::super::reader::Reader;
use super::super::words::{capital, some};

/// Letters for names in the line of a step; the others are counted.
const MOST_LETTERS: usize = 72;
/// Reasons that the terminal shows of one step.
const MOST_REASONS: usize = 12;

/// Something to do: one line, and why.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::report) struct Step {
    /// What to do, in a line without a full stop.
    pub(in crate::report) what: String,
    /// Why and how, in sentences.
    pub(in crate::report) why: Vec<String>,
}

/// A line in which `#` stands for names, one of the names, and the reason; a reason without a name is for all of the line.
pub(super) type Todo = (String, String, String);

pub(super) fn todo(line: &str, name: impl Into<String>, why: impl Into<String>) -> Todo {
    (line.to_owned(), name.into(), why.into())
}

impl Step {
    /// The same thing for several batches or probes is one step, with the reason of each.
    pub(super) fn of(line: &str, all: &[Todo]) -> Self {
        let (named, for_all): (Vec<&Todo>, Vec<&Todo>) =
            all.iter().filter(|(other, ..)| other == line).partition(|(_, name, _)| !name.is_empty());
        let names: Vec<&str> = named.iter().map(|(_, name, _)| name.as_str()).collect();
        let letters = names.iter().scan(0, |sum, name| {
            *sum += name.chars().count() + 2;
            Some(*sum)
        });
        let shown = letters.take_while(|sum| *sum <= MOST_LETTERS).count().max(1);
        let is_one = named.iter().all(|(.., why)| named.first().is_some_and(|(.., first)| why == first));
        let each = |(_, name, why): &Todo| match why.strip_prefix("it ") {
            _ if is_one => format!("{}.", capital(why)),
            Some(does) => format!("{name} {does}."),
            None => format!("{name}: {why}."),
        };
        let why =
            each_once(named.into_iter().map(each)).into_iter().chain(for_all.into_iter().map(|(.., why)| why.clone()));
        Self { what: line.replace('#', &some(&names, shown)), why: why.collect() }
    }

    pub(super) fn written(&self, reader: &Reader) -> Self {
        Self { what: reader.text(&self.what), why: self.why.iter().map(|why| reader.text(why)).collect() }
    }

    /// The step on a terminal.
    pub(super) fn text(&self) -> String {
        let shown = self.why.get(..MOST_REASONS).unwrap_or(&self.why).join(" ");
        let more = match self.why.len().saturating_sub(MOST_REASONS) {
            0 => String::new(),
            more => format!(" The page has {more} more."),
        };
        format!("{}. {shown}{more}", self.what)
    }
}

#[cfg(test)]
#[path = "../../../tests/inside/steps.rs"]
mod tests;
