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
#[path = "../../../tests/inside/clock_of_a_log.rs"]
mod tests;
