//! Probes that bear each other's names in the log.
//!
//! A float moves gradually, and two probes that differ in mass and shape rest at different tilts in one beer. Where the readings
//! of a probe jump as another begins its batch or jumps as well, while the other goes on where they were, the two names changed
//! places; they change back where the first of the two batches ends and the readings go on as smoothly, or not before both have ended where
//! temperatures show the change of names as well. The readings get their own probe and batch again, with a flag. Probes that were written to each other's batch show nothing here: samples tell.

use std::ops::Range;

use crate::season::Season;
use crate::season::account::Remark;
use crate::season::flags::Flags;
use crate::season::readings::Readings;
use crate::season::table::SeasonTable;

use super::batch_of_reading::fill_batches;
use super::late_pitching::GAP_H;
use super::out_of_beer::{SIDE, flag_out_of_beer, quantile};

assumed! {
    /// Readings jump by at least so much where names change places.
    const JUMP_DEG: f64 = 2.0, "degrees";
    /// Under the other name they go on within so much, or within this share of the jump: some probes are restless.
    const SMOOTH_DEG: f64 = 0.6, "degrees";
    const SMOOTH_SHARE: f64 = 0.1, "share";
    /// A jump is larger than so many of the larger steps around it.
    const STANDS_OUT: f64 = 2.0, "steps";
    /// Where names do not change back, temperatures jump by at least so much too, and go on under the other name within half.
    const JUMP_C: f64 = 1.0, "C";
}

/// One name is taken up within so long of the other's change, h; the probe itself may be put in later.
const AT_ONCE_H: f64 = 1.0;

/// Gives readings their own probe and batch again where two probes have each other's names. The new order of the rows, if
/// there is one.
pub(super) fn restore_names(readings: &mut Readings) -> Option<Vec<usize>> {
    if readings.batch_ids.len() < 2 {
        return None;
    }
    let of = |row: &usize| Some((*readings.probe.get(*row)?, (*readings.batch.get(*row)?)?));
    let in_range = |row: &usize| !readings.flags.get(*row).is_some_and(|flags| flags.intersects(Flags::NO_BEER));
    let rows: Vec<usize> = (0..readings.len()).filter(|row| of(row).is_some() && in_range(row)).collect();
    let stays = rows.chunk_by(|a, b| of(a) == of(b)).filter(|stay| stay.len() > 2 * SIDE);
    let stays: Vec<(&[usize], Vec<usize>)> = stays.map(|stay| (stay, beginnings(readings, stay))).collect();
    let mut exchanged: Vec<(Range<usize>, (u32, u32))> = Vec::new();
    for (runs, _) in &stays {
        for (later, beginnings) in &stays {
            let is_free = |stay: &[usize]| !exchanged.iter().any(|(rows, _)| stay.contains(&rows.start));
            let names = runs.first().and_then(of).zip(later.first().and_then(of));
            let Some((own, other)) = names.filter(|(own, other)| own.0 != other.0 && own.1 != other.1) else {
                continue;
            };
            if let Some([a, b]) =
                exchange(readings, runs, (later, beginnings)).filter(|_| is_free(runs) && is_free(later))
            {
                exchanged.extend([(a, other), (b, own)]);
            }
        }
    }
    if exchanged.is_empty() {
        return None;
    }
    for (rows, (of_probe, of_batch)) in exchanged {
        let Readings { probe, batch, flags, .. } = readings;
        for ((probe, batch), flags) in probe.iter_mut().zip(batch).zip(flags).take(rows.end).skip(rows.start) {
            (*probe, *batch) = (of_probe, Some(of_batch));
            flags.insert(Flags::EXCHANGED);
        }
    }
    let mut order: Vec<usize> = (0..readings.len()).collect();
    order.sort_by_key(|row| (readings.probe.get(*row), readings.at.get(*row)));
    readings.reorder(&order);
    Some(order)
}

