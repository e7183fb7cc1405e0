//! What the order of rows in a file tells: which rows are late or have a wrong clock, and which of two equal local hours is meant.

use std::cmp::Ordering;
use std::collections::HashMap;

use crate::season::raw::RawReading;
use crate::units::Instant;

use super::clock::flags_of;

/// Decides, for local times that occur twice, which occurrence is meant: the first, unless the row before it of the
/// same probe is later than that. A file that runs backwards in time is followed backwards. `rows` stand as in the files.
pub(super) fn resolve_twice(rows: &mut [RawReading], twice: &HashMap<usize, Instant>) {
    let mut logs: HashMap<(usize, u32), Vec<usize>> = HashMap::new();
    if !twice.is_empty() {
        for (i, row) in rows.iter().enumerate() {
            logs.entry((row.file, row.probe)).or_default().push(i);
        }
    }
    for log in logs.into_values().filter(|log| log.iter().any(|i| twice.contains_key(i))) {
        let mut previous: Option<RawReading> = None;
        for i in in_order_of_time(log, rows) {
            let Some(row) = rows.get_mut(i) else { continue };
            if let (Some(later), Some(before)) = (twice.get(&i), previous) {
                let values = |row: &RawReading| (row.tilt_deg.to_bits(), row.temp_c.to_bits());
                let repeats = row.at == before.at && values(row) == values(&before);
                if row.at <= before.at && !repeats && *later >= before.at {
                    row.at = *later;
                }
            }
            previous = Some(*row);
        }
    }
}

/// Flags late rows and rows of a wrong clock, file by file and probe by probe; `rows` are sorted by probe and time.
pub(super) fn flag_order(rows: &mut [RawReading]) {
    for of_probe in rows.chunk_by_mut(|a, b| a.probe == b.probe) {
        let mut order: Vec<usize> = (0..of_probe.len()).collect();
        let place = |i: &usize| of_probe.get(*i).map(|row| (row.file, row.line));
        if order.is_sorted_by_key(place) {
            continue;
        }
        order.sort_by_key(place);
        let file = |i: &usize| of_probe.get(*i).map(|row| row.file);
        let logs: Vec<Vec<usize>> = order.chunk_by(|a, b| file(a) == file(b)).map(<[_]>::to_vec).collect();
        for log in logs {
            let log = in_order_of_time(log, of_probe);
            let times: Vec<i64> = log.iter().filter_map(|i| of_probe.get(*i)).map(|row| row.at.micros()).collect();
            for (i, flags) in log.into_iter().zip(flags_of(&times)) {
                if let Some(row) = of_probe.get_mut(i) {
                    row.flags.insert(flags);
                }
            }
        }
    }
}

/// A log as it stands, or from its last row to its first where most steps go back: an export with the newest on top.
fn in_order_of_time(mut log: Vec<usize>, rows: &[RawReading]) -> Vec<usize> {
    let times: Vec<Instant> = log.iter().filter_map(|i| rows.get(*i)).map(|row| row.at).collect();
    let steps = |way: Ordering| times.iter().zip(times.iter().skip(1)).filter(|(a, b)| a.cmp(b) == way).count();
    if steps(Ordering::Greater) > steps(Ordering::Less) {
        log.reverse();
    }
    log
}
