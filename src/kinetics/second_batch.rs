//! Gravity that rises at once and stays up: a fermentation makes none.

use super::point::{BatchPoint, median};

/// Readings on each side of a rise whose medians are compared, and the fewest that do.
const SIDE: usize = 5;
const LEAST_SIDE: usize = 3;

assumed! {
    /// The least rise: less is sugar added, a deposit or a knock.
    const RISE_SG: f64 = 0.015, "SG";
    /// The least rise as a share of the fall before it.
    const RISE_SHARE: f64 = 0.5, "share";
    /// The least fall before it: a probe may settle on its first readings.
    const FALL_SG: f64 = 0.010, "SG";
    /// What follows for so long at least must keep half of the rise: foam does not.
    const HELD_LEAST_H: f64 = 12.0, "h";
    /// So much of what follows is looked at, and of what was read before.
    const HELD_H: f64 = 24.0, "h";
}

/// A rise of gravity that lasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rise {
    /// The first reading after it.
    pub from: usize,
    /// Hours from pitching.
    pub hours: f64,
    pub by_sg: f64,
}

/// The first lasting rise back towards an original gravity, in readings of one probe, or samples, in order of time.
pub(crate) fn rise(readings: &[BatchPoint]) -> Option<Rise> {
    let middle = |of: &[BatchPoint]| median(&mut of.iter().map(|p| p.sg).collect::<Vec<_>>());
    let mut lowest = f64::INFINITY;
    let rises = readings.iter().any(|p| {
        lowest = lowest.min(p.sg);
        p.sg - lowest > *RISE_SG
    });
    if !rises {
        return None;
    }
    let mut highest = f64::NEG_INFINITY;
    let found = (1..readings.len()).find_map(|i| {
        let (past, rest) = readings.split_at(i);
        let before = past.get(past.len().saturating_sub(SIDE)..).filter(|side| side.len() >= LEAST_SIDE)?;
        let level = middle(before);
        highest = highest.max(level);
        let least = RISE_SG.max(*RISE_SHARE * (highest - level));
        let after = rest.get(..SIDE.min(rest.len())).filter(|side| side.len() >= LEAST_SIDE)?;
        let by_sg = middle(after) - level;
        // A probe that read too low for some hours comes back to where it was.
        let lately = past.partition_point(|p| past.last().is_some_and(|last| p.hours < last.hours - *HELD_H));
        let back = middle(after) - middle(past.get(lately..).filter(|side| side.len() >= LEAST_SIDE).unwrap_or(before));
        if back <= least || highest - level <= *FALL_SG || by_sg <= least {
            return None;
        }
        let held_h = rest.last()?.hours - rest.first()?.hours;
        let held = rest.partition_point(|p| p.hours <= rest.first().map_or(0.0, |first| first.hours) + *HELD_H);
        let held = rest.get(..held.max(LEAST_SIDE))?;
        (held_h >= *HELD_LEAST_H && middle(held) - level > 0.5 * by_sg).then_some((i, by_sg))
    })?;
    // Medians tell of a rise some readings before it comes: it is at the greatest step among them.
    let (first, by_sg) = found;
    let step = |i: &usize| Some(readings.get(*i)?.sg - readings.get(i.checked_sub(1)?)?.sg);
    let from = (first..(first + SIDE).min(readings.len())).max_by(|a, b| {
        let (a, b) = (step(a).unwrap_or(0.0), step(b).unwrap_or(0.0));
        a.total_cmp(&b)
    })?;
    Some(Rise { from, hours: readings.get(from)?.hours, by_sg })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kinetics::PointSource;

    fn points(sg: impl Fn(f64) -> f64, every_h: f64, until_h: f64) -> Vec<BatchPoint> {
        let at = |hours: f64| BatchPoint::at(hours, sg(hours), PointSource::Probe(0));
        (0..(until_h / every_h) as u32).map(|i| at(every_h * f64::from(i))).collect()
    }

    fn fall(hours: f64) -> f64 {
        1.012 + 0.038 / (1.0 + (0.1 * (hours - 40.0)).exp())
    }

    #[test]
    fn another_batch_is_found_at_its_first_reading() {
        for every_h in [0.25, 1.0, 6.0] {
            let glued = points(|h| if h < 200.0 { fall(h) } else { fall(h - 200.0) }, every_h, 400.0);
            let found = rise(&glued).unwrap();
            assert!((found.hours - 200.0).abs() <= every_h, "{found:?}");
            assert!((found.by_sg - 0.037).abs() < 0.004, "{found:?}");
        }
    }

    #[test]
    fn foam_added_sugar_and_a_slow_rise_are_none() {
        let foam = points(|h| fall(h) + if (100.0..108.0).contains(&h) { 0.03 } else { 0.0 }, 0.25, 300.0);
        let sugar = points(|h| fall(h) + if h > 100.0 { 0.008 } else { 0.0 }, 0.25, 300.0);
        let slow = points(|h| fall(h) + 1e-4 * h, 0.25, 400.0);
        let last = points(|h| if h < 290.0 { fall(h) } else { 1.05 }, 0.25, 300.0);
        let low = points(|h| fall(h) - if (30.0..37.0).contains(&h) { 0.025 } else { 0.0 }, 0.25, 300.0);
        for none in [foam, sugar, slow, last, low] {
            assert_eq!(rise(&none), None);
        }
    }
}
