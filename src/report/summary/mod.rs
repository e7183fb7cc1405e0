//! The answers of a season in plain words: the head of the page, and what the command line prints.

mod batches;
mod probes;
mod rows;
mod yeasts;

use std::fmt;

use crate::show::align;
use crate::study::SeasonStudy;

use super::words::{count, minute};
pub(super) use probes::due_in_words;

/// One question and what the season says to it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Answer {
    /// The question.
    pub question: String,
    /// What can be said, in sentences.
    pub sentences: Vec<String>,
    /// Names of the columns of `rows`.
    pub heading: Vec<String>,
    /// Details, one row per probe, batch or strain.
    pub rows: Vec<Vec<String>>,
}

impl Answer {
    fn new(question: &str) -> Self {
        Self { question: question.to_owned(), ..Self::default() }
    }

    fn say(&mut self, sentence: impl Into<String>) {
        self.sentences.push(sentence.into());
    }

    fn heading(&mut self, names: &[&str]) {
        self.heading = names.iter().map(|name| (*name).to_owned()).collect();
    }
}

/// The answers of a season.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// Which season, and how much there is of it.
    pub season: String,
    /// The questions with their answers.
    pub answers: Vec<Answer>,
}

/// What stands under every summary.
pub(super) const NEVER: &str = "A forecast is never permission to package: beer that still ferments can burst whatever it is \
sealed in. Decide by a degassed sample and a hydrometer that reads right in water: unchanged for at least three days, at \
fermentation temperature, before any cooling, and where this wort should end.";

impl Summary {
    /// The answers of a study.
    ///
    /// ```no_run
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// let study = Settings::default().study(Season::load("my-season")?)?;
    /// println!("{}", Summary::of(&study));
    /// # Ok(())
    /// # }
    /// ```
    pub fn of(study: &SeasonStudy) -> Self {
        let season = &study.season;
        let mut strains: Vec<&str> = season.batches.iter().map(|batch| batch.strain.as_str()).collect();
        strains.sort_unstable();
        strains.dedup();
        let mut text = format!(
            "{}: {}, {}, {}",
            study.name,
            count(season.batches.len(), "batch", "batches"),
            count(season.probes.len(), "probe", "probes"),
            count(strains.len(), "strain", "strains")
        );
        if let Some(latest) = study.latest {
            text.push_str(&format!("; data to {} UTC", minute(latest)));
        }
        let answers =
            vec![probes::answer(study), batches::answer(study), yeasts::answer(study), rows::answer(&season.account)];
        Self { season: text, answers }
    }
}

/// Width of the terminal text, letters.
const WIDTH: usize = 110;

impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.season)?;
        for answer in &self.answers {
            writeln!(f, "\n{}", answer.question)?;
            for line in answer.sentences.iter().flat_map(|sentence| wrapped(sentence, WIDTH - 2)) {
                writeln!(f, "  {line}")?;
            }
            if answer.rows.is_empty() {
                continue;
            }
            let lines = std::iter::once(&answer.heading).chain(&answer.rows);
            let lines: Vec<Vec<&str>> = lines.map(|line| line.iter().map(String::as_str).collect()).collect();
            for line in align(&lines, &vec![false; answer.heading.len()]) {
                writeln!(f, "  {line}")?;
            }
        }
        writeln!(f)?;
        for line in wrapped(NEVER, WIDTH) {
            writeln!(f, "{line}")?;
        }
        Ok(())
    }
}

/// A sentence broken between words into lines of at most `width` letters.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_summary_prints_short_and_aligned() {
        let mut answer = Answer::new("Which probes stay true?");
        answer.say("8 probes with 9 curves.");
        answer.heading(&["probe", "verdict", "from"]);
        answer.rows = vec![
            vec!["ruff".into(), "stays true".into(), "5 checks".into()],
            vec!["oystercatcher".into(), "reads ever higher".into(), "12 checks".into()],
        ];
        let summary = Summary { season: "marsh: 3 batches".into(), answers: vec![answer] };
        let text = summary.to_string();
        let lines: Vec<&str> = text.lines().take(7).collect();
        let expected = [
            "marsh: 3 batches",
            "",
            "Which probes stay true?",
            "  8 probes with 9 curves.",
            "  probe          verdict            from",
            "  ruff           stays true         5 checks",
            "  oystercatcher  reads ever higher  12 checks",
        ];
        assert_eq!(lines, expected);
        assert!(text.contains("never permission to package"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
    }

    #[test]
    fn sentences_break_between_words() {
        assert_eq!(wrapped("one two three", 8), ["one two", "three"]);
        assert_eq!(wrapped("unbreakable", 3), ["unbreakable"]);
    }
}
