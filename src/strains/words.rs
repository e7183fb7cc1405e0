//! The comparison in sentences.

use crate::fit::{Estimate, decimals_for};
use crate::kinetics::Trait;
use crate::season::{capital, some};

use super::result::{StrainContrast, Strains, TraitComparison, Verdict};

/// Names and differences in one sentence.
pub(super) const MOST_NAMED: usize = 6;

/// Names that are one once case and all but letters and digits are gone, or that differ by one letter.
pub(super) fn alike(strains: &[&str]) -> Vec<(String, String)> {
    let plain =
        |name: &str| name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect::<String>();
    let slip = |a: &str, b: &str| {
        let letters = |name: &str| name.chars().count() > 5 && name.chars().all(char::is_alphabetic);
        a == b || letters(a) && letters(b) && strsim::osa_distance(a, b) == 1
    };
    let names: Vec<(&str, String)> = strains.iter().map(|name| (*name, plain(name))).collect();
    let mut found = Vec::new();
    for (i, (a, plain_a)) in names.iter().enumerate() {
        let others = names.iter().skip(i + 1).filter(|(_, plain_b)| slip(plain_a, plain_b));
        found.extend(others.map(|(b, _)| ((*a).to_owned(), (*b).to_owned())));
    }
    found
}

impl Strains {
    /// What the comparison says: of each of these traits the largest differences one may act on, at which conditions, which
    /// strains are equivalent, how many pairs are open and how many batches would settle them; then stuck batches.
    pub fn sentences(&self, traits: &[Trait]) -> Vec<String> {
        let mut said: Vec<String> = traits.iter().flat_map(|which| self.of_trait(*which)).collect();
        let stuck = self.stuck.iter().filter(|share| share.stuck > 0);
        let stuck: Vec<String> =
            stuck.map(|share| format!("{} of {} {}", share.stuck, share.n, share.strain)).collect();
        if !stuck.is_empty() {
            let stuck = some(&stuck, MOST_NAMED);
            said.push(format!(
                "Stuck, of the batches seen at rest: {stuck}. They are left out of traits that rest on the terminal gravity."
            ));
        }
        said
    }

    /// What to know of the comparison of these traits: what it allows for, what could not be told apart, and strains that look
    /// like one.
    pub fn notes(&self, traits: &[Trait]) -> Vec<String> {
        // The numbers of a note differ from trait to trait: those of the first are said.
        let words = |note: &str| note.split('(').next().unwrap_or_default().to_owned();
        let hows: Vec<_> = traits.iter().filter_map(|which| self.how(*which)).collect();
        let has = |how: &TraitComparison, note: &str| how.notes.iter().any(|other| words(other) == words(note));
        let mut said: Vec<String> = Vec::new();
        for (how, note) in hows.iter().flat_map(|how| how.notes.iter().map(move |note| (how, note))) {
            let sentence = match hows.iter().all(|other| has(other, note)) {
                true => format!("{}.", capital(note)),
                false => format!("{}: {note}.", title(how.which)),
            };
            if !said.iter().any(|other| words(other) == words(&sentence)) {
                said.push(sentence);
            }
        }
        let one = |(a, b): &(String, String)| {
            format!("{a} and {b} look like one strain written in two ways, and are not merged.")
        };
        said.extend(self.alike.iter().map(one));
        said
    }

    fn of_trait(&self, which: Trait) -> Vec<String> {
        let pairs = |verdict| -> Vec<&StrainContrast> {
            self.contrasts.iter().filter(|pair| pair.which == which && pair.verdict == Some(verdict)).collect()
        };
        let mut said = Vec::new();
        let title = title(which);
        let (unit, times) = match which.difference_unit() {
            "fraction" => (" percentage points".to_owned(), 100.0),
            unit => (format!(" {unit}"), 1.0),
        };
        let above_or_later = if unit.contains("hour") { "later than" } else { "above" };
        let mut found: Vec<Apart<'_>> = pairs(Verdict::Different).into_iter().filter_map(Apart::of).collect();
        if !found.is_empty() {
            let conditions = self.how(which).map_or_else(String::new, |how| format!(" ({})", at(&how.conditions)));
            said.push(format!("{title} differs{conditions}:"));
        }
        // One sentence for each strain that is above others, the largest difference first.
        while let Some(above) = found.first().map(|first| first.above) {
            let of = found.extract_if(.., |apart| apart.above == above);
            let below: Vec<String> = of.map(|apart| apart.in_words(&unit, times)).collect();
            said.push(format!("{above} is {above_or_later} {}.", some(&below, MOST_NAMED)));
        }
        let same = pairs(Verdict::Equivalent);
        if let Some(first) = same.first() {
            let names: Vec<String> = same.iter().map(|pair| format!("{} and {}", pair.a, pair.b)).collect();
            said.push(format!("Equal within {}{unit}: {}.", times * first.margin, some(&names, MOST_NAMED)));
        }
        let open = pairs(Verdict::Open);
        if let Some(first) = open.first() {
            let more: Vec<Option<usize>> =
                open.iter().map(|pair| pair.power.and_then(|power| power.more_of_each)).collect();
            let all = self.contrasts.iter().filter(|pair| pair.which == which).count();
            let most = more.iter().flatten().max().filter(|_| more.iter().all(Option::is_some));
            let most = most.map_or("over 200".to_owned(), ToString::to_string);
            let least = more.iter().flatten().min().map_or(String::new(), |least| format!("{least} to "));
            let batches = if least == format!("{most} to ") { most } else { format!("{least}{most}") };
            let open = format!("{title}: open for {} of {all} pairs.", open.len());
            let difference = format!("a difference of {}{unit} four times in five", times * first.margin);
            said.push(match batches.as_str() {
                "0" => format!("{open} These batches would have shown {difference}."),
                more => format!("{open} To show {difference}, a pair needs {more} more batches of each yeast."),
            });
        }
        said
    }
}

/// A trait without its scale, which stands behind a comma and in the table.
fn title(which: Trait) -> &'static str {
    which.title().split(',').next().unwrap_or_default()
}

/// A pair that differs, the one that is above first.
struct Apart<'a> {
    above: &'a str,
    below: &'a str,
    by: Estimate,
}

impl<'a> Apart<'a> {
    fn of(pair: &'a StrainContrast) -> Option<Self> {
        let e = pair.difference.estimate()?;
        let (above, below) = if e.value > 0.0 { (&pair.a, &pair.b) } else { (&pair.b, &pair.a) };
        let by = if e.value > 0.0 {
            e.clone()
        } else {
            Estimate { value: -e.value, lower: -e.upper, upper: -e.lower, ..e.clone() }
        };
        Some(Self { above, below, by })
    }

    /// `b by 5 percentage points (2 to 8)`.
    fn in_words(&self, unit: &str, times: f64) -> String {
        let Estimate { value, se, lower, upper, .. } = &self.by;
        let [value, se, lower, upper] = [value, se, lower, upper].map(|number| times * number);
        let digits = decimals_for(se);
        format!("{} by {value:.digits$}{unit} ({lower:.digits$} to {upper:.digits$})", self.below)
    }
}

fn at(conditions: &str) -> String {
    if conditions == "as brewed" {
        conditions.to_owned()
    } else {
        format!("at {conditions}").replace("at each at", "each at")
    }
}
