//! What the order of rows in a file tells: which rows are late or have a wrong clock, and which of two equal local hours is meant.

use std::collections::HashMap;
use std::ops::Range;

use crate::season::raw::RawReadings;
use crate::units::Instant;

use super::clock::flags_of;

/// Decides, for local times that occur twice, which occurrence is meant: the first, unless the row before it of the
/// same probe is later than that. A file that runs backwards in time is followed backwards.
pub(super) fn resolve_twice(raw: &mut RawReadings) {
    let twice: HashMap<usize, Instant> = std::mem::take(&mut raw.twice).into_iter().collect();
    if twice.is_empty() {
        return;
    }
    for range in part_ranges(raw) {
        let mut rows = rows_by_probe(raw, range, |_| true);
        rows.retain(|rows| rows.iter().any(|row| twice.contains_key(row)));
        for rows in rows {
            let mut previous: Option<(Instant, _)> = None;
            for row in in_order_of_time(raw, rows) {
                let values = (bits(&raw.tilt_deg, row), bits(&raw.temp_c, row));
                let Some(at) = raw.at.get_mut(row) else { continue };
                if let (Some(later), Some((before, its_values))) = (twice.get(&row), previous) {
                    let repeats = *at == before && values == its_values;
                    if *at <= before && !repeats && *later >= before {
                        *at = *later;
                    }
                }
                previous = Some((*at, values));
            }
        }
    }
}

/// Flags late rows and rows of a wrong clock, file by file and probe by probe. Rows that `is_dropped` are left out.
pub(super) fn flag_order(raw: &mut RawReadings, is_dropped: &dyn Fn(usize) -> bool) {
    for range in part_ranges(raw) {
        if !steps_back(raw, range.clone()) {
            continue;
        }
        for rows in rows_by_probe(raw, range, |row| !is_dropped(row)) {
            let rows = in_order_of_time(raw, rows);
            let times: Vec<i64> = rows.iter().filter_map(|row| raw.at.get(*row)).map(|at| at.micros()).collect();
            for (row, flag) in rows.iter().zip(flags_of(&times)) {
                if let Some(flags) = raw.flags.get_mut(*row) {
                    flags.insert(flag);
                }
            }
        }
    }
}

fn bits(column: &[f64], row: usize) -> Option<u64> {
    column.get(row).map(|value| value.to_bits())
}

fn part_ranges(raw: &RawReadings) -> Vec<Range<usize>> {
    let ends = raw.parts.iter().skip(1).map(|p| p.start).chain([raw.len()]);
    raw.parts.iter().zip(ends).map(|(part, end)| part.start..end).collect()
}

/// True when some probe has a row before an earlier one of its own.
fn steps_back(raw: &RawReadings, range: Range<usize>) -> bool {
    let mut last: Vec<Instant> = Vec::new();
    raw.probe.iter().zip(&raw.at).take(range.end).skip(range.start).any(|(probe, at)| {
        let probe = *probe as usize;
        if last.len() <= probe {
            last.resize(probe + 1, Instant::from_micros(i64::MIN));
        }
        last.get_mut(probe).is_some_and(|last| std::mem::replace(last, *at) > *at)
    })
}

fn rows_by_probe(raw: &RawReadings, range: Range<usize>, keep: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
    let mut rows: HashMap<u32, Vec<usize>> = HashMap::new();
    for row in range.filter(|row| keep(*row)) {
        if let Some(probe) = raw.probe.get(row) {
            rows.entry(*probe).or_default().push(row);
        }
    }
    rows.into_values().collect()
}

/// The rows as they stand, or from the last to the first where most steps go back: an export with the newest on top.
fn in_order_of_time(raw: &RawReadings, mut rows: Vec<usize>) -> Vec<usize> {
    let steps = rows.windows(2).filter_map(|pair| Some((raw.at.get(*pair.first()?)?, raw.at.get(*pair.last()?)?)));
    let (up, down) = steps.fold((0_usize, 0_usize), |(up, down), (a, b)| match a.cmp(b) {
        std::cmp::Ordering::Less => (up + 1, down),
        std::cmp::Ordering::Greater => (up, down + 1),
        std::cmp::Ordering::Equal => (up, down),
    });
    if down > up {
        rows.reverse();
    }
    rows
}
