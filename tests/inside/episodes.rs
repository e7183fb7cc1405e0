//! Hours in which something held, loaded or lifted a probe.

use super::*;

const LEAST: f64 = 0.002;

/// Beer that falls from 1.050 to 1.010 around hour 60, read every quarter of an hour with a ripple, plus what befalls the probe.
fn read(befalls: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
    let hours: Vec<f64> = (0..800).map(|i| 0.25 * f64::from(i)).collect();
    let beer = |t: f64| 1.010 + 0.040 / (1.0 + ((t - 60.0) / 14.0).exp());
    let values = hours.iter().map(|t| beer(*t) + 0.0003 * (7.3 * t).sin() + befalls(*t)).collect();
    (hours, values)
}

fn spans(befalls: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let (hours, values) = read(befalls);
    episodes(&hours, &values, &[], LEAST, &[], &[])
        .held
        .iter()
        .map(|span| (hours[span.start], hours[span.end]))
        .collect()
}

#[test]
fn beer_alone_and_a_lasting_step_have_no_episode() {
    assert_eq!(spans(|_| 0.0), []);
    assert_eq!(spans(|t| if t > 100.0 { 0.006 } else { 0.0 }), []);
    assert_eq!(spans(|t| if t > 150.0 { -0.006 } else { 0.0 }), []);
}

#[test]
fn a_step_between_two_levels_lasts() {
    let lasting = |befalls: &dyn Fn(f64) -> f64| {
        let (hours, values) = read(befalls);
        let found = episodes(&hours, &values, &[], LEAST, &[], &[]).lasting;
        found.iter().map(|edge| (hours[edge.at], edge.size)).collect::<Vec<_>>()
    };
    assert_eq!(lasting(&|_| 0.0), []);
    assert_eq!(lasting(&|t| if (70.0..85.0).contains(&t) { 0.012 } else { 0.0 }), []);
    assert_eq!(lasting(&|t| if (60.0..80.0).contains(&t) { 0.012 * (t - 60.0) / 20.0 } else { 0.0 }), []);
    // In the fall it may be one end of an episode, days before the end as well; a level of ten hours is none yet.
    for from in [40.0, 100.0, 190.0] {
        assert_eq!(lasting(&|t| if t >= from { 0.012 } else { 0.0 }), []);
    }
    for (from, size) in [(130.0, 0.006), (180.0, -0.018)] {
        let found = lasting(&|t| if t >= from { size } else { 0.0 });
        assert_eq!(found.len(), 1, "{found:?}");
        assert!((found[0].0 - from).abs() < 0.6 && (found[0].1 - size).abs() < 0.002, "{found:?}");
    }
}

#[test]
fn a_wall_and_bubbles_are_found_with_both_ends() {
    for (size, to) in [(0.005, 85.0), (-0.005, 85.0), (0.012, 140.0)] {
        let found = spans(|t| if (70.0..to).contains(&t) { size } else { 0.0 });
        assert_eq!(found.len(), 1);
        assert!((found[0].0 - 70.0).abs() < 0.6 && (found[0].1 - to).abs() < 0.6, "{found:?}");
    }
}

#[test]
fn foam_that_grows_and_slides_off_is_found_from_where_it_began_to_show() {
    let found = spans(|t| if (60.0..80.0).contains(&t) { 0.012 * (t - 60.0) / 20.0 } else { 0.0 });
    assert_eq!(found.len(), 1);
    assert!((58.0..68.0).contains(&found[0].0) && (found[0].1 - 80.0).abs() < 0.6, "{found:?}");
}

