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
pub(super) type Lines = BTreeMap<String, (String, u64)>;

/// What the log has, readings apart that show no beer.
#[derive(Default)]
struct Log<'a> {
    /// First and last reading of each batch.
    of_batch: BTreeMap<&'a str, (Instant, Instant)>,
    /// How many readings of each probe the files give to each batch.
    given: BTreeMap<(&'a str, &'a str), usize>,
    /// Those of no batch, by probe and time.
    of_none: Vec<(&'a str, Instant)>,
}

impl<'a> Log<'a> {
    fn new(season: &'a Season) -> Self {
        let mut log = Self::default();
        for (row, given) in season.readings.batch_given.iter().enumerate() {
            let Some(reading) = season.readings.get(row) else { continue };
            match reading.batch {
                _ if reading.flags.intersects(Flags::NO_BEER.with(Flags::CLOCK_JUMP)) => {}
                Some(batch) => {
                    let (first, last) = log.of_batch.entry(batch).or_insert((reading.at, reading.at));
                    (*first, *last) = (reading.at.min(*first), reading.at.max(*last));
                    *log.given.entry((batch, reading.probe)).or_default() += usize::from(*given);
                }
                None => log.of_none.push((reading.probe, reading.at)),
            }
        }
        log
    }
}

/// Adds the remarks to the season's account, before all others: such slips make wrong numbers.
pub(super) fn notice(season: &mut Season, lines: &Lines) {
    let log = Log::new(season);
    let mut found = Vec::new();
    for (i, batch) in season.batches.iter().enumerate() {
        let line_of = |batch: &Batch| lines.get(&batch.batch).map_or(0, |(_, line)| *line);
        let texts = [overlap(season, i, line_of), late_start(season, &log, batch), other_probes(season, &log, batch)];
        let texts = texts.into_iter().flatten().chain(without_readings(season, &log, batch));
        let (file, line) = lines.get(&batch.batch).cloned().unwrap_or_default();
        found.extend(texts.map(|text| Remark { file: file.clone(), line: Some(line), text }));
    }
    season.account.remarks.splice(0..0, found);
}

/// An earlier batch that still has a probe of this one.
fn overlap(season: &Season, i: usize, line: impl Fn(&Batch) -> u64) -> Option<String> {
    let later = season.batches.get(i)?;
    let (of, end, probe) = season.batches.iter().take(i).rev().find_map(|of| {
        let end = of.ended_at.filter(|end| end.days_since(later.pitched_at) > SLACK_D)?;
        Some((of, end, of.probes.iter().find(|probe| later.probes.contains(probe))?))
    })?;
    let Batch { batch, pitched_at, .. } = later;
    Some(format!(
        "{probe} stands in {} until {end} (line {}) and in {batch} from {pitched_at} on (line {}): one of `ended_at` and \
         `pitched_at` is wrong",
        of.batch,
        line(of),
        line(later)
    ))
}

/// A batch of which nothing is known for more than a week from its pitching on.
fn late_start(season: &Season, log: &Log<'_>, batch: &Batch) -> Option<String> {
    let (read, _) = *log.of_batch.get(batch.batch.as_str())?;
    let sampled = season.samples_of(&batch.batch).map(|sample| sample.at).min();
    let Batch { batch, pitched_at, .. } = batch;
    let days = read.min(sampled.unwrap_or(read)).days_since(*pitched_at);
    let sample = sampled.map_or("it has no sample".to_owned(), |at| format!("its first sample is of {at}"));
    (days > RUNNING_DAYS).then(|| {
        format!("column `pitched_at`: {batch} was pitched on {pitched_at}, its first reading is of {read}, {sample}: is the date right?")
    })
}

/// Readings whose file gives them to a batch that names other probes.
fn other_probes(season: &Season, log: &Log<'_>, batch: &Batch) -> Option<String> {
    let given = log.given.iter().filter(|((of, probe), n)| {
        *of == batch.batch && **n > 0 && !batch.probes.is_empty() && !batch.probes.iter().any(|own| own == probe)
    });
    let names: Vec<String> = given.map(|((_, probe), n)| format!("{n} readings of {probe}")).collect();
    let is_known = |id: &String| season.probes.is_empty() || season.probe(id).is_some();
    (!names.is_empty() && batch.probes.iter().all(is_known)).then(|| {
        let (names, own) = (some(&names, NAMES), some(&batch.probes, NAMES));
        format!("the log has {names} in {}, whose `probe` here is {own}: one of the two is wrong", batch.batch)
    })
}

/// Probes of a batch that their own table does not have, or readings of another probe that belong to no batch while this one has
/// none.
fn without_readings(season: &Season, log: &Log<'_>, batch: &Batch) -> Vec<String> {
    let Batch { batch: id, pitched_at, ended_at, probes, .. } = batch;
    let is_then = |at: &Instant| at >= pitched_at && ended_at.is_none_or(|end| *at <= end);
    let of_none: Vec<&(&str, Instant)> = log.of_none.iter().filter(|(_, at)| is_then(at)).collect();
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
    let is_read = log.of_batch.get(id.as_str()).is_some_and(|(first, last)| last.days_since(*first) > SLACK_D);
    if !is_read && texts.is_empty() && !probes.is_empty() {
        let most = of_none.chunk_by(|a, b| a.0 == b.0).max_by_key(|rows| rows.len()).unwrap_or_default();
        texts.extend(most.first().zip(most.last()).filter(|(from, to)| to.1.days_since(from.1) > SLACK_D).map(|(from, to)| {
            format!(
                "{id} has hardly a reading of its `probe`, {}, while {} of {} from {} to {} belong to no batch: is it the right probe?",
                some(probes, NAMES),
                most.len(),
                from.0,
                from.1,
                to.1
            )
        }));
    }
    texts
}
