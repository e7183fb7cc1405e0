//! The clock of one log: rows that were delivered late, and stretches with a wrong clock, told by their times alone.

use std::ops::Range;

use crate::season::flags::Flags;

/// A step that exceeds the cadence by this many cadences may be a jump of the clock.
const JUMP_CADENCES: i64 = 2;

assumed! {
    /// Longest time that a clock may have been wrong for its rows to be told apart from a log in local time without a
    /// zone, whose summer would be one long jump, days.
    const LONGEST_WRONG_D: f64 = 14.0, "d";
}

/// Jumps looked at before and after a step back to find the one that undoes it.
const LOOK: usize = 40;
const MICROS_PER_DAY: i64 = 86_400_000_000;
/// A log of which more than one step in this many goes back stands in no order, which then tells nothing of its clock.
const IN_NO_ORDER: usize = 4;

/// The flags of rows with these times, in the order in which they were written.
pub(super) fn flags_of(times: &[i64]) -> Vec<Flags> {
    let mut flags = vec![Flags::NONE; times.len()];
    let back = times.windows(2).filter(|w| step(w).is_some_and(|step| step < 0)).count();
    if back == 0 || back * IN_NO_ORDER > times.len() {
        return flags;
    }
    let log = ProbeTimes::new(times);
    let bursts = log.late_bursts();
    let mut set =
        |rows: Range<usize>, flag: Flags| flags.iter_mut().take(rows.end).skip(rows.start).for_each(|f| *f = flag);
    log.undone_jumps(&bursts).into_iter().for_each(|wrong| set(wrong, Flags::CLOCK_JUMP));
    bursts.into_iter().for_each(|burst| set(burst, Flags::LATE));
    let right: Vec<usize> = (0..times.len()).filter(|i| flags.get(*i).is_some_and(|f| f.is_empty())).collect();
    for (group, flag) in log.out_of_order(&right) {
        for i in group {
            if let Some(slot) = flags.get_mut(i) {
                slot.insert(flag);
            }
        }
    }
    flags
}

/// One probe's times in the order of the file, microseconds.
struct ProbeTimes<'a> {
    times: &'a [i64],
    sorted: Vec<i64>,
    /// Median of the steps forward.
    cadence: i64,
    /// Rows after a step that differs from the cadence by more than [`JUMP_CADENCES`], with that difference.
    jumps: Vec<(usize, i64)>,
}

impl<'a> ProbeTimes<'a> {
    fn new(times: &'a [i64]) -> Self {
        let mut steps: Vec<i64> = times.windows(2).filter_map(|w| step(w).filter(|s| *s > 0)).collect();
        let middle = steps.len() / 2;
        let cadence = if steps.is_empty() { 0 } else { *steps.select_nth_unstable(middle).1 };
        let mut sorted = times.to_vec();
        sorted.sort_unstable();
        let jumps = times
            .windows(2)
            .enumerate()
            .filter_map(|(i, w)| Some((i + 1, step(w)?.saturating_sub(cadence))))
            .filter(|(_, excess)| excess.saturating_abs() > JUMP_CADENCES * cadence)
            .collect();
        Self { times, sorted, cadence, jumps }
    }

    /// Stretches from a step back to a step forward that fill a gap of the log: rows kept and delivered late, after which
    /// the log goes on from where it was.
    fn late_bursts(&self) -> Vec<Range<usize>> {
        let burst = |(j, (start, excess)): (usize, &(usize, i64))| {
            let mut next = self.jumps.iter().skip(j + 1).take(LOOK).filter(|(_, excess)| *excess > 0);
            let end = next.find(|(end, _)| self.fills_a_gap(*start..*end)).filter(|_| *excess < 0);
            end.map(|(end, _)| *start..*end)
        };
        self.jumps.iter().enumerate().filter_map(burst).collect()
    }

    /// Stretches between a jump and the jump back that undoes it to within half a cadence.
    ///
    /// A burst of m rows delivered late looks alike but for m cadences: after it the log goes on from where it was,
    /// not from where the clock was.
    fn undone_jumps(&self, bursts: &[Range<usize>]) -> Vec<Range<usize>> {
        let jumps = &self.jumps;
        let mut found = Vec::new();
        let mut used = vec![false; jumps.len()];
        for (j, (start, excess)) in jumps.iter().enumerate().filter(|(_, (_, excess))| *excess < 0) {
            // Some gap of the log may be just as long as the step back to a burst of late rows.
            if bursts.iter().any(|burst| burst.start == *start) {
                continue;
            }
            let near = j.saturating_sub(LOOK)..(j + LOOK + 1).min(jumps.len());
            let undoes = |k: &usize| {
                let other = jumps.get(*k).map_or(0, |(_, other)| *other);
                let is_equal = other.saturating_add(*excess).saturating_abs() <= self.cadence / 2;
                other > 0 && is_equal && used.get(*k) == Some(&false)
            };
            let stretch = |k: usize| {
                let other = jumps.get(k).map_or(*start, |(i, _)| *i);
                (*start).min(other)..(*start).max(other)
            };
            let Some(k) = near.filter(undoes).min_by_key(|k| stretch(*k).len()) else { continue };
            let wrong = stretch(k);
            if self.is_brief(&wrong) && !self.fills_a_gap(wrong.clone()) {
                if let Some(used) = used.get_mut(k) {
                    *used = true;
                }
                found.push(wrong);
            }
        }
        found
    }

