//! Readings of a probe that was not in its beer.
//!
//! A logger goes on while its probe lies on the bench or in rinsing water, and the hours of a batch are those of the beer. A
//! beer falls, and gradually. So a probe that first reads far lower was in water, and one that reads far higher lay in the
//! air.

use std::ops::Range;

use crate::season::flags::Flags;
use crate::season::readings::Readings;
use crate::season::table_rows::{Batch, Event};
use crate::units::Instant;

assumed! {
    /// A probe put from water into wort steps up by at least so much.
    const FROM_WATER_DEG: f64 = 6.0, "degrees";
    /// One put in from the bench steps down by so much; one taken out steps up by it.
    const AIR_DEG: f64 = 15.0, "degrees";
    /// A probe is put in so long after its readings begin, or taken out so long before they end, at most.
    const LONGEST_H: f64 = 48.0, "h";
}

/// Readings after a step whose median counts.
const SIDE: usize = 4;
/// A step is at least so many times the usual one from reading to reading.
const STANDS_OUT: f64 = 8.0;
/// Most steps that are looked at.
const MOST_STEPS: usize = 32;
/// Share of a beer's readings, on each side, that may be anything.
const LEFT: f64 = 0.05;
/// No beer.
const OUT: Flags = Flags::TILT_RANGE.with(Flags::TEMP_RANGE).with(Flags::OUTSIDE_BATCH);

/// Flags the readings of each batch before its pitching and after its end, and those before its probe was put in or after it
/// was taken out. A step beside sugar that was written down is the beer's.
pub(crate) fn flag_out_of_beer(readings: &mut Readings, batches: &[Batch], events: &[Event]) {
    let batch = |id: &String| batches.iter().find(|batch| batch.batch == *id);
    let of_index: Vec<Option<&Batch>> = readings.batch_ids.iter().map(batch).collect();
    let of = |row: &usize| Some((*readings.probe.get(*row)?, (*readings.batch.get(*row)?)?));
    for row in 0..readings.len() {
        let Some((batch, at)) =
            of(&row).and_then(|(_, batch)| (*of_index.get(batch as usize)?).zip(readings.at.get(row)))
        else {
            continue;
        };
        if let Some(flags) = readings.flags.get_mut(row) {
            *flags = flags.without(Flags::OUTSIDE_BATCH);
            if *at < batch.pitched_at || batch.ended_at.is_some_and(|end| *at > end) {
                flags.insert(Flags::OUTSIDE_BATCH);
            }
        }
    }
    let is_in = |row: &usize| readings.flags.get(*row).is_some_and(|flags| !flags.intersects(OUT));
    let rows: Vec<usize> = (0..readings.len()).filter(|row| of(row).is_some() && is_in(row)).collect();
    let mut out: Vec<usize> = Vec::new();
    for stay in rows.chunk_by(|a, b| of(a) == of(b)) {
        let sugar = |at: Instant| {
            let id = stay.first().and_then(|row| readings.get(*row)?.batch);
            let near = |event: &&Event| (event.at.hours_since(at)).abs() < *LONGEST_H && event.batch.as_deref() == id;
            events.iter().filter(near).any(|event| event.kind == "sugar_added")
        };
        let at: Vec<Instant> = stay.iter().filter_map(|row| readings.at.get(*row).copied()).collect();
        let tilt_deg: Vec<f64> = stay.iter().filter_map(|row| readings.tilt_deg.get(*row).copied()).collect();
        let beer = in_beer(&at, &tilt_deg, sugar);
        out.extend(stay.iter().enumerate().filter(|(k, _)| !beer.contains(k)).map(|(_, row)| *row));
    }
    for row in out {
        if let Some(flags) = readings.flags.get_mut(row) {
            flags.insert(Flags::OUTSIDE_BATCH);
        }
    }
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
        let (thinnest, densest) = (quantile(beer, LEFT)?, quantile(beer, 1.0 - LEFT)?);
        let is_air = |tilt: &f64| *tilt >= densest + *AIR_DEG;
        let by = quantile(beer.get(..SIDE).unwrap_or(beer), 0.5)? - before.last()?;
        let is_step = by >= *FROM_WATER_DEG && !sugar(*at.get(k)?) || before.last().is_some_and(is_air);
        (is_step && before.iter().all(|tilt| *tilt <= thinnest || is_air(tilt))).then_some(k)
    };
    let from = steps(1..early).into_iter().rev().find_map(put_in).unwrap_or(0);
    let taken_out = |k: usize| {
        let air = quantile(tilt_deg.get(from..k)?, 1.0 - LEFT)? + *AIR_DEG;
        tilt_deg.get(k..)?.iter().all(|tilt| *tilt >= air).then_some(k)
    };
    from..steps(late.max(from) + 1..n).into_iter().find_map(taken_out).unwrap_or(n)
}

/// The value below which a share of all lies.
fn quantile(tilts: &[f64], share: f64) -> Option<f64> {
    let mut tilts = tilts.to_vec();
    let place = (share * tilts.len().checked_sub(1)? as f64).round() as usize;
    Some(*tilts.select_nth_unstable_by(place, f64::total_cmp).1)
}
