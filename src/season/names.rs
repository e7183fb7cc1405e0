//! Guesses at the name that was meant, and lists of names for messages.

use strsim::jaro_winkler;

/// How alike two names must be for a guess (Jaro-Winkler, 1 is equal).
const ALIKE: f64 = 0.82;
/// Names shown in a message before it is cut.
const SHOWN: usize = 12;

/// The name among `names` that was most likely meant by `wanted`, if any is near.
pub(crate) fn guess<'a, S: AsRef<str>>(wanted: &str, names: &'a [S]) -> Option<&'a str> {
    let wanted = bare(wanted);
    names
        .iter()
        .map(|name| (likeness(&wanted, &bare(name.as_ref())), name.as_ref()))
        .filter(|(alike, _)| *alike >= ALIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

/// Lower case, letters and digits only, without a unit at the end.
fn bare(name: &str) -> String {
    let lower = name.to_lowercase();
    let stem = ["_deg", "_c", "_v"].into_iter().find_map(|unit| lower.strip_suffix(unit)).unwrap_or(&lower);
    stem.chars().filter(|c| c.is_alphanumeric()).collect()
}

fn likeness(a: &str, b: &str) -> f64 {
    if a.is_empty() || b.is_empty() {
        return 0.0;
    }
    // A short form of a name is nearer than its letters alone say.
    let shortened = a.len().min(b.len()) >= 3 && (a.starts_with(b) || b.starts_with(a));
    jaro_winkler(a, b).max(if shortened { 0.95 } else { 0.0 })
}

/// Each of several once, in the order in which they first come.
pub(crate) fn each_once<T: PartialEq>(all: impl IntoIterator<Item = T>) -> Vec<T> {
    let mut found = Vec::new();
    for one in all {
        if !found.contains(&one) {
            found.push(one);
        }
    }
    found
}

/// Names in backquotes split by commas, cut when there are many.
pub(crate) fn list<S: AsRef<str>>(names: &[S]) -> String {
    if names.is_empty() {
        return "none".to_owned();
    }
    let shown: Vec<String> = names.iter().take(SHOWN).map(|n| format!("`{}`", short(n.as_ref(), 40))).collect();
    let more = names.len().saturating_sub(SHOWN);
    if more > 0 { format!("{} and {more} more", shown.join(", ")) } else { shown.join(", ") }
}

/// Names in a sentence, at most so many: `a`, `a and b`, `a, b and 3 more`.
pub(crate) fn some<S: AsRef<str>>(names: &[S], most: usize) -> String {
    let mut shown: Vec<String> = names.iter().take(most).map(|name| name.as_ref().to_owned()).collect();
    if names.len() > most {
        shown.push(format!("{} more", names.len() - most));
    }
    match shown.split_last() {
        Some((last, front)) if !front.is_empty() => format!("{} and {last}", front.join(", ")),
        _ => shown.concat(),
    }
}

/// The words as the begin of a sentence.
pub(crate) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(letters).collect()
}

/// The first `longest` characters of a text, with dots where it is cut, as [`visible`] shows them.
pub(crate) fn short(text: &str, longest: usize) -> String {
    match text.char_indices().nth(longest) {
        Some((end, _)) => format!("{}...", visible(text.get(..end).unwrap_or_default())),
        None => visible(text),
    }
}

/// A text with its control characters but tabs written out, as a terminal or a page may obey them.
pub(crate) fn visible(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() && c != '\t' { shown.extend(c.escape_default()) } else { shown.push(c) }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_names_are_guessed_and_far_ones_are_not() {
        assert_eq!(guess("Temp", &["at", "probe", "temperature"]), Some("temperature"));
        assert_eq!(guess("tilt_deg", &["Tilt", "time"]), Some("Tilt"));
        assert_eq!(guess("batches", &["batchs"]), Some("batchs"));
        assert_eq!(guess("sg", &["temperature", "note"]), None);
    }
}