    fn span(&self, rows: impl Iterator<Item = usize>) -> Option<(i64, i64, usize)> {
        rows.filter_map(|i| self.times.get(i)).fold(None, |span, t| match span {
            None => Some((*t, *t, 1)),
            Some((low, high, count)) => Some((low.min(*t), high.max(*t), count + 1)),
        })
    }

    fn is_brief(&self, rows: &Range<usize>) -> bool {
        let limit = (*LONGEST_WRONG_D * MICROS_PER_DAY as f64) as i64;
        let brief = self.span(rows.clone()).is_some_and(|(low, high, _)| high.saturating_sub(low) <= limit);
        brief && rows.len() * 2 <= self.times.len()
    }

    /// Rows of the log other than `count` own ones between two times, ends widened by 0.4 of a cadence.
    fn others_between(&self, low: i64, high: i64, count: usize) -> usize {
        let edge = self.cadence * 2 / 5;
        let from = self.sorted.partition_point(|t| *t < low.saturating_sub(edge));
        let to = self.sorted.partition_point(|t| *t <= high.saturating_add(edge));
        (to - from).saturating_sub(count)
    }

    /// True when these rows have no others between them and a neighbour at about a cadence: late, but right.
    fn fills_a_gap(&self, rows: Range<usize>) -> bool {
        let Some((low, high, count)) = self.span(rows) else { return false };
        let near = self.cadence * 8 / 5;
        let before = self.sorted.partition_point(|t| *t < low).checked_sub(1).and_then(|i| self.sorted.get(i));
        let after = self.sorted.get(self.sorted.partition_point(|t| *t <= high));
        let snug = before.is_some_and(|t| low.saturating_sub(*t) <= near)
            || after.is_some_and(|t| t.saturating_sub(high) <= near);
        snug && self.others_between(low, high, count) == 0
    }

    /// Rows outside the longest series of `rows` that does not fall in time, in groups that follow each other.
    fn out_of_order(&self, rows: &[usize]) -> Vec<(Vec<usize>, Flags)> {
        let times: Vec<i64> = rows.iter().filter_map(|i| self.times.get(*i).copied()).collect();
        let in_order = longest_rising(&times);
        let right: Vec<i64> = times.iter().zip(&in_order).filter(|(_, is)| **is).map(|(t, _)| *t).collect();
        let (Some(first), Some(last)) = (right.first(), right.last()) else { return Vec::new() };
        let mut groups: Vec<Vec<usize>> = Vec::new();
        let mut open = false;
        for (row, is_in_order) in rows.iter().zip(&in_order) {
            match (is_in_order, open, groups.last_mut()) {
                (false, true, Some(group)) => group.push(*row),
                (false, ..) => groups.push(vec![*row]),
                (true, ..) => {}
            }
            open = !is_in_order;
        }
        let flag = |group: &[usize]| {
            let Some((low, high, count)) = self.span(group.iter().copied()) else { return Flags::LATE };
            let beyond = low.saturating_sub(*last) > 3 * self.cadence;
            let before = first.saturating_sub(high) > (10 * self.cadence).max(MICROS_PER_DAY);
            // Late rows fill a gap; the rows of a clock that was set back lie among those written before.
            let among = count > 1 && self.others_between(low, high, count) * 2 >= count;
            if beyond || before || among { Flags::CLOCK_JUMP } else { Flags::LATE }
        };
        groups.into_iter().map(|group| (flag(&group), group)).map(|(flag, group)| (group, flag)).collect()
    }
}

fn step(pair: &[i64]) -> Option<i64> {
    Some(pair.last()?.saturating_sub(*pair.first()?))
}

/// Marks one longest subsequence that does not fall (patience sorting).
fn longest_rising(times: &[i64]) -> Vec<bool> {
    let mut tails: Vec<usize> = Vec::new();
    let mut previous: Vec<Option<usize>> = Vec::with_capacity(times.len());
    for (i, time) in times.iter().enumerate() {
        let length = tails.partition_point(|tail| times.get(*tail).is_some_and(|t| t <= time));
        previous.push(length.checked_sub(1).and_then(|l| tails.get(l).copied()));
        match tails.get_mut(length) {
            Some(tail) => *tail = i,
            None => tails.push(i),
        }
    }
    let mut marked = vec![false; times.len()];
    let mut at = tails.last().copied();
    while let Some(i) = at {
        if let Some(mark) = marked.get_mut(i) {
            *mark = true;
        }
        at = previous.get(i).copied().flatten();
    }
    marked
}

