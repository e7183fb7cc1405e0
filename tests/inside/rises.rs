//! Hours that a rise betrays.

use super::*;

const LEAST: f64 = 0.002;

/// Beer that falls from 1.050 to 1.010 around hour 60, read every quarter of an hour with a ripple, plus what befalls the probe.
fn spans(befalls: impl Fn(f64) -> f64, sugar_hours: &[f64]) -> Vec<(f64, f64)> {
    let hours: Vec<f64> = (0..800).map(|i| 0.25 * f64::from(i)).collect();
    let beer = |t: f64| 1.010 + 0.040 / (1.0 + ((t - 60.0) / 14.0).exp());
    let values: Vec<f64> = hours.iter().map(|t| beer(*t) + 0.0003 * (7.3 * t).sin() + befalls(*t)).collect();
    let found = rises(&hours, &values, LEAST, &[], sugar_hours, |_, _| true);
    found.iter().map(|span| (hours[span.start], hours[span.end])).collect()
}

/// Foam that grows over six hours from `from` and goes down over six to `to`.
fn crust(size: f64, from: f64, to: f64) -> impl Fn(f64) -> f64 {
    move |t| size * ((t - from) / 6.0).min((to - t) / 6.0).clamp(0.0, 1.0)
}

#[test]
fn beer_alone_has_none() {
    assert_eq!(spans(|_| 0.0, &[]), []);
    assert_eq!(spans(|t| if t > 100.0 { -0.006 } else { 0.0 }, &[]), []);
    assert_eq!(spans(|t| if t > 100.0 { 0.006 } else { 0.0 }, &[]), []);
}

#[test]
fn foam_that_comes_and_goes_slowly_is_found_with_both_ends() {
    for (size, from, to) in [(-0.010, 40.0, 70.0), (-0.006, 66.0, 90.0), (0.010, 80.0, 110.0), (-0.005, 120.0, 150.0)] {
        let found = spans(crust(size, from, to), &[]);
        assert_eq!(found.len(), 1, "{size} {from}: {found:?}");
        assert!((found[0].0 - from).abs() < 4.0 && (found[0].1 - to).abs() < 4.0, "{size} {from}: {found:?}");
    }
}

#[test]
fn sugar_explains_a_rise() {
    let sugared = |t: f64| 0.008 * ((t - 120.0) / 8.0).clamp(0.0, 1.0) * (-(t - 128.0).max(0.0) / 20.0).exp();
    assert_eq!(spans(sugared, &[121.0]), []);
    assert!(!spans(crust(-0.010, 40.0, 70.0), &[121.0]).is_empty());
}

#[test]
fn what_is_held_anyway_counts_for_nothing() {
    let hours: Vec<f64> = (0..100).map(f64::from).collect();
    let values: Vec<f64> = hours.iter().map(|t| 1.05 - 4e-4 * t + crust(-0.010, 40.0, 70.0)(*t)).collect();
    let held = 40..70;
    assert!(rises(&hours, &values, LEAST, &[held], &[], |_, _| true).is_empty());
    assert!(rises(&hours, &values, LEAST, &[], &[], |_, _| false).is_empty());
    assert_eq!(rises(&hours, &values, LEAST, &[], &[], |_, _| true).len(), 1);
}

#[test]
fn few_readings_have_none() {
    assert!(rises(&[0.0, 1.0, 2.0], &[1.02, 1.05, 1.05], LEAST, &[], &[], |_, _| true).is_empty());
    assert!(rises(&[], &[], LEAST, &[], &[], |_, _| true).is_empty());
}
