//! The answers of a season in plain words: the head of the page, and what the command line prints.

mod batches;
mod probes;
mod rows;
mod step;
mod steps;
mod yeasts;

use std::fmt;

use maud::html;

use crate::season::each_once;
use crate::show::{Grid, Show, print};
use crate::study::SeasonStudy;

use super::reader::Reader;
use super::words::{count, minute};
use step::Step;

/// One question and what the season says to it.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Answer {
    pub(super) question: String,
    pub(super) sentences: Vec<String>,
    /// What to know beside it.
    pub(super) notes: Vec<String>,
    /// Details, one row per probe or strain.
    pub(super) table: Grid,
}

impl Answer {
    fn new(question: &str) -> Self {
        Self { question: question.to_owned(), ..Self::default() }
    }

    fn say(&mut self, sentence: impl Into<String>) {
        self.sentences.push(sentence.into());
    }

    fn written(mut self, reader: &Reader) -> Self {
        let cells = self.table.columns.iter_mut().flat_map(|column| &mut column.texts);
        for text in self.sentences.iter_mut().chain(&mut self.notes).chain(cells) {
            *text = reader.text(text);
        }
        self
    }
}

/// The answers of a season.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Which season, and how much there is of it.
    pub season: String,
    pub(super) batches: Answer,
    pub(super) steps: Vec<Step>,
    pub(super) probes: Answer,
    pub(super) yeasts: Answer,
    pub(super) rows: Answer,
}

/// The question of the steps.
pub(super) const WHAT_TO_DO: &str = "What to do?";
/// What stands under every summary.
const NEVER: &str = "A forecast is never permission to package: beer that still ferments can burst whatever it is \
sealed in. Decide by a degassed sample and a hydrometer that reads right in water: unchanged for at least three days, at \
fermentation temperature, before any cooling, and where this wort should end.";

impl Summary {
    /// The answers of a study.
    #[doc = example!(no_run "println!(\"{}\", Summary::of(&study));")]
    pub fn of(study: &SeasonStudy) -> Self {
        let (season, reader) = (&study.season, &Reader::of(study));
        let strains = each_once(season.batches.iter().map(|batch| &batch.strain));
        let mut text = format!(
            "{}: {}, {}, {}",
            study.title(),
            count(season.batches.len(), "batch", "batches"),
            count(season.probes.len(), "probe", "probes"),
            count(strains.len(), "strain", "strains")
        );
        if let Some(latest) = study.latest {
            text.push_str(&format!("; data to {} ({})", minute(latest, &reader.scales.zone), reader.scales.clock()));
        }
        // What is said of the rows quotes files, where numbers are as they stand.
        Self {
            season: text,
            batches: batches::answer(study, reader).written(reader),
            steps: steps::steps(study, reader).iter().map(|step| step.written(reader)).collect(),
            probes: probes::answer(study, reader).written(reader),
            yeasts: yeasts::answer(study, &reader.scales).written(reader),
            rows: rows::answer(&season.account),
        }
    }

    /// All answers in their order.
    fn answers(&self) -> [Answer; 5] {
        let mut steps = Answer::new(WHAT_TO_DO);
        steps.sentences.extend(self.steps.iter().map(Step::text));
        if steps.sentences.is_empty() {
            steps.say("Nothing that the data show.");
        }
        let [batches, probes, yeasts, rows] = [&self.batches, &self.probes, &self.yeasts, &self.rows].map(Clone::clone);
        [batches, steps, probes, yeasts, rows]
    }
}

/// Width of the text where no terminal says another, letters.
pub(crate) const WIDTH: usize = 110;
/// What stands left of a sentence.
const INDENT: &str = "  ";

impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text(WIDTH))
    }
}

impl Summary {
    /// All answers in lines of at most `width` letters; a table that is wider lacks its last columns.
    pub fn text(&self, width: usize) -> String {
        let inside = width.saturating_sub(INDENT.len());
        let mut lines = wrapped(&self.season, width);
        for answer in self.answers() {
            lines.extend([String::new(), answer.question.clone()]);
            let said = answer.sentences.iter().chain(&answer.notes);
            let sentences = said.flat_map(|sentence| wrapped(sentence, inside));
            let table = if answer.table.rows > 0 { answer.table.lines(inside) } else { Vec::new() };
            lines.extend(sentences.chain(table).map(|line| format!("{INDENT}{line}")));
        }
        lines.push(String::new());
        lines.extend(wrapped(NEVER, width));
        lines.iter().map(|line| format!("{line}\n")).collect()
    }
}

/// A sentence broken between words into lines of at most `width` letters.
pub(crate) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    // A number stays with its percent sign.
    for word in text.replace(" %", "\u{a0}%").split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

impl Show for Summary {
    fn html(&self) -> String {
        let words = |words: &str| html! { p style="max-width:46em;margin:.4em 0" { (words) } };
        let page = html! { div {
            (words(&self.season))
            @for answer in self.answers() {
                h3 style="margin:1em 0 .4em" { (answer.question) }
                @for sentence in answer.sentences.iter().chain(&answer.notes) { (words(sentence)) }
                @if answer.table.rows > 0 { (answer.table.markup()) }
            }
            (words(NEVER))
        } };
        page.into_string()
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

#[cfg(test)]
#[path = "../../../tests/inside/summary.rs"]
mod tests;