#[cfg(test)]
mod tests {
    use super::*;

    const QUARTER: i64 = 15 * 60 * 1_000_000;

    /// Times in quarters of an hour to flags, as (row, flag) of the flagged.
    fn flagged(quarters: &[f64]) -> Vec<(usize, &'static str)> {
        let times: Vec<i64> = quarters.iter().map(|q| (q * QUARTER as f64) as i64).collect();
        let flags = flags_of(&times);
        flags.iter().enumerate().filter(|(_, f)| !f.is_empty()).map(|(i, f)| (i, f.names().next().unwrap())).collect()
    }

    fn regular(n: usize) -> Vec<f64> {
        (0..n).map(|i| i as f64).collect()
    }

    #[test]
    fn a_gap_alone_is_neither_late_nor_a_jump() {
        let mut log = regular(50);
        log.iter_mut().skip(20).for_each(|t| *t += 300.0);
        assert_eq!(flagged(&log), []);
    }

    #[test]
    fn a_row_written_later_is_late() {
        let mut log = regular(50);
        let moved = log.remove(10);
        log.insert(30, moved);
        assert_eq!(flagged(&log), [(30, "late")]);
        log.swap(40, 41);
        assert_eq!(flagged(&log).len(), 2);
        assert!(flagged(&log).iter().all(|(_, flag)| *flag == "late"));
        // The row after the late one is missing, so that the log goes on two cadences later.
        log.remove(31);
        assert_eq!(flagged(&log).first(), Some(&(30, "late")));
    }

    #[test]
    fn buffers_delivered_late_are_late_beside_gaps_and_each_other() {
        let quarters = |range: Range<i32>| range.map(f64::from);
        // A gap (40 to 74) as long as the step back, and two buffers (101 to 122, 137 to 151), the second of rows from among those
        // written before the first.
        let log: Vec<f64> = quarters(0..40)
            .chain(quarters(74..101))
            .chain(quarters(123..137))
            .chain(quarters(152..156))
            .chain(quarters(101..123))
            .chain(quarters(156..174))
            .chain(quarters(137..152))
            .chain(quarters(174..200))
            .collect();
        let flags = flagged(&log);
        assert!(flags.iter().all(|(_, flag)| *flag == "late"), "{flags:?}");
        assert_eq!(flags.len(), 22 + 15);
        assert!(
            flags.iter().all(|(row, _)| (101.0..152.0).contains(&log[*row]) && !(123.0..137.0).contains(&log[*row]))
        );
    }

    #[test]
    fn a_buffer_delivered_late_is_late() {
        let mut log: Vec<f64> = regular(20);
        log.push(30.0);
        log.extend((20..30).map(f64::from));
        log.extend((31..60).map(f64::from));
        let flags = flagged(&log);
        assert!(!flags.is_empty() && flags.iter().all(|(_, flag)| *flag == "late"), "{flags:?}");
    }

    #[test]
    fn a_clock_that_jumps_and_is_set_right_is_flagged_in_between() {
        for shift in [12.3, -12.3, 9e6, -9e4] {
            let mut log = regular(100);
            log.iter_mut().skip(40).take(10).for_each(|t| *t += shift);
            let expected: Vec<_> = (40..50).map(|i| (i, "clock_jump")).collect();
            assert_eq!(flagged(&log), expected, "{shift}");
        }
    }

    #[test]
    fn a_clock_set_back_for_good_is_flagged_where_it_repeats() {
        let mut log = regular(100);
        log.iter_mut().skip(40).for_each(|t| *t -= 8.4);
        let flags = flagged(&log);
        assert!((7..=9).contains(&flags.len()) && flags.iter().all(|(_, flag)| *flag == "clock_jump"), "{flags:?}");
        let mut log = regular(100);
        log.iter_mut().skip(80).for_each(|t| *t -= 3e6);
        assert_eq!(flagged(&log), (80..100).map(|i| (i, "clock_jump")).collect::<Vec<_>>());
    }

    #[test]
    fn a_log_in_no_order_tells_nothing_of_its_clock() {
        // A step of 37 modulo 100 goes back about once in three rows.
        let log: Vec<f64> = (0..100).map(|i| f64::from(i * 37 % 100)).collect();
        assert_eq!(flagged(&log), []);
    }

    #[test]
    fn a_log_in_local_time_without_a_zone_loses_an_hour_not_a_summer() {
        let mut log = regular(40_000);
        log.iter_mut().skip(5_000).take(20_000).for_each(|t| *t += 4.0);
        let flags = flagged(&log);
        assert!(flags.len() <= 8, "{}", flags.len());
    }
}
