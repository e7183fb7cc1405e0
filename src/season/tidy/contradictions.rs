//! Where the table of batches contradicts itself, the log or the samples.

use std::collections::BTreeMap;

use crate::season::account::Remark;
use crate::season::flags::Flags;
use crate::season::names::{guess, some};
use crate::season::table_rows::Batch;
use crate::season::{RUNNING_DAYS, Season};
use crate::units::Instant;

/// Most names that a remark lists.
const NAMES: usize = 6;
/// Stays may overlap, and readings be without a batch, for so long: many dates are written without a time, days.
const SLACK_D: f64 = 1.0;

/// File and line of each batch.
pub(super) type BatchLines = BTreeMap<String, (String, u64)>;
/// By batch and probe: how many readings the files give to the batch, the first and the last of all that it has.
type Stays<'a> = BTreeMap<(&'a str, &'a str), (usize, Instant, Instant)>;

/// Adds the remarks to the season's account, before all others: such slips make wrong numbers.
pub(super) fn notice(season: &mut Season, lines: &BatchLines) {
    let (mut stays, mut of_none) = (Stays::new(), Vec::new());
    for (row, given) in season.readings.batch_given.iter().enumerate() {
        let usable = |flags: Flags| !flags.intersects(Flags::NO_BEER.with(Flags::CLOCK_JUMP));
        let Some(reading) = season.readings.get(row).filter(|reading| usable(reading.flags)) else { continue };
        let Some(batch) = reading.batch else {
            of_none.push((reading.probe, reading.at));
            continue;
        };
        let (n, _, last) = stays.entry((batch, reading.probe)).or_insert((0, reading.at, reading.at));
        (*n, *last) = (*n + usize::from(*given), reading.at);
    }
    let mut found = Vec::new();
    for (i, batch) in season.batches.iter().enumerate() {
        let earlier = season.batches.get(..i).unwrap_or_default();
        let texts = [overlap(earlier, batch, lines), late_start(season, &stays, batch), early_sample(season, batch)];
        let texts = texts.into_iter().flatten().chain(strange_probes(season, (&stays, &of_none), batch));
        let (file, line) = lines.get(&batch.batch).cloned().unwrap_or_default();
        found.extend(texts.map(|text| Remark { file: file.clone(), line: Some(line), text }));
    }
    season.account.remarks.splice(0..0, found);
}

/// A batch that still has a probe of a later one.
fn overlap(earlier: &[Batch], later: &Batch, lines: &BatchLines) -> Option<String> {
    let Batch { batch, pitched_at, probes, .. } = later;
    let (of, end, probe) = earlier.iter().rev().find_map(|of| {
        let end = of.ended_at.filter(|end| end.days_since(*pitched_at) > SLACK_D)?;
        Some((of, end, of.probes.iter().find(|probe| probes.contains(probe))?))
    })?;
    let (of, line) = (&of.batch, lines.get(&of.batch)?.1);
    let until = format!("{probe} stands in {of} until {end} (line {line}) and in {batch} from {pitched_at} on");
    Some(format!("{until}: `ended_at` of {of} or `pitched_at` of {batch} is wrong"))
}

/// What the batches have of each.
fn of_batch<'a>(stays: &'a Stays<'a>, id: &'a str) -> impl Iterator<Item = (&'a str, (usize, Instant, Instant))> {
    let from = stays.range((id, "")..).take_while(move |((of, _), _)| *of == id);
    from.map(|((_, probe), stay)| (*probe, *stay))
}

/// A batch of which nothing is known for more than a week from its pitching on.
fn late_start(season: &Season, stays: &Stays<'_>, batch: &Batch) -> Option<String> {
    let Batch { batch, pitched_at, .. } = batch;
    let read = of_batch(stays, batch).map(|(_, (_, first, _))| first).min()?;
    let sampled = season.samples_of(batch).map(|sample| sample.at).min();
    let sample = sampled.map_or("it has no sample".to_owned(), |at| format!("its first sample is of {at}"));
    let text =
        format!("column `pitched_at`: {pitched_at} is wrong or {batch} has no data of its first days: its first");
    (read.min(sampled.unwrap_or(read)).days_since(*pitched_at) > RUNNING_DAYS)
        .then(|| format!("{text} reading is of {read}, {sample}"))
}

/// A sample of the wort so long before the pitching that it is not known for the wort that was pitched.
fn early_sample(season: &Season, batch: &Batch) -> Option<String> {
    let Batch { batch, pitched_at, .. } = batch;
    let at = season.samples_of(batch).map(|sample| sample.at).find(|at| pitched_at.days_since(*at) > SLACK_D)?;
    Some(format!(
        "column `pitched_at`: {pitched_at} is over a day after the sample of {at} in {batch}: its curve goes without it"
    ))
}

/// Probes of a batch that their own table does not have, readings whose file gives them to a batch of other probes, readings
/// that belong to no batch while this one has none.
fn strange_probes(season: &Season, (stays, of_none): (&Stays<'_>, &[(&str, Instant)]), batch: &Batch) -> Vec<String> {
    let Batch { batch: id, pitched_at, ended_at, probes, .. } = batch;
    let is_then = |at: &Instant| at >= pitched_at && ended_at.is_none_or(|end| *at <= end);
    let of_none: Vec<&(&str, Instant)> = of_none.iter().filter(|(_, at)| is_then(at)).collect();
    let known: Vec<&str> = season.probes.iter().map(|probe| probe.probe.as_str()).collect();
    let unknown = probes.iter().filter(|probe| !known.is_empty() && !known.contains(&probe.as_str())).map(|probe| {
        let meant = guess(probe, &known);
        let lost = of_none.iter().filter(|(of, _)| meant.is_none_or(|meant| meant == *of)).count();
        let (hint, of) = match meant {
            _ if probe.contains(',') => (" (split several by `;`)".to_owned(), String::new()),
            Some(meant) => (format!(" (did you mean `{meant}`?)"), format!("of {meant} ")),
            None => (String::new(), String::new()),
        };
        let lost = if lost > 0 { format!(". {lost} readings {of}in its time have no batch") } else { String::new() };
        format!("column `probe`: `{probe}` of {id} is not in the table of probes{hint}{lost}")
    });
    let mut texts: Vec<String> = unknown.collect();
    if probes.is_empty() || !texts.is_empty() {
        return texts;
    }
    let own = some(probes, NAMES);
    let others = of_batch(stays, id).filter(|(probe, (n, ..))| *n > 0 && !probes.iter().any(|own| own == probe));
    let others: Vec<String> = others.map(|(probe, (n, ..))| format!("{n} readings of {probe}")).collect();
    if !others.is_empty() {
        let others = some(&others, NAMES);
        texts.push(format!("the log has {others} in {id}, whose `probe` here is {own}: one of the two is wrong"));
    }
    let is_long = |first: Instant, last: Instant| last.days_since(first) > SLACK_D;
    let most = of_none.chunk_by(|a, b| a.0 == b.0).max_by_key(|rows| rows.len()).unwrap_or_default();
    if let [(probe, first), .., (_, last)] = most
        && is_long(*first, *last)
        && !of_batch(stays, id).any(|(_, (_, first, last))| is_long(first, last))
    {
        let (n, none) = (most.len(), format!("{id} has hardly a reading of its `probe`, {own}"));
        texts.push(format!(
            "{none}, while {n} of {probe} from {first} to {last} belong to no batch: is it the right one?"
        ));
    }
    texts
}
