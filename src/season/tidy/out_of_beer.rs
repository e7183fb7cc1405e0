//! Readings of a probe that was not in its beer.
//!
//! A logger goes on while its probe lies on the bench or in rinsing water, and the hours of a batch are those of the beer. A
//! beer falls, and gradually. So a probe that first reads far lower was in water, and one that reads far higher lay in the
//! air. Where it goes into baths once its beer is over, their rows in the table of references tell it.

use std::ops::Range;

use crate::season::flags::Flags;
use crate::season::readings::Readings;
use crate::season::table_rows::{Batch, Event, Reference};
use crate::units::Instant;

use super::batch_of_reading::BATH_H;

assumed! {
    /// A probe put from water into wort steps up by at least so much.
    const FROM_WATER_DEG: f64 = 6.0, "degrees";
    /// One put in from the bench steps down by so much; one taken out steps up by it.
    const AIR_DEG: f64 = 15.0, "degrees";
    /// A probe is put in so long after its readings begin, or taken out so long before they end, at most.
    pub(crate) const LONGEST_H: f64 = 48.0, "h";
}

/// Baths come so long after the beer, or before it, and all of a session within this time, h.
const SESSION_H: f64 = 24.0;

/// Readings beside a step whose median counts.
pub(super) const SIDE: usize = 4;
/// A step is at least so many times the usual one from reading to reading.
const STANDS_OUT: f64 = 8.0;
/// Most steps that are looked at.
const MOST_STEPS: usize = 32;
/// Share of a beer's readings that may lie above it.
const ABOVE: f64 = 0.05;
/// Share that may lie below it: a probe leans for a day.
const BELOW: f64 = 0.1;

/// A probe and a batch, by their indices.
pub(crate) type StayIndex = (u32, u32);

/// Flags, in the stays that are asked for, the readings before the pitching and after the end of the batch, and those before
/// its probe was put in or after it was taken out. A step beside sugar that was written down is the beer's.
pub(crate) fn flag_out_of_beer(
    readings: &mut Readings,
    batches: &[Batch],
    (events, references): (&[Event], &[Reference]),
    is_asked: impl Fn(&StayIndex) -> bool,
) {
    let mut flags = std::mem::take(&mut readings.flags);
    let batch = |id: &String| batches.iter().find(|batch| batch.batch == *id);
    let of_index: Vec<Option<&Batch>> = readings.batch_ids.iter().map(batch).collect();
    let stays =
        readings.probe.iter().zip(&readings.batch).map(|(probe, batch)| Some((*probe, (*batch)?)).filter(&is_asked));
    let stays: Vec<Option<StayIndex>> = stays.collect();
    for ((flags, stay), at) in flags.iter_mut().zip(&stays).zip(&readings.at) {
        let Some(batch) = stay.and_then(|(_, batch)| *of_index.get(batch as usize)?) else { continue };
        *flags = flags.without(Flags::OUTSIDE_BATCH);
        if *at < batch.pitched_at || batch.ended_at.is_some_and(|end| *at > end) {
            flags.insert(Flags::OUTSIDE_BATCH);
        }
    }
    let stay = |row: &usize| *stays.get(*row)?;
    let is_in = |row: &usize| stay(row).is_some() && flags.get(*row).is_some_and(|of| !of.intersects(Flags::NO_BEER));
    let rows: Vec<usize> = (0..readings.len()).filter(is_in).collect();
    for rows in rows.chunk_by(|a, b| stay(a) == stay(b)) {
        let id = rows.first().and_then(|row| readings.batch_ids.get(stay(row)?.1 as usize)).map(String::as_str);
        let sugar = |at: Instant| {
            let near = |event: &Event| event.at.hours_since(at).abs() < *LONGEST_H;
            events.iter().any(|event| event.feeds(id) && near(event))
        };
        let at: Vec<Instant> = rows.iter().filter_map(|row| readings.at.get(*row).copied()).collect();
        let tilt_deg: Vec<f64> = rows.iter().filter_map(|row| readings.tilt_deg.get(*row).copied()).collect();
        let beer = in_beer(&at, &tilt_deg, sugar);
        let probe = rows.first().and_then(|row| readings.probe_ids.get(stay(row)?.0 as usize));
        let baths =
            references.iter().filter(|row| !row.is_sample() && row.probe.as_ref() == probe && !row.is_ignored());
        let baths: Vec<(Instant, Instant)> = baths.map(|row| row.at.around(BATH_H)).collect();
        let in_bath = in_baths(&at, &tilt_deg, &baths).into_iter().filter_map(|i| rows.get(i));
        for row in rows.iter().take(beer.start).chain(rows.iter().skip(beer.end)).chain(in_bath) {
            flags.get_mut(*row).into_iter().for_each(|flags| flags.insert(Flags::OUTSIDE_BATCH));
        }
    }
    readings.flags = flags;
}

