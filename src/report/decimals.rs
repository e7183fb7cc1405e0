//! Decimal points and commas of whoever reads the page and the summary.
//!
//! Sentences, tables and pictures come from many places, all with points. Here commas are put into their numbers, once the words
//! are whole.

use maud::{Markup, PreEscaped};

use crate::season::each_once;
use crate::study::{DecimalMark, SeasonStudy};

/// Stands for a point of a name while the points of numbers become commas.
const OF_A_NAME: &str = "\u{e000}";
/// The words for those who do not see a picture: the one attribute that is read.
const ALT: &str = "aria-label=\"";

/// How a reader's numbers are written.
#[derive(Debug, Clone, Default)]
pub(super) struct Decimals {
    comma: bool,
    /// Names of the season in which a number stands: they stay as they are.
    names: Vec<String>,
}

impl Decimals {
    /// Those of a study's reader.
    pub(super) fn of(study: &SeasonStudy) -> Self {
        let season = &study.season;
        let batches = season.batches.iter().flat_map(|b| [Some(&b.batch), Some(&b.strain), b.vessel.as_ref()]);
        let probes = season.probes.iter().map(|p| Some(&p.probe));
        let baths = season.references.iter().map(|r| r.bath.as_ref());
        let names = batches.chain(probes).chain(baths).flatten().filter(|name| with_commas(name) != **name);
        Self { comma: study.report.decimal == DecimalMark::Comma, names: each_once(names.cloned()) }
    }

    /// A text as this reader writes numbers.
    pub(super) fn text(&self, text: &str) -> String {
        if !self.comma {
            return text.to_owned();
        }
        let hidden = self.names.iter().fold(text.to_owned(), |t, name| t.replace(name, &name.replace('.', OF_A_NAME)));
        with_commas(&hidden).replace(OF_A_NAME, ".")
    }

    /// A piece of the page: its words, none of its attributes but the words of pictures.
    pub(super) fn markup(&self, piece: Markup) -> Markup {
        if !self.comma {
            return piece;
        }
        let mut out = String::with_capacity(piece.0.len());
        for part in piece.0.split_inclusive('>') {
            let (words, tag) = part.split_at(part.find('<').unwrap_or(part.len()));
            out += &self.text(words);
            match tag.split_once(ALT).and_then(|(before, after)| Some((before, after.split_once('"')?))) {
                Some((before, (alt, after))) => out = out + before + ALT + &self.text(alt) + "\"" + after,
                None => out += tag,
            }
        }
        PreEscaped(out)
    }
}

/// A text with commas for the points of its decimal numbers. A point is one of these between digits, in a word that holds no other
/// point between digits and no letter: dates such as 10.07.2031, versions and `ale-2.0` stay.
fn with_commas(text: &str) -> String {
    let is_of_word = |c: char| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | '/' | '\u{e000}');
    let word = |word: &str| {
        let number = word.trim_end_matches('.');
        let number = number.strip_prefix('-').unwrap_or(number);
        let is_number = number.starts_with(|c: char| c.is_ascii_digit())
            && number.chars().all(|c| c.is_ascii_digit() || c == '.')
            && number.matches('.').count() == 1;
        let (head, end) = word.split_at(word.trim_end_matches('.').len());
        if is_number { head.replace('.', ",") + end } else { word.to_owned() }
    };
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(start) = rest.find(is_of_word) {
        let (before, from) = rest.split_at(start);
        let (one, after) = from.split_at(from.find(|c| !is_of_word(c)).unwrap_or(from.len()));
        out = out + before + &word(one);
        rest = after;
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_get_commas_and_names_and_tags_do_not() {
        let reader = Decimals { comma: true, names: vec!["ale 6.5".to_owned()] };
        let text = "ale 6.5 of 10.07.2031 (ale-2.0): SG 1.0480 \u{b1} 0.0007, \u{2212}3.6 \u{b0}C to -0.5. No 7.";
        let said = "ale 6.5 of 10.07.2031 (ale-2.0): SG 1,0480 \u{b1} 0,0007, \u{2212}3,6 \u{b0}C to -0,5. No 7.";
        assert_eq!(reader.text(text), said);
        assert_eq!(Decimals::default().text(text), text);
        let piece = "<p style=\"margin:1.2em\" aria-label=\"to 1.05\">1.0.1 is &lt; 0.001</p>".to_owned();
        let wanted = "<p style=\"margin:1.2em\" aria-label=\"to 1,05\">1.0.1 is &lt; 0,001</p>";
        assert_eq!(reader.markup(PreEscaped(piece)).0, wanted);
    }
}
