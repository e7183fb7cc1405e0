//! The reader's clock, scales and decimal mark.

use maud::{Markup, PreEscaped};

use crate::chart::{Scales, dated, signed};
use crate::fit::{Estimate, decimals_for};
use crate::study::{GravityScale, SeasonStudy, TemperatureScale};
use crate::units::Instant;

/// How one reader wants times and numbers.
#[derive(Debug, Clone)]
pub(super) struct Reader {
    /// The same for tables and pictures.
    pub(super) scales: Scales,
    /// Whether decimals stand behind a comma.
    comma: bool,
}

impl Reader {
    pub(super) fn of(study: &SeasonStudy) -> Self {
        let report = &study.report;
        // The name was checked before the study ran.
        let zone = report.zone().unwrap_or(jiff::tz::TimeZone::UTC);
        let (plato, fahrenheit) =
            (report.gravity == GravityScale::Plato, report.temperature == TemperatureScale::Fahrenheit);
        Self { scales: Scales { zone, plato, fahrenheit }, comma: report.decimal_comma }
    }

    /// A day: `Sa 5 Jul`.
    pub(super) fn day(&self, at: Instant) -> String {
        dated(at, &self.scales.zone, "%-d %b")
    }

    /// A moment to the hour: `Sa 5 Jul 14:00`.
    pub(super) fn hour(&self, at: Instant) -> String {
        dated(at.plus_hours(0.5), &self.scales.zone, "%-d %b %H:00")
    }

    /// What stands before and behind a gravity, and behind a difference of two.
    fn gravities(&self) -> (&'static str, &'static str) {
        if self.scales.plato { ("", "\u{a0}\u{b0}P") } else { ("SG ", "") }
    }

    /// A gravity without an error: `SG 1.0480`.
    pub(super) fn plain(&self, sg: f64) -> String {
        let (shown, (before, behind)) = (self.scales.gravity(""), self.gravities());
        format!("{before}{:.*}{behind}", shown.decimals(4), shown.value(sg))
    }

    /// How far a gravity may reach: `SG 1.0098 to 1.0126`.
    pub(super) fn gravity_range(&self, low: f64, high: f64) -> String {
        let (shown, (before, behind)) = (self.scales.gravity(""), self.gravities());
        let (n, [low, high]) = (shown.decimals(4), [low, high].map(|sg| shown.value(sg)));
        format!("{before}{low:.n$} to {high:.n$}{behind}")
    }

    /// A gravity with its standard error: `gravity 1.0120 ± 0.0007`.
    pub(super) fn gravity(&self, e: &Estimate) -> String {
        let (shown, (_, behind)) = (self.scales.gravity(""), self.gravities());
        let (n, e) = (shown.decimals(4), shown.estimate(e));
        format!("gravity {:.n$}\u{a0}\u{b1}\u{a0}{:.n$}{behind}", e.value, e.se)
    }

    /// The size of a difference of gravities that is known to a thousandth: `0.004`.
    pub(super) fn size(&self, sg: f64) -> String {
        let (shown, (_, behind)) = (self.scales.difference(""), self.gravities());
        format!("{:.*}{behind}", shown.decimals(3), shown.value(sg.abs()))
    }

    /// By how much a probe is off, with its sign where that is wanted: `0.0130 ± 0.0005`.
    pub(super) fn off(&self, e: &Estimate, with_sign: bool) -> String {
        let (shown, (_, behind)) = (self.scales.difference(""), self.gravities());
        let e = shown.estimate(e);
        let n = decimals_for(e.se).min(shown.decimals(4));
        let value = if with_sign { signed(e.value, n, true) } else { format!("{:.n$}", e.value.abs()) };
        format!("{value}\u{a0}\u{b1}\u{a0}{:.n$}{behind}", e.se)
    }

    pub(super) fn temperature(&self, celsius: f64) -> String {
        let shown = self.scales.temperature("\u{b0}C");
        format!("{}\u{a0}{}", signed(shown.value(celsius), 1, false), shown.unit)
    }

    /// A finished text, of which all parts have points, with this reader's decimals.
    pub(super) fn text(&self, text: &str) -> String {
        if self.comma { with_commas(text) } else { text.to_owned() }
    }

    /// The same of a piece of the page: its words, and of its attributes those that tell what a picture shows.
    pub(super) fn markup(&self, piece: Markup) -> Markup {
        const ALT: &str = "aria-label=\"";
        if !self.comma {
            return piece;
        }
        let mut out = String::with_capacity(piece.0.len());
        for part in piece.0.split_inclusive('>') {
            let (words, tag) = part.split_at(part.find('<').unwrap_or(part.len()));
            out += &with_commas(words);
            match tag.split_once(ALT).and_then(|(before, after)| Some((before, after.split_once('"')?))) {
                Some((before, (alt, after))) => out = out + before + ALT + &with_commas(alt) + "\"" + after,
                None => out += tag,
            }
        }
        PreEscaped(out)
    }
}

/// A text with commas in its decimal numbers. Dates such as 10.07.2031 and names such as `ale-2.0` keep their points.
fn with_commas(text: &str) -> String {
    let is_of_word = |c: char| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | '/');
    let word = |word: &str| {
        let number = word.trim_end_matches(|c| c == '.' || !is_of_word(c)).trim_start_matches('-');
        let is_digits = |digits: &str| !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
        let is_number = number.split_once('.').is_some_and(|(whole, part)| is_digits(whole) && is_digits(part));
        if is_number { word.replacen('.', ",", 1) } else { word.to_owned() }
    };
    text.split_inclusive(|c| !is_of_word(c)).map(word).collect()
}

#[cfg(test)]
#[path = "../../tests/inside/reader.rs"]
mod tests;
