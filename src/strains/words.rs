//! The comparison in sentences.

use crate::fit::decimals_for;
use crate::kinetics::Trait;
use crate::season::{capital, some};

use super::result::{StrainContrast, StrainMean, StrainRank, Strains, TraitComparison, Verdict};

/// Names and differences in one sentence.
pub(super) const MOST_NAMED: usize = 6;

/// A strain is named as the first in a trait from this probability on.
const LIKELY: f64 = 0.05;

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
    /// What the comparison says: strains that look like one; of each of these traits the differences one may act on, with the
    /// conditions, strains that are equivalent, how many pairs are open and how many batches would settle them, and who is most
    /// likely the first; then stuck batches.
    pub fn sentences(&self, traits: &[Trait]) -> Vec<String> {
        let two_ways = |(a, b): &(String, String)| {
            format!("{a} and {b} look like one strain written in two ways, and are not merged.")
        };
        let mut said: Vec<String> = self.alike.iter().map(two_ways).collect();
        said.extend(traits.iter().flat_map(|which| self.of_trait(*which)));
        let first = |one: &StrainRank| Some((*one.p_place.first()?, one.strain.clone()));
        said.extend(most_likely(
            "Most likely the first by your weights",
            self.ranking.iter().filter_map(first).collect(),
        ));
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

    /// What to know of the comparison of these traits: what it allows for, and what could not be told apart.
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
        // The strain that is above, and what it is above by how much.
        let apart = |pair: &StrainContrast| {
            let e = pair.difference.estimate()?;
            let (above, below) = if e.value > 0.0 { (&pair.a, &pair.b) } else { (&pair.b, &pair.a) };
            let ends = if e.value > 0.0 { [e.value, e.lower, e.upper] } else { [-e.value, -e.upper, -e.lower] };
            let ([by, lower, upper], digits) = (ends.map(|x| times * x), decimals_for(times * e.se));
            Some((above.clone(), format!("{below} by {by:.digits$}{unit} ({lower:.digits$} to {upper:.digits$})")))
        };
        let mut found: Vec<(String, String)> = pairs(Verdict::Different).into_iter().filter_map(apart).collect();
        if !found.is_empty() {
            let conditions = self.how(which).map_or_else(String::new, |how| format!("; {}", at(&how.conditions)));
            let level = 100.0 * self.contrast_level;
            said.push(format!("{title} differs ({level:.0} % intervals for all pairs at once{conditions}):"));
        }
        // One sentence for each strain that is above others, the largest difference first.
        while let Some((above, _)) = found.first().cloned() {
            let below: Vec<String> = found.extract_if(.., |(own, _)| *own == above).map(|(_, words)| words).collect();
            said.push(format!("{above} is {above_or_later} {}.", some(&below, MOST_NAMED)));
        }
        let same = pairs(Verdict::Equivalent);
        if let Some(first) = same.first() {
            let names: Vec<String> = same.iter().map(|pair| format!("{} and {}", pair.a, pair.b)).collect();
            said.push(format!("Equal within {}{unit}: {}.", times * first.margin, some(&names, MOST_NAMED)));
        }
        let open = pairs(Verdict::Open);
        let more = |pair: &&&StrainContrast| pair.power.and_then(|power| power.more_of_each).unwrap_or(usize::MAX);
        if let (Some(least), Some(most)) = (open.iter().min_by_key(more), open.iter().map(|pair| more(&pair)).max()) {
            let all = self.contrasts.iter().filter(|pair| pair.which == which).count();
            let open = format!("{title}: open for {} of {all} pairs.", open.len());
            let difference = format!("a difference of {}{unit} four times in five", times * least.margin);
            let number = |more| if more == usize::MAX { "over 200".to_owned() } else { format!("{more}") };
            let (few, a, b) = (more(&least), &least.a, &least.b);
            let others =
                if few == most { String::new() } else { format!(", and up to {} for other pairs", number(most)) };
            said.push(match most {
                0 => format!("{open} These batches would have shown {difference}."),
                _ => format!(
                    "{open} To show {difference} takes {} more batches each of {a} and {b}{others}.",
                    number(few)
                ),
            });
        }
        let (place, chance): (_, fn(&StrainMean) -> Option<f64>) =
            if which.is_time() { ("earliest", |mean| mean.p_lowest) } else { ("highest", |mean| mean.p_highest) };
        let means = self.means.iter().filter(|mean| mean.which == which);
        let first = means.filter_map(|mean| Some((chance(mean)?, mean.strain.clone()))).collect();
        said.extend(most_likely(&format!("Most likely the {place}"), first));
        said
    }
}

/// Who is likely enough the first, of several strains.
fn most_likely(what: &str, mut first: Vec<(f64, String)>) -> Option<String> {
    if first.len() < 2 {
        return None;
    }
    first.sort_by(|a, b| b.0.total_cmp(&a.0));
    first.retain(|(p, _)| *p >= LIKELY);
    let names: Vec<String> = first.iter().map(|(p, name)| format!("{name} ({:.0} %)", 100.0 * p.min(0.99))).collect();
    Some(format!("{what}: {}.", some(&names, MOST_NAMED)))
}

/// A trait without its scale, which stands behind a comma and in the table.
fn title(which: Trait) -> &'static str {
    which.title().split(',').next().unwrap_or_default()
}

fn at(conditions: &str) -> String {
    format!("at {conditions}").replace("at each at", "each at").replace("at as brewed", "as brewed")
}
