//! Which yeast attenuates further, and which is faster?

use std::collections::BTreeSet;

use crate::kinetics::Trait;
use crate::show::ResultTable;
use crate::strains::{StrainMean, Strains};
use crate::study::SeasonStudy;

use super::super::words::list;
use super::Answer;

/// The traits of the table.
const SHOWN: [Trait; 3] = [Trait::Attenuation, Trait::MaxRateSgPerDay, Trait::T90H];

pub(super) fn answer(study: &SeasonStudy) -> Answer {
    let mut answer = Answer::new("Which yeast?");
    let strains = match study.strains.found() {
        Ok(strains) => strains,
        Err(why) => {
            answer.say(format!("No comparison: {why}."));
            return answer;
        }
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
        answer.say(format!("Where no mean is given: {}.", missing.join("; or ")));
    }
    let of = |name: &str, which| strains.means.iter().find(|m: &&StrainMean| m.strain == name && m.which == which);
    let n = |name: &str| SHOWN.into_iter().filter_map(|which| of(name, which)).map(|mean| mean.n).max();
    let estimate = |name: &str, which| of(name, which).and_then(|mean| mean.mean.estimate());
    let mut table = ResultTable::new(names, usize::MAX).text("strain", |name| name);
    table = table.number("batches", "", 0, |name| n(name).map(|n| n as f64));
    for which in SHOWN {
        table = table.estimate(which.title(), which.unit(), |name| estimate(name, which));
    }
    answer.table = table.titled("");
    answer
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
