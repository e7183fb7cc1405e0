//! The comparison in sentences.

use crate::fit::decimals_for;
use crate::kinetics::Trait;

use super::result::{StrainContrast, StrainPower, Strains, Verdict};

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
    /// What the comparison says of a trait: which differences one may act on, which strains are equivalent, which pairs
    /// are open and how many batches would settle them.
    pub fn sentences(&self, which: Trait) -> Vec<String> {
        let pairs = |verdicts: &[Verdict]| -> Vec<&StrainContrast> {
            let is =
                |pair: &&StrainContrast| pair.which == which && pair.verdict.is_some_and(|v| verdicts.contains(&v));
            self.contrasts.iter().filter(is).collect()
        };
        let mut said = Vec::new();
        let title = which.title();
        let unit = match which.difference_unit() {
            "fraction" => String::new(),
            unit => format!(" {unit}"),
        };
        let found = pairs(&[Verdict::Different, Verdict::DifferentWithinMargin]);
        if !found.is_empty() {
            said.push(format!(
                "{title}: differences to act on: {}.",
                listed(found.iter().filter_map(|pair| apart(pair, &unit)))
            ));
        }
        let same = pairs(&[Verdict::Equivalent, Verdict::DifferentWithinMargin]);
        if let Some(first) = same.first() {
            let names = listed(same.iter().map(|pair| format!("{} and {}", pair.a, pair.b)));
            said.push(format!("{title}: within {}{unit} of each other: {names}.", first.margin));
        }
        let open = pairs(&[Verdict::Open]);
        if let Some(first) = open.first() {
            let of = || self.power.iter().filter(|power| power.which == which);
            let more = of().filter_map(|power| Some((power.more_of_each?, power))).max_by_key(|(more, _)| *more);
            let names = listed(open.iter().map(|pair| format!("{} and {}", pair.a, pair.b)));
            let what = format!("a difference of {}{unit}", first.margin);
            let settled = match more {
                _ if of().any(|power| power.more_of_each.is_none()) => {
                    format!("for some of them {what} is out of reach even with 200 more batches of each")
                }
                Some((0, _)) => format!("another season like this would find {what}"),
                Some((more, StrainPower { a, b, .. })) => {
                    format!("{more} more batches of each of {} and {} would find {what} four times in five", a.0, b.0)
                }
                None => "how many batches would settle them is not known".to_owned(),
            };
            said.push(format!("{title}: open: {names}; {settled}."));
        }
        if let Some(how) = self.how(which) {
            said.push(format!("{title} is compared {}.", at(&how.conditions)));
            said.extend(how.notes.iter().map(|note| format!("{title}: {note}.")));
        }
        said
    }

    /// What holds of all traits: strains that look like one, and stuck batches.
    pub fn general_sentences(&self) -> Vec<String> {
        let one = |(a, b): &(String, String)| {
            format!("{a} and {b} look like one strain written in two ways; they are not merged.")
        };
        let mut said: Vec<String> = self.alike.iter().map(one).collect();
        let stuck = self.stuck.iter().filter(|share| share.stuck > 0);
        let stuck: Vec<String> =
            stuck.map(|share| format!("{} of {} {}", share.stuck, share.n, share.strain)).collect();
        if !stuck.is_empty() {
            let stuck = listed(stuck.into_iter());
            said.push(format!("Stuck batches: {stuck}; they are not in the traits that hang on the terminal gravity."));
        }
        said
    }
}

fn at(conditions: &str) -> String {
    if conditions == "as brewed" {
        conditions.to_owned()
    } else {
        format!("at {conditions}").replace("at each at", "each at")
    }
}

/// `a above b by 0.05 (0.02 to 0.08)`.
fn apart(pair: &StrainContrast, unit: &str) -> Option<String> {
    let e = pair.difference.estimate()?;
    let (above, below, sign) = if e.value > 0.0 { (&pair.a, &pair.b, 1.0) } else { (&pair.b, &pair.a, -1.0) };
    let (value, low, high) =
        (e.value.abs(), (sign * e.lower).min(sign * e.upper), (sign * e.lower).max(sign * e.upper));
    let digits = decimals_for(e.se);
    Some(format!("{above} above {below} by {value:.digits$}{unit} ({low:.digits$} to {high:.digits$})"))
}

/// At most six, and how many more.
fn listed(items: impl Iterator<Item = String>) -> String {
    let items: Vec<String> = items.collect();
    let shown = items.iter().take(6).cloned().collect::<Vec<_>>().join("; ");
    if items.len() > 6 { format!("{shown}; and {} more pairs", items.len() - 6) } else { shown }
}
