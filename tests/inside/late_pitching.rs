//! Pitchings that are written down late.

use super::*;
use crate::simulate::SimulateSettings;

/// A season of a few batches, and by how many hours each pitching is off once the one at `place` was written `late_h` late.
fn off_h(late_h: f64, place: usize, thin: impl Fn(f64) -> bool) -> (Vec<f64>, usize) {
    let settings =
        SimulateSettings { batches: 6, probes: 3, span_days: 60.0, reading_minutes: 60.0, ..Default::default() };
    let mut season = SimulateSettings { defects: false, ..settings }.run().unwrap().season;
    let right: Vec<(String, Instant)> = season.batches.iter().map(|of| (of.batch.clone(), of.pitched_at)).collect();
    season.batches[place].pitched_at = right[place].1.plus_hours(late_h);
    // Loading a season knows only the names of probes and batches.
    let keep: Vec<bool> =
        (0..season.readings.len()).map(|row| thin(season.readings.at[row].hours_since(right[place].1))).collect();
    let mut kept = keep.iter();
    let order: Vec<usize> = (0..keep.len()).filter(|_| *kept.next().unwrap()).collect();
    season.readings.reorder(&order);
    let texts = move_late_pitchings(&season.readings, &mut season.batches).len();
    let found = |(batch, at): &(String, Instant)| season.batch(batch).unwrap().pitched_at.hours_since(*at);
    (right.iter().map(found).collect(), texts)
}

#[test]
fn a_late_pitching_is_put_where_the_readings_begin() {
    // The slow one has not fallen by three degrees within a day.
    assert_eq!(off_h(24.0, 4, |_| true).1, 0);
    for (place, late_h) in [(0, 24.0), (2, 24.0), (4, 48.0)] {
        let (off, texts) = off_h(late_h, place, |_| true);
        assert_eq!(texts, 1, "{off:?}");
        for (i, off) in off.iter().enumerate() {
            assert!(if i == place { (0.0..=8.0).contains(off) } else { *off == 0.0 }, "{i} {off}");
        }
    }
}

#[test]
fn a_pitching_stays_where_nothing_fell_before_it_or_nothing_was_read() {
    assert_eq!(off_h(0.0, 2, |_| true).1, 0);
    assert_eq!(off_h(1.0, 2, |_| true).1, 0);
    let (off, texts) = off_h(24.0, 2, |hours| !(-1.0..24.5).contains(&hours));
    assert_eq!((off[2], texts), (24.0, 0));
}
