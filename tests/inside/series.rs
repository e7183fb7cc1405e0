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

#[test]
fn a_jump_that_lasts_is_a_disturbance_of_its_probe_unless_sugar_was_added_or_the_beer_is_cold() {
    let jumps = |size: f64, sugar_hours: Vec<f64>, cooled_hours: Option<f64>| {
        let mut series = GravitySeries {
            hours: (0..120).map(f64::from).collect(),
            sg: (0..120).map(|i| 1.020 + if i < 60 { 0.0 } else { size }).collect(),
            sugar_hours,
            cooled_hours,
            ..GravitySeries::empty("b", "s", Instant::from_micros(0))
        };
        (series.rows, series.probe) = ((0..120).collect(), vec![0; 120]);
        series.probes = vec![SeriesProbe { probe: "knot".to_owned(), offset_sd: 0.002 }];
        for column in [&mut series.own_sd, &mut series.shared_sd, &mut series.temp_c] {
            *column = vec![0.0005; 120];
        }
        series.without_episodes().disturbed
    };
    let jump = |jump_sg| Disturbance { hours: 60.0, probe: Some(0), jump_sg };
    for size in [0.01, -0.01] {
        let found = jumps(size, Vec::new(), None);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0], jump(found[0].jump_sg));
        assert!((found[0].jump_sg - size).abs() < 1e-9, "{found:?}");
    }
    assert_eq!(jumps(0.01, vec![58.0], None), []);
    assert_eq!(jumps(-0.01, vec![58.0], None).len(), 1);
    assert_eq!(jumps(0.01, Vec::new(), Some(50.0)), []);
}
