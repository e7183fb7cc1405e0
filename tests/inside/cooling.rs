//! When the cooling of a batch began, from its logged temperature.

use super::*;

fn log(temp: impl Fn(f64) -> f64, until: f64) -> (Vec<f64>, Vec<f64>) {
    let hours: Vec<f64> = (0..(until * 4.0) as u32).map(|i| f64::from(i) / 4.0).collect();
    let temps = hours.iter().map(|&h| temp(h)).collect();
    (hours, temps)
}

#[test]
fn a_cold_crash_is_dated_at_its_start() {
    let (hours, temps) = log(|h| if h < 200.0 { 20.0 } else { (20.0 - (h - 200.0) * 0.8).max(3.0) }, 300.0);
    let at = fall(&hours, &temps).unwrap();
    assert!((at - 201.0).abs() < 1.5, "{at}");
}

#[test]
fn a_rise_a_night_and_a_warm_start_are_no_cooling() {
    let (hours, temps) = log(|h| 19.0 + (h / 60.0).min(3.0), 300.0);
    assert_eq!(fall(&hours, &temps), None);
    let (hours, temps) = log(|h| 18.0 + 2.5 * (h * 0.2618).sin(), 300.0);
    assert_eq!(fall(&hours, &temps), None);
    let (hours, temps) = log(|h| 18.0 + 10.0 * (-h / 5.0).exp(), 300.0);
    assert_eq!(fall(&hours, &temps), None);
    let (hours, temps) = log(|h| if (150.0..160.0).contains(&h) { 8.0 } else { 20.0 }, 300.0);
    assert_eq!(fall(&hours, &temps), None);
    let (hours, temps) = log(|h| if (150.0..190.0).contains(&h) { 15.0 } else { 22.0 }, 400.0);
    assert_eq!(fall(&hours, &temps), None, "a heater that failed");
    let (hours, temps) = log(|h| 19.0 + 7.0 * (-((h - 45.0) / 25.0).powi(2)).exp(), 300.0);
    assert_eq!(fall(&hours, &temps), None, "beer that warmed itself");
}

#[test]
fn a_free_rise_before_the_crash_is_no_fall_itself() {
    let (hours, temps) = log(
        |h| {
            if h < 100.0 {
                18.0
            } else if h < 200.0 {
                22.0
            } else {
                2.0
            }
        },
        260.0,
    );
    let at = fall(&hours, &temps).unwrap();
    assert!((at - 200.0).abs() < 1.0, "{at}");
}
