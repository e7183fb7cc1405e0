//! The comparison in sentences.

use crate::fit::decimals_for;
use crate::kinetics::Trait;

use super::result::{StrainContrast, Strains, Verdict};

/// Names that are one once case and all but letters and digits are gone, or that differ by one letter.
pub(super) fn alike(strains: &[&str]) -> Vec<(String, String)> {
    let plain =
        |name: &str| name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect::<String>();
    let slip = |a: &str, b: &str| {
        let letters = |name: &str| name.chars().count() > 5 && name.chars().all(char::is_alphabetic);
        a == b || letters(a) && letters(b) && strsim::osa_distance(a, b) == 1
    };
    let mut found = Vec::new();
    for (i, a) in strains.iter().enumerate() {
        for b in strains.iter().skip(i + 1).filter(|b| slip(&plain(a), &plain(b))) {
            found.push(((*a).to_owned(), (*b).to_owned()));
        }
    }
    found
}

impl Strains {
    /// What the comparison says: of each of these traits the largest differences one may act on, at which conditions, which
    /// strains are equivalent, how many pairs are open and how many batches would settle them; then what could not be told
    /// apart, strains that look like one, and stuck batches.
    pub fn sentences(&self, traits: &[Trait]) -> Vec<String> {
        let mut said: Vec<String> = traits.iter().flat_map(|which| self.of_trait(*which)).collect();
        for note in traits.iter().filter_map(|which| self.how(*which)).flat_map(|how| &how.notes) {
            let mut letters = note.chars();
            let first = letters.next().map_or_else(String::new, |first| first.to_uppercase().to_string());
            let note = format!("{first}{}.", letters.as_str());
            if !said.contains(&note) {
                said.push(note);
            }
        }
        let one = |(a, b): &(String, String)| {
            format!("{a} and {b} look like one strain written in two ways; they are not merged.")
        };
        said.extend(self.alike.iter().map(one));
        let stuck = self.stuck.iter().filter(|share| share.stuck > 0);
        let stuck: Vec<String> =
            stuck.map(|share| format!("{} of {} {}", share.stuck, share.n, share.strain)).collect();
        if !stuck.is_empty() {
            let stuck = listed(stuck.into_iter());
            said.push(format!("Stuck batches: {stuck}."));
            said.push("They are not in the traits that hang on the terminal gravity.".to_owned());
        }
        said
    }

    fn of_trait(&self, which: Trait) -> Vec<String> {
        let pairs = |verdict| -> Vec<&StrainContrast> {
            self.contrasts.iter().filter(|pair| pair.which == which && pair.verdict == Some(verdict)).collect()
        };
        let mut said = Vec::new();
        let title = which.title();
        let unit = match which.difference_unit() {
            "fraction" => String::new(),
            unit => format!(" {unit}"),
        };
        let found = pairs(Verdict::Different);
        if !found.is_empty() {
            said.push(format!("{title}: {}.", listed(found.iter().filter_map(|pair| apart(pair, &unit)))));
            said.extend(self.how(which).map(|how| format!("Conditions: {}.", how.conditions)));
        }
        let same = pairs(Verdict::Equivalent);
        if let Some(first) = same.first() {
            let names = listed(same.iter().map(|pair| format!("{} and {}", pair.a, pair.b)));
            said.push(format!("{title}: within {}{unit} of each other: {names}.", first.margin));
        }
        let open = pairs(Verdict::Open);
        if let Some(first) = open.first() {
            let more = open.iter().map(|pair| pair.power.and_then(|power| power.more_of_each).unwrap_or(usize::MAX));
            let needed = match more.max() {
                Some(most) if most < usize::MAX => format!("up to {most}"),
                _ => "over 200".to_owned(),
            };
            let pairs = if open.len() == 1 { "pair is" } else { "pairs are" };
            said.push(format!("{title}: {} {pairs} open.", open.len()));
            let what = format!("a difference of {}{unit} four times in five", first.margin);
            said.push(format!("To find {what} takes {needed} more batches of each strain."));
        }
        said
    }
}

/// `a above b by 0.05 (0.02 to 0.08)`.
fn apart(pair: &StrainContrast, unit: &str) -> Option<String> {
    let e = pair.difference.estimate()?;
    let (above, below, low, high) = match e.value > 0.0 {
        true => (&pair.a, &pair.b, e.lower, e.upper),
        false => (&pair.b, &pair.a, -e.upper, -e.lower),
    };
    let digits = decimals_for(e.se);
    Some(format!("{above} above {below} by {:.digits$}{unit} ({low:.digits$} to {high:.digits$})", e.value.abs()))
}

/// The first three, and how many more.
pub(super) fn listed(items: impl Iterator<Item = String>) -> String {
    let items: Vec<String> = items.collect();
    let shown = items.iter().take(3).cloned().collect::<Vec<_>>().join("; ");
    if items.len() > 3 { format!("{shown}; and {} more", items.len() - 3) } else { shown }
}
