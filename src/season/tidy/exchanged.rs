//! Probes that bear each other's names in the log.
//!
//! A float moves gradually, and two probes that differ in mass and shape rest at different tilts in one beer. Where the readings
//! of a probe jump as another begins its batch, while the other begins where they were, the two names changed places; they
//! change back where the first of the two batches ends and the readings go on as smoothly. The readings get their own probe
//! and batch again, with a flag. Names that were exchanged for the whole of both batches show nothing here: samples tell.

use std::ops::Range;

use crate::season::flags::Flags;
use crate::season::readings::Readings;

assumed! {
    /// Readings jump by at least so much where names change places.
    const JUMP_DEG: f64 = 2.0, "degrees";
    /// Under the other name they go on within so much.
    const SMOOTH_DEG: f64 = 0.6, "degrees";
}

/// Readings on each side of a change whose medians are compared.
const SIDE: usize = 4;
/// One name is taken up within so long of the other's change, h; the probe itself may be put in later.
const AT_ONCE_H: f64 = 1.0;

/// A probe in one batch: its rows, and those of them in range.
struct Stay {
    rows: Range<usize>,
    usable: Vec<usize>,
}

/// Rows of two stays that belong to each other's probe.
type Exchange = [(Range<usize>, usize); 2];

/// Gives readings their own probe and batch again where two probes have each other's names. The new order of the rows, if
/// there is one.
pub(crate) fn restore_names(readings: &mut Readings) -> Option<Vec<usize>> {
    let stays = stays(readings);
    let mut exchanged: Vec<Exchange> = Vec::new();
    for runs in &stays {
        for later in &stays {
            let is_free = |stay: &Stay| !exchanged.iter().flatten().any(|(rows, _)| stay.rows.contains(&rows.start));
            if is_free(runs) && is_free(later) {
                exchanged.extend(exchange(readings, runs, later));
            }
        }
    }
    let named = |row: usize| Some((*readings.probe.get(row)?, *readings.batch.get(row)?));
    let changes = exchanged.iter().flatten().map(|(rows, of)| Some((rows.clone(), named(*of)?)));
    for (rows, (of_probe, of_batch)) in changes.collect::<Option<Vec<_>>>().filter(|all| !all.is_empty())? {
        let Readings { probe, batch, flags, .. } = readings;
        for ((probe, batch), flags) in probe.iter_mut().zip(batch).zip(flags).take(rows.end).skip(rows.start) {
            (*probe, *batch) = (of_probe, of_batch);
            flags.insert(Flags::EXCHANGED);
        }
    }
    let mut order: Vec<usize> = (0..readings.len()).collect();
    order.sort_by_key(|row| (readings.probe.get(*row), readings.at.get(*row)));
    *readings = readings.pick(&order);
    Some(order)
}

/// The stays with readings enough on both sides of a change.
fn stays(readings: &Readings) -> Vec<Stay> {
    let out = Flags::TILT_RANGE.with(Flags::TEMP_RANGE);
    let of = |row: &usize| (readings.probe.get(*row), readings.batch.get(*row).copied().flatten());
    let rows: Vec<usize> = (0..readings.len()).collect();
    let stays = rows.chunk_by(|a, b| of(a) == of(b)).filter_map(|rows| {
        let (first, last) = (*rows.first()?, *rows.last()?);
        of(&first).1?;
        let in_range = |row: &usize| readings.flags.get(*row).is_some_and(|flags| !flags.intersects(out));
        Some(Stay { rows: first..last + 1, usable: rows.iter().copied().filter(in_range).collect() })
    });
    stays.filter(|stay| stay.usable.len() > 2 * SIDE).collect()
}

/// The rows that `runs` and `later`, which begins while the other runs, have of each other.
fn exchange(readings: &Readings, runs: &Stay, later: &Stay) -> Option<Exchange> {
    let at = |row: usize| readings.at.get(row).copied();
    let (began, last) = (at(*later.usable.first()?)?, at(*runs.usable.last()?)?);
    let name = |stay: &Stay| Some((*readings.probe.get(stay.rows.start)?, *readings.batch.get(stay.rows.start)?));
    let (own, other) = (name(runs)?, name(later)?);
    if own.0 == other.0 || own.1 == other.1 || began <= at(*runs.usable.first()?)? || began >= last {
        return None;
    }
    let tilt = |row: &usize| readings.tilt_deg.get(*row).copied();
    let level = |rows: &[usize]| {
        let mut tilts: Vec<f64> = rows.iter().filter_map(tilt).collect();
        tilts.sort_by(f64::total_cmp);
        Some(0.5 * (tilts.get((SIDE - 1) / 2)? + tilts.get(SIDE / 2)?))
    };
    let sides = |stay: &Stay, k: usize| {
        Some((level(stay.usable.get(k.checked_sub(SIDE)?..k)?)?, level(stay.usable.get(k..k + SIDE)?)?))
    };
    let step = |k: &usize| Some((tilt(runs.usable.get(*k)?)? - tilt(runs.usable.get(k.checked_sub(1)?)?)?).abs());
    let by = |h: f64| runs.usable.partition_point(|row| at(*row) < Some(began.plus_hours(h)));
    let (from, to) = (by(-AT_ONCE_H).max(SIDE), by(AT_ONCE_H) + 1);
    let k = (from..to).max_by(|a, b| step(a).unwrap_or(0.0).total_cmp(&step(b).unwrap_or(0.0)))?;
    let (before, after) = sides(runs, k)?;
    let (jump, off) = ((after - before).abs(), (level(later.usable.get(..SIDE)?)? - before).abs());
    if off > *SMOOTH_DEG {
        return None;
    }
    let (ends, goes_on) = if Some(last) < at(*later.usable.last()?) { (runs, later) } else { (later, runs) };
    let end = at(*ends.usable.last()?);
    let j = goes_on.usable.partition_point(|row| at(*row) <= end);
    let back = sides(goes_on, j).and_then(|(before, after)| {
        let off = (level(ends.usable.get(ends.usable.len().checked_sub(SIDE)?..)?)? - after).abs();
        let jump = (after - before).abs();
        (off <= jump.max(*SMOOTH_DEG)).then_some((jump, off))
    });
    let shown = back.filter(|(_, off)| off <= &*SMOOTH_DEG).map_or(jump, |(back, _)| jump.max(back));
    if shown < *JUMP_DEG {
        return None;
    }
    let until = |stay: &Stay| match goes_on.usable.get(j).filter(|_| back.is_some()) {
        Some(row) if stay.rows == goes_on.rows => *row,
        _ => stay.rows.end,
    };
    let first = *runs.usable.get(k)?;
    Some([(first..until(runs), later.rows.start), (later.rows.start..until(later), runs.rows.start)])
}
