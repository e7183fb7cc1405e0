//! Which strain attenuates further, and which is faster?

use std::collections::BTreeSet;

use crate::chart::Scales;
use crate::kinetics::Trait;
use crate::show::ResultTable;
use crate::study::SeasonStudy;

use super::Answer;

/// The traits of the sentences.
const SAID: [Trait; 2] = [Trait::Attenuation, Trait::T90H];
/// The traits of the table.
const SHOWN: [Trait; 3] = [Trait::Attenuation, Trait::MaxRateSgPerDay, Trait::T90H];

pub(super) fn answer(study: &SeasonStudy, scales: &Scales) -> Answer {
    let mut answer = Answer::new("Which strain?");
    let strains = match study.strains.found() {
        Ok(strains) => strains,
        Err(why) => {
            answer.say(format!("No comparison: {why}."));
            return answer;
        }
    };
    let names: Vec<&str> = strains.stuck.iter().map(|share| share.strain.as_str()).collect();
    if names.len() == 1 {
        answer.say("One strain only, so there is nothing to compare.");
    } else {
        answer.sentences.extend(strains.sentences(&SAID));
        answer.notes.extend(strains.notes(&SAID));
    }
    let missing: BTreeSet<&str> = strains.means.iter().filter_map(|mean| mean.mean.why()).collect();
    if names.len() > 1 && !missing.is_empty() {
        answer.say(format!("Some strains have no mean: {}.", Vec::from_iter(missing).join(", or ")));
    }
    let n = |name: &str| SHOWN.into_iter().filter_map(|which| strains.mean(name, which)).map(|mean| mean.n).max();
    let estimate = |name: &str, which| strains.mean(name, which).and_then(|mean| mean.mean.estimate());
    let mut table = ResultTable::new(names, usize::MAX).text("strain", |name| name);
    table = table.number("batches", "", 0, |name| n(name).map(|n| n as f64));
    for which in SHOWN {
        table = table.estimate(which.title(), scales.of(which), |name| estimate(name, which));
    }
    answer.table = table.titled("");
    answer
}
