//! What a series leaves out.

use super::*;

#[test]
fn what_no_beer_has_is_left_out_unless_the_probe_reads_nothing_else() {
    let series = |lean: std::ops::Range<usize>| {
        let sg = |i: usize| if lean.contains(&i) { 0.960 } else { 1.010 };
        // Too far apart for edges.
        let hours = (0..40).map(|i| 5.0 * f64::from(i)).collect();
        let mut series = GravitySeries {
            hours,
            sg: (0..40).map(sg).collect(),
            ..GravitySeries::empty("b", "s", Instant::from_micros(0))
        };
        (series.rows, series.probe) = ((0..40).collect(), vec![0; 40]);
        series.probes = vec![SeriesProbe { probe: "knot".to_owned(), offset_sd: 0.002 }];
        series.own_sd = vec![0.0005; 40];
        series.shared_sd = vec![0.0005; 40];
        series.temp_c = vec![20.0; 40];
        series.without_episodes()
    };
    let some = series(30..35);
    assert_eq!(some.held.iter().map(|held| held.row).collect::<Vec<_>>(), [30, 31, 32, 33, 34]);
    assert_eq!((some.sg.len(), some.sg.iter().copied().fold(2.0, f64::min)), (35, 1.010));
    assert!(series(5..35).held.is_empty());
}
