//! Which yeast attenuates further, and which is faster?

use std::collections::BTreeSet;

use crate::fit::Finding;
use crate::kinetics::Trait;
use crate::strains::{StrainMean, Strains};
use crate::study::SeasonStudy;

use super::super::words::{interval, list};
use super::Answer;

pub(super) fn answer(study: &SeasonStudy) -> Answer {
    let mut answer = Answer::new("Which yeast?");
    let Some(strains) = study.strains.done() else {
        answer.say(format!("No comparison: {}.", study.strains.why().unwrap_or("no reason given")));
        return answer;
    };
    let mut names: Vec<&str> = strains.means.iter().map(|mean| mean.strain.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    if names.len() == 1 {
        answer.say("One strain only, so there is nothing to compare.");
    } else {
        leader(&mut answer, strains, Trait::Attenuation, true, "attenuates furthest");
        leader(&mut answer, strains, Trait::T90H, false, "is first at nine tenths of its drop");
    }
    let missing: BTreeSet<&str> = strains.means.iter().filter_map(|mean| mean.mean.why()).collect();
    if !missing.is_empty() {
        let missing: Vec<&str> = missing.into_iter().collect();
        answer.say(format!("Where no mean is given (\u{2013}): {}.", missing.join("; or ")));
    }
    answer.heading(&["strain", "batches", "apparent attenuation", "rate, SG per day", "nine tenths, h"]);
    let shown = [Trait::Attenuation, Trait::MaxRateSgPerDay, Trait::T90H];
    answer.rows = names
        .iter()
        .map(|name| {
            let of = |which| strains.means.iter().find(|m: &&StrainMean| m.strain == *name && m.which == which);
            let n = shown.iter().filter_map(|w| of(*w)).map(|m| m.n).max().unwrap_or(0);
            let traits = shown.iter().map(|which| of(*which).map_or_else(String::new, |m| text(&m.mean)));
            [(*name).to_owned(), n.to_string()].into_iter().chain(traits).collect()
        })
        .collect();
    answer
}

fn text(finding: &Finding) -> String {
    match finding {
        Finding::Estimated(e) => interval(e, false),
        Finding::Fixed { value, .. } => format!("held at {value}"),
        Finding::NotEstimable { .. } => "\u{2013}".to_owned(),
    }
}

/// Who leads in a trait, and over whom the lead is more than chance.
fn leader(answer: &mut Answer, strains: &Strains, which: Trait, most: bool, does: &str) {
    let mut ranked: Vec<(&str, f64)> = strains
        .means
        .iter()
        .filter(|mean| mean.which == which)
        .filter_map(|mean| Some((mean.strain.as_str(), mean.mean.estimate()?.value)))
        .collect();
    ranked.sort_by(|a, b| if most { b.1.total_cmp(&a.1) } else { a.1.total_cmp(&b.1) });
    let Some(((first, _), others)) = ranked.split_first() else { return };
    if others.is_empty() {
        answer.say(format!("Only {first} has an estimate, so it is open which yeast {does}."));
        return;
    }
    let beyond = |other: &str| {
        strains.contrasts.iter().filter(|pair| pair.which == which).any(|pair| {
            let Some(e) = pair.difference.estimate() else { return false };
            let apart = e.lower > 0.0 || e.upper < 0.0;
            apart && ((pair.a == *first && pair.b == other) || (pair.b == *first && pair.a == other))
        })
    };
    let (shown, open): (Vec<&str>, Vec<&str>) = others.iter().map(|(name, _)| *name).partition(|name| beyond(name));
    let mut sentence = format!("On average {first} {does}");
    match (shown.is_empty(), open.is_empty()) {
        (true, _) => sentence.push_str(&format!(", but over none of {} is that more than chance.", list(&open))),
        (false, true) => sentence.push_str(&format!(", and more than by chance over {}.", list(&shown))),
        (false, false) => {
            sentence.push_str(&format!(", more than by chance over {}; not shown over {}.", list(&shown), list(&open)))
        }
    }
    answer.say(sentence);
}