/// Which readings of a stay in a batch show its beer: those from a step on before which all others are thinner than the beer
/// ever becomes, or in the air; and those up to a step into the air.
fn in_beer(at: &[Instant], tilt_deg: &[f64], sugar: impl Fn(Instant) -> bool) -> Range<usize> {
    let n = tilt_deg.len();
    let (Some(first), Some(last)) = (at.first(), at.last()) else { return 0..n };
    let reach_h = LONGEST_H.min(0.5 * last.hours_since(*first));
    let early = at.partition_point(|at| at.hours_since(*first) <= reach_h);
    let late = at.partition_point(|at| last.hours_since(*at) > reach_h);
    let step = |k: usize| tilt_deg.get(k).zip(tilt_deg.get(k - 1)).map_or(0.0, |(to, from)| (to - from).abs());
    let usual = quantile(&(1..n).map(step).collect::<Vec<f64>>(), 0.5).unwrap_or(0.0);
    let steps = |rows: Range<usize>| -> Vec<usize> {
        let stands_out = |k: &usize| step(*k) >= FROM_WATER_DEG.max(STANDS_OUT * usual);
        let found: Vec<usize> = rows.filter(stands_out).take(MOST_STEPS + 1).collect();
        // Where tilts jump all the time no step means anything.
        if found.len() > MOST_STEPS { Vec::new() } else { found }
    };
    let put_in = |k: usize| {
        let (before, beer) = tilt_deg.split_at(k);
        let (thinnest, densest) = (quantile(beer, BELOW)?, quantile(beer, 1.0 - ABOVE)?);
        let is_air = |tilt: &f64| *tilt >= densest + *AIR_DEG;
        let by = quantile(beer.get(..SIDE).unwrap_or(beer), 0.5)? - before.last()?;
        let is_step = by >= *FROM_WATER_DEG && !sugar(*at.get(k)?) || before.last().is_some_and(is_air);
        (is_step && before.iter().all(|tilt| *tilt <= thinnest || is_air(tilt))).then_some(k)
    };
    let from = steps(1..early).into_iter().rev().find_map(put_in).unwrap_or(0);
    let taken_out = |k: usize| {
        let air = quantile(tilt_deg.get(from..k)?, 1.0 - ABOVE)? + *AIR_DEG;
        tilt_deg.get(k..)?.iter().all(|tilt| *tilt >= air).then_some(k)
    };
    from..steps(late.max(from) + 1..n).into_iter().find_map(taken_out).unwrap_or(n)
}

/// Which readings of a stay were taken in or beside baths of the probe: after a gap, or before one, all of a session that has
/// some; else those at the very time of a bath whose tilt is not that of the beer before it.
fn in_baths(at: &[Instant], tilt_deg: &[f64], baths: &[(Instant, Instant)]) -> Vec<usize> {
    let time = |i: &usize| at.get(*i).copied();
    let is_near = |i: &usize| time(i).is_some_and(|at| baths.iter().any(|(from, to)| (*from..=*to).contains(&at)));
    if !(0..at.len()).any(|i| is_near(&i)) {
        return Vec::new();
    }
    let is_short = |a: &usize, b: &usize| time(b).zip(time(a)).is_some_and(|(b, a)| b.hours_since(a) < SESSION_H);
    let all: Vec<usize> = (0..at.len()).collect();
    let mut found = Vec::new();
    for part in all.chunk_by(is_short) {
        let near: Vec<usize> = part.iter().copied().filter(is_near).collect();
        let is_session = part.first().zip(part.last()).is_some_and(|(first, last)| is_short(first, last));
        if is_session && !near.is_empty() && part.len() < all.len() {
            found.extend(part);
            continue;
        }
        let tilt = |rows: Range<usize>| quantile(tilt_deg.get(rows)?, 0.5);
        for bath in near.chunk_by(|a, b| a + 1 == *b) {
            let (Some(from), Some(to)) = (bath.first(), bath.last()) else { continue };
            let step =
                tilt(from.saturating_sub(SIDE)..*from).zip(tilt(*from..to + 1)).map_or(0.0, |(a, b)| (b - a).abs());
            if step >= *FROM_WATER_DEG {
                found.extend(bath);
            }
        }
    }
    found
}

/// The value below which a share of all lies, by straight lines between them.
pub(super) fn quantile(tilts: &[f64], share: f64) -> Option<f64> {
    let mut tilts = tilts.to_vec();
    let place = share * tilts.len().checked_sub(1)? as f64;
    let (_, low, above) = tilts.select_nth_unstable_by(place as usize, f64::total_cmp);
    let next = above.iter().copied().reduce(f64::min).unwrap_or(*low);
    Some(*low + place.fract() * (next - *low))
}