impl Season {
    /// Gives two probes, each with the batch that names it, each other's batch, with a remark.
    pub(crate) fn exchange(&mut self, [a, b]: &[(String, String); 2]) {
        let readings = &mut self.readings;
        for ((probe, own), (by, to)) in [(a, b), (b, a)] {
            let named = self.batches.iter_mut().filter(|batch| batch.batch == *own).flat_map(|batch| &mut batch.probes);
            named.filter(|name| *name == probe).for_each(|name| *name = by.clone());
            let (rows, own, to) = (readings.of_probe(probe), readings.batch_index(own), readings.batch_index(to));
            let of_rows = readings.batch.iter_mut().take(rows.end).skip(rows.start);
            of_rows.filter(|batch| **batch == own).for_each(|batch| *batch = to);
        }
        fill_batches(readings, &self.batches, &self.references);
        flag_out_of_beer(readings, &self.batches, (&self.events, &self.references), |_| true);
        let [a, b] = [a, b].map(|(probe, batch)| format!("{probe} of {batch}"));
        let text = format!("by what was sampled, {a} and {b} were in each other's batch, which was put right");
        self.account.remarks.push(Remark { file: SeasonTable::Batches.name().to_owned(), line: None, text });
    }
}

/// The rows that a probe and one that begins `later`, while the first `runs`, have of each other.
fn exchange(
    readings: &Readings,
    runs: &[usize],
    (later, beginnings): (&[usize], &[usize]),
) -> Option<[Range<usize>; 2]> {
    let last = |stay: &[usize]| stay.last().and_then(|row| readings.at.get(*row).copied());
    let ((k, j), jump) = changed_places(readings, runs, later, beginnings)?;
    let (ends, goes_on) = if last(runs) < last(later) { (runs, later) } else { (later, runs) };
    let end = goes_on.partition_point(|row| readings.at.get(*row).copied() <= last(ends));
    let back = changes_back(&readings.tilt_deg, ends, goes_on, end);
    let is_back = back.is_some_and(|(step, off)| off <= step.max(*SMOOTH_DEG));
    // Or the names stay exchanged to the end of both.
    let goes_on_evenly = |(step, _)| step <= *SMOOTH_DEG && is_in_temperatures(&readings.temp_c, runs, later, (k, j));
    if !is_back && !back.is_none_or(goes_on_evenly) {
        return None;
    }
    let shown = back
        .filter(|(step, off)| is_back && *off <= *SMOOTH_DEG && stands_out(&readings.tilt_deg, goes_on, end, *step));
    let shown = shown.map_or(jump, |(step, _)| jump.max(step));
    let until = |stay: &[usize]| match goes_on.get(end).filter(|_| is_back && stay == goes_on) {
        Some(row) => Some(*row),
        None => Some(stay.last()? + 1),
    };
    (shown >= *JUMP_DEG).then_some([*runs.get(k)?..until(runs)?, *later.get(j)?..until(later)?])
}

/// The places in a stay from which on another probe may be read: where it begins, and where it jumps in tilt or temperature.
fn beginnings(readings: &Readings, stay: &[usize]) -> Vec<usize> {
    let jumps = |j: &usize| {
        let by = |of: &[f64]| step(of, stay, *j);
        by(&readings.tilt_deg) >= Some(*JUMP_DEG) || by(&readings.temp_c) >= Some(*JUMP_C)
    };
    std::iter::once(0).chain((SIDE..stay.len()).filter(jumps)).collect()
}

/// By how much the row at a place of a stay differs from the one before it.
fn step(of: &[f64], stay: &[usize], k: usize) -> Option<f64> {
    Some((of.get(*stay.get(k)?)? - of.get(*stay.get(k.checked_sub(1)?)?)?).abs())
}

/// The first places in `runs` and `later` from which on each is read under the other's name, and by how much the name of `runs`
/// jumps there, degrees: where `later` begins, or where it jumps to where `runs` was. Of names that change temperatures as well the
/// jump counts as large enough.
fn changed_places(
    readings: &Readings,
    runs: &[usize],
    later: &[usize],
    beginnings: &[usize],
) -> Option<((usize, usize), f64)> {
    let Readings { tilt_deg, temp_c, .. } = readings;
    beginnings.iter().find_map(|&j| {
        let (k, jump) = taken_up(readings, runs, later.get(j..)?)?;
        // Over a gap the beer fell by itself.
        let follows = |stay: &[usize], place: usize| {
            let at = |place: usize| readings.at.get(*stay.get(place)?).copied();
            Some(at(place)?.hours_since(at(place.checked_sub(1)?)?) <= *GAP_H)
        };
        if follows(runs, k) == Some(false) || follows(later, j) == Some(false) {
            return None;
        }
        if j == 0 {
            return Some(((k, j), jump));
        }
        let off = |of: &[f64]| Some((beside(of, later, j)?.0 - beside(of, runs, k)?.1).abs());
        let is_in_both = off(temp_c)? <= 0.5 * *JUMP_C && is_in_temperatures(temp_c, runs, later, (k, j));
        let (most, jump) = match is_in_both {
            true => (2.0 * *SMOOTH_DEG, jump.max(*JUMP_DEG)),
            false => (SMOOTH_DEG.max(*SMOOTH_SHARE * jump), jump),
        };
        (off(tilt_deg)? <= most).then_some(((k, j), jump))
    })
}