#[test]
fn a_log_with_a_reading_every_two_hours_shows_them_too() {
    let (hours, values) = read(|t| if (100.0..130.0).contains(&t) { 0.008 } else { 0.0 });
    let every_2h = |all: &[f64]| all.iter().copied().step_by(8).collect::<Vec<f64>>();
    let (hours, values) = (every_2h(&hours), every_2h(&values));
    let found = episodes(&hours, &values, &[], LEAST, &[], &[]).held;
    assert_eq!(found.len(), 1);
    assert!((hours[found[0].start] - 100.0).abs() < 4.0 && (hours[found[0].end] - 130.0).abs() < 4.0, "{found:?}");
    let (_, free) = read(|_| 0.0);
    assert!(episodes(&hours, &every_2h(&free), &[], LEAST, &[], &[]).held.is_empty());
}

#[test]
fn the_steps_of_a_coarse_sensor_are_no_edges() {
    let (hours, values) = read(|_| 0.0);
    // One degree of a probe at its steepest is 0.004 SG; a fast beer falls through a step in an hour.
    let step = 0.004;
    let coarse: Vec<f64> = values.iter().map(|sg| (sg / step).round() * step).collect();
    let hours: Vec<f64> = hours.iter().map(|h| 0.4 * h).collect();
    let found = |sd: &[f64]| episodes(&hours, &coarse, sd, LEAST, &[], &[]).held;
    assert!(!found(&[]).is_empty());
    assert!(found(&vec![step / 12_f64.sqrt(); coarse.len()]).is_empty());
    // What lifts the probe by more than its steps is found all the same.
    let lifted: Vec<f64> =
        hours.iter().zip(&coarse).map(|(h, sg)| if (50.0..60.0).contains(h) { sg + 0.016 } else { *sg }).collect();
    let found = episodes(&hours, &lifted, &vec![step / 12_f64.sqrt(); lifted.len()], LEAST, &[], &[]).held;
    assert_eq!(found.len(), 1);
    assert!((hours[found[0].start] - 50.0).abs() < 0.6 && (hours[found[0].end] - 60.0).abs() < 0.6, "{found:?}");
}

#[test]
fn few_readings_have_none() {
    assert!(episodes(&[0.0, 1.0, 2.0], &[1.05, 1.02, 1.05], &[], LEAST, &[], &[]).held.is_empty());
    assert!(episodes(&[], &[], &[], LEAST, &[], &[]).held.is_empty());
}

/// Hops lift a probe, which sinks back by half before it comes free.
#[test]
fn readings_that_are_back_where_they_were_end_an_episode() {
    let found = spans(|t| if (110.0..130.0).contains(&t) { 0.012 - 0.006 * (t - 110.0) / 20.0 } else { 0.0 });
    assert_eq!(found.len(), 1);
    assert!((found[0].0 - 110.0).abs() < 0.6 && (found[0].1 - 130.0).abs() < 0.6, "{found:?}");
}

#[test]
fn what_came_first_after_a_gap_is_held_where_more_was_read_since() {
    let after_a_gap = |until_h: f64| {
        let (hours, values) = read(|t| if t < 135.0 { -0.016 } else { 0.0 });
        let seen: Vec<usize> =
            (0..hours.len()).filter(|i| (120.0..until_h).contains(&hours[*i]) || hours[*i] < 5.0).collect();
        let of = |column: &[f64]| seen.iter().map(|i| column[*i]).collect::<Vec<f64>>();
        let found = episodes(&of(&hours), &of(&values), &[], LEAST, &[], &[]);
        (found.held.iter().map(|span| span.len()).collect::<Vec<_>>(), found.lasting.len())
    };
    assert_eq!(after_a_gap(180.0), (vec![60], 0));
    assert_eq!(after_a_gap(148.0), (vec![], 1));
}

#[test]
fn a_step_where_something_was_done_lasts() {
    let (hours, values) = read(|t| if t > 70.0 { 0.006 } else { 0.0 });
    let lasting = |told: &[f64]| episodes(&hours, &values, &[], LEAST, &[], told).lasting.len();
    assert_eq!((lasting(&[]), lasting(&[50.0]), lasting(&[69.0])), (0, 0, 1));
}
