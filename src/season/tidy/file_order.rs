//! What the order of rows in a file tells: which rows are late or have a wrong clock, and which of two equal local hours is meant.

use std::cmp::Ordering;
use std::collections::HashMap;

use crate::season::readings::Readings;
use crate::units::Instant;

use super::clock::flags_of;

/// Decides, for local times that occur twice, which occurrence is meant: the first, unless the row before it of the
/// same probe is later than that. A file that runs backwards in time is followed backwards. The readings stand as in the
/// files.
pub(super) fn resolve_twice(readings: &mut Readings, places: &[(u32, u32)], twice: &HashMap<usize, Instant>) {
    let mut logs: HashMap<(u32, u32), Vec<usize>> = HashMap::new();
    if !twice.is_empty() {
        for (row, (probe, (file, _))) in readings.probe.iter().zip(places).enumerate() {
            logs.entry((*file, *probe)).or_default().push(row);
        }
    }
    for log in logs.into_values().filter(|log| log.iter().any(|row| twice.contains_key(row))) {
        let mut previous: Option<(Instant, [u64; 2])> = None;
        for row in in_order_of_time(log, &readings.at) {
            let values =
                [&readings.tilt_deg, &readings.temp_c].map(|column| column.get(row).map_or(0, |v| v.to_bits()));
            let Some(at) = readings.at.get_mut(row) else { continue };
            if let (Some(later), Some(before)) = (twice.get(&row), previous) {
                let repeats = (*at, values) == before;
                if *at <= before.0 && !repeats && *later >= before.0 {
                    *at = *later;
                }
            }
            previous = Some((*at, values));
        }
    }
}

/// Flags late rows and rows of a wrong clock, file by file and probe by probe. The readings are sorted by probe and time.
pub(super) fn flag_order(readings: &mut Readings, places: &[(u32, u32)]) {
    let Readings { at, probe, flags, .. } = readings;
    let mut end = 0;
    for of_probe in probe.chunk_by(|a, b| a == b) {
        let start = end;
        end += of_probe.len();
        let place = |row: &usize| places.get(*row);
        let mut order: Vec<usize> = (start..end).collect();
        if order.is_sorted_by_key(place) {
            continue;
        }
        order.sort_by_key(place);
        let file = |row: &usize| place(row).map(|(file, _)| file);
        for log in order.chunk_by(|a, b| file(a) == file(b)) {
            let log = in_order_of_time(log.to_vec(), at);
            let times: Vec<i64> = log.iter().filter_map(|row| at.get(*row)).map(|at| at.micros()).collect();
            for (row, of_clock) in log.into_iter().zip(flags_of(&times)) {
                flags.get_mut(row).into_iter().for_each(|flags| flags.insert(of_clock));
            }
        }
    }
}

/// A log as it stands, or from its last row to its first where most steps go back: an export with the newest on top.
fn in_order_of_time(mut log: Vec<usize>, at: &[Instant]) -> Vec<usize> {
    let times: Vec<Instant> = log.iter().filter_map(|row| at.get(*row)).copied().collect();
    let steps = |way: Ordering| times.iter().zip(times.iter().skip(1)).filter(|(a, b)| a.cmp(b) == way).count();
    if steps(Ordering::Greater) > steps(Ordering::Less) {
        log.reverse();
    }
    log
}