/// The place in `runs` from which on it is read under the name of `later`, whose first row is of that moment, and by how much
/// its own name jumps there, degrees; none where that name does not go on as it was.
fn taken_up(readings: &Readings, runs: &[usize], later: &[usize]) -> Option<(usize, f64)> {
    let at = |row: &usize| readings.at.get(*row).copied();
    let (began, last) = (at(later.first()?)?, at(runs.last()?)?);
    if began <= at(runs.first()?)? || began >= last {
        return None;
    }
    let tilts = &readings.tilt_deg;
    let by = |h: f64| runs.partition_point(|row| at(row) < Some(began.plus_hours(h)));
    let steps = (by(-AT_ONCE_H)..by(AT_ONCE_H) + 1).filter_map(|k| Some((k, step(tilts, runs, k)?)));
    let (k, _) = steps.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let (before, after) = beside(tilts, runs, k)?;
    let jump = (after - before).abs();
    // A probe that something held for a while comes back by itself.
    let earlier = middle(tilts, runs.get(k.checked_sub(3 * SIDE)?..)?.get(..SIDE)?)?;
    let later_on = middle(tilts, runs.get(k + 2 * SIDE..)?.get(..SIDE)?)?;
    let is_held =
        (later_on - before).abs() < (later_on - after).abs() || (earlier - after).abs() < (earlier - before).abs();
    let off = (middle(tilts, later.get(..SIDE)?)? - before).abs();
    let is_jump = !is_held && stands_out(tilts, runs, k, jump);
    let is_smooth = (jump <= *SMOOTH_DEG || is_jump) && off <= SMOOTH_DEG.max(*SMOOTH_SHARE * jump);
    is_smooth.then_some((k, jump))
}

/// Whether a jump is one of two neighbouring readings, and not the fall of a beer that works, read once an hour.
fn stands_out(tilts: &[f64], stay: &[usize], k: usize, jump: f64) -> bool {
    let near = k.saturating_sub(3 * SIDE)..k + 3 * SIDE;
    let usual: Vec<f64> = near.filter(|place| *place != k).filter_map(|place| step(tilts, stay, place)).collect();
    let of_two = step(tilts, stay, k).unwrap_or(0.0);
    of_two >= 0.5 * jump && quantile(&usual, 0.75).is_none_or(|usual| of_two > *STANDS_OUT * usual)
}

/// By how much the name that goes on jumps where the other ends, degrees, and how far it is then from where the other was; none
/// without readings after.
fn changes_back(tilt_deg: &[f64], ends: &[usize], goes_on: &[usize], end: usize) -> Option<(f64, f64)> {
    let (before, after) = beside(tilt_deg, goes_on, end)?;
    let other = middle(tilt_deg, ends.get(ends.len().checked_sub(SIDE)?..)?)?;
    Some(((after - before).abs(), (other - after).abs()))
}

/// Whether temperatures change with the names: those of the first name jump, and go on under the other.
fn is_in_temperatures(temp_c: &[f64], runs: &[usize], later: &[usize], (k, j): (usize, usize)) -> bool {
    let of_other = later.get(j..j + SIDE).and_then(|rows| middle(temp_c, rows));
    beside(temp_c, runs, k).zip(of_other).is_some_and(|((before, after), other)| {
        (after - before).abs() >= *JUMP_C && (other - before).abs() <= 0.5 * *JUMP_C
    })
}

/// The medians of the [`SIDE`] rows of a stay before a place and of those from it on.
fn beside(of: &[f64], stay: &[usize], k: usize) -> Option<(f64, f64)> {
    Some((middle(of, stay.get(k.checked_sub(SIDE)?..k)?)?, middle(of, stay.get(k..k + SIDE)?)?))
}

fn middle(of: &[f64], rows: &[usize]) -> Option<f64> {
    quantile(&rows.iter().filter_map(|row| of.get(*row).copied()).collect::<Vec<f64>>(), 0.5)
}
