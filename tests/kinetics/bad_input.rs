//! Data that no fermentation should look like: each has a defined outcome, and none panics.

use heelwort::kinetics::{BatchFit, Clock, IntervalMethod, KineticsSettings, Source, Status, Trait};
use heelwort::season::{Flags, GravitySeries, SeriesProbe};

use crate::process::{Log, Process, Truth, generator, normal};

fn truth(seed: u64) -> Truth {
    Truth::new(Process::Sugars, 1.050, 1.012, 1.0, &mut generator(seed))
}

fn series(seed: u64, log: Log) -> GravitySeries {
    log.series(&truth(seed), "B1", "samphire", &mut generator(seed + 100))
}

fn fit(series: &GravitySeries) -> BatchFit {
    let fit = KineticsSettings::default().fit(series).unwrap();
    // Whatever came out can be shown, and what is missing says why.
    assert!(!fit.to_string().is_empty());
    for which in Trait::ALL {
        match fit.finding(which).estimate() {
            Some(e) => assert!(e.value.is_finite() && e.se.is_finite() && e.lower <= e.upper, "{which}: {e}"),
            None => assert!(fit.finding(which).why().is_some_and(|why| !why.is_empty()), "{which} says no reason"),
        }
    }
    fit
}

/// A probe's readings of a given course.
fn readings(hours: impl Iterator<Item = f64>, sg: impl Fn(f64) -> f64, seed: u64) -> GravitySeries {
    let mut rng = generator(seed);
    let mut series = GravitySeries::empty("B1", "samphire", heelwort::Instant::from_micros(0));
    series.probes.push(SeriesProbe { probe: "dunlin".into(), offset_sd: 8e-4 });
    for (i, h) in hours.enumerate() {
        series.rows.push(i);
        series.hours.push(h);
        series.sg.push(sg(h) + 4e-4 * normal(&mut rng));
        series.own_sd.push(4e-4);
        series.shared_sd.push(5e-4);
        series.temp_c.push(19.0);
        series.probe.push(0);
    }
    series
}

fn every_half_hour(until: f64) -> impl Iterator<Item = f64> {
    (0..(2.0 * until) as u32).map(|i| 0.5 * f64::from(i))
}

#[test]
fn a_flat_batch_has_not_started() {
    let fit = fit(&readings(every_half_hour(60.0), |_| 1.050, 1));
    assert_eq!(fit.status, Status::NotStarted);
    let original = fit.finding(Trait::OriginalSg).estimate().unwrap();
    assert!((original.value - 1.050).abs() < 0.001 && original.se > 5e-4, "{original}");
    assert!(fit.finding(Trait::LagH).why().unwrap().contains("not fallen"));
    assert!(fit.status_probability.value().unwrap() > 0.99 && fit.status_since_h == Some(0.0));
}

#[test]
fn a_rising_gravity_is_no_fermentation() {
    let fit = fit(&readings(every_half_hour(100.0), |h| 1.020 + 2e-4 * h, 2));
    assert!(fit.fitted.is_none() && fit.status == Status::NotStarted, "{fit}");
}

#[test]
fn two_batches_glued_together_are_called_restarted_or_left_with_wide_errors() {
    let first = truth(3);
    let glued = |h: f64| if h < 200.0 { first.sg(h) } else { first.sg(h - 200.0) };
    let fit = fit(&readings(every_half_hour(400.0), glued, 3));
    // The second batch begins 0.038 above where the first ended: no falling curve runs through both.
    let told = fit.fitted.is_none()
        || fit.status == Status::Restarted
        || fit.rmse_sg.is_some_and(|rmse| rmse > 0.003)
        || fit.flags.len() > 50;
    assert!(told, "{fit}");
}

#[test]
fn a_fermentation_that_begins_again_after_a_rest_is_told_with_its_hour() {
    let again = |h: f64| {
        let first = 1.020 + 0.030 / (1.0 + (0.15 * (h - 30.0)).exp());
        if h < 220.0 { first } else { 1.020 - 0.008 * (1.0 - (-(h - 220.0) / 15.0).exp()) }
    };
    let fit = fit(&readings(every_half_hour(330.0), again, 4));
    assert_eq!(fit.status, Status::Restarted);
    let since = fit.status_since_h.unwrap();
    assert!((since - 220.0).abs() < 12.0, "{since}");
    assert!(fit.status_probability.value().unwrap() > 0.95);
}

#[test]
fn a_gap_of_days_widens_what_it_hides() {
    let whole = series(5, Log::default());
    let mut holed = whole.clone();
    let kept: Vec<usize> = (0..whole.hours.len()).filter(|i| !(20.0..92.0).contains(&whole.hours[*i])).collect();
    let keep = |values: &[f64]| kept.iter().map(|i| values[*i]).collect::<Vec<_>>();
    holed.hours = keep(&whole.hours);
    holed.sg = keep(&whole.sg);
    holed.own_sd = keep(&whole.own_sd);
    holed.shared_sd = keep(&whole.shared_sd);
    holed.temp_c = keep(&whole.temp_c);
    holed.rows = kept.clone();
    holed.probe = vec![0; kept.len()];
    let (whole, holed) = (fit(&whole), fit(&holed));
    let se = |fit: &BatchFit, which| fit.finding(which).se().unwrap();
    assert!(se(&holed, Trait::MaxRateSgPerDay) > 1.5 * se(&whole, Trait::MaxRateSgPerDay));
    assert!(se(&holed, Trait::MidH) > se(&whole, Trait::MidH));
}

#[test]
fn a_clock_that_jumped_back_is_kept_in_order_and_fitted() {
    // The season flags and sorts such readings; a series is in order of time, here with two readings of one moment.
    let mut jumped = series(6, Log::default());
    let n = jumped.hours.len();
    for i in 200..n {
        jumped.hours[i] -= 0.25;
    }
    let fit = fit(&jumped);
    assert!(fit.finding(Trait::MidH).estimate().is_some(), "{fit}");
}

#[test]
fn ten_readings_give_what_can_be_had() {
    let log =
        Log { every_h: 12.0, until_h: 108.0, original_sd: None, final_sample_sd: None, spoiled: 0.0, ..Log::default() };
    let few = series(7, log);
    assert_eq!(few.hours.len(), 10);
    let fit = fit(&few);
    assert!(fit.finding(Trait::OriginalSg).estimate().is_some() || fit.status == Status::TooFewData, "{fit}");
    let mut four = few.clone();
    for column in [&mut four.hours, &mut four.sg, &mut four.own_sd, &mut four.shared_sd, &mut four.temp_c] {
        column.truncate(4);
    }
    four.rows.truncate(4);
    four.probe.truncate(4);
    let fit = self::fit(&four);
    assert_eq!(fit.status, Status::TooFewData);
    assert!(fit.why.contains("points"), "{}", fit.why);
}

#[test]
fn a_constant_temperature_keeps_real_time_and_none_says_so() {
    let steady = series(8, Log::default());
    let fit = self::fit(&steady);
    assert_eq!(fit.fitted.as_ref().unwrap().clock, Clock::Real);
    let mut unknown = steady.clone();
    unknown.temp_c.fill(f64::NAN);
    let kinetics = KineticsSettings { candidates: false, ..Default::default() }.fit_all(&[steady, unknown]).unwrap();
    let [known, without] = kinetics.batches.as_slice() else { panic!("two batches") };
    let (real, thermal) = (known.finding(Trait::MidH).value().unwrap(), known.at_reference.mid_h.value().unwrap());
    // At 19 C the clock of 20 C runs slower: exp(-52.4/R (1/292.15 - 1/293.15)).
    let pace = (-52.4 / 8.314_462_618e-3 * (1.0 / 292.15 - 1.0 / 293.15_f64)).exp();
    assert!((thermal / real - pace).abs() < 1e-6, "{thermal} {real}");
    assert!(without.at_reference.mid_h.why().unwrap().contains("no temperatures"));
    assert_eq!(without.finding(Trait::MidH).value(), known.finding(Trait::MidH).value());
    let frame = kinetics.to_frame().unwrap();
    assert_eq!(frame.column("clock").unwrap().str().unwrap().get(0), Some("real"));
}

#[test]
fn a_rise_of_temperature_midway_is_told_by_thermal_time() {
    // The same yeast on thermal time, warmed by 6 C at hour 40.
    let first = truth(9);
    let mut warmed = readings(every_half_hour(240.0), |_| 1.0, 9);
    let temp = |h: f64| if h < 40.0 { 16.0 } else { 22.0 };
    let pace = |h: f64| (-52.4 / 8.314_462_618e-3 * (1.0 / (temp(h) + 273.15) - 1.0 / 293.15_f64)).exp();
    let mut rng = generator(10);
    let (mut tau, mut taus) = (0.0, Vec::new());
    for i in 0..warmed.hours.len() {
        let h = warmed.hours[i];
        warmed.temp_c[i] = temp(h);
        // Gas delays what the probe shows by an hour and a half, as is assumed where nothing is known.
        taus.push(tau);
        warmed.sg[i] = first.sg(taus[i.saturating_sub(3)]) + 4e-4 * normal(&mut rng);
        tau += 0.5 * pace(h);
    }
    let fit = fit(&warmed);
    assert_eq!(fit.fitted.as_ref().unwrap().clock.name(), "thermal");
    let kinetics = KineticsSettings { candidates: false, ..Default::default() }.fit_all(&[warmed]).unwrap();
    let mid = kinetics.batches[0].at_reference.mid_h.estimate().unwrap();
    let right = first.time_of_progress_h(0.5);
    assert!(mid.lower <= right && right <= mid.upper, "{mid}, right {right}");
    assert!((mid.value / right - 1.0).abs() < 0.05, "{mid}, right {right}");
}

#[test]
fn two_probes_are_one_curve_with_an_offset_each() {
    let truth = truth(11);
    let mut both = readings(every_half_hour(220.0), |h| truth.sg(h) + 0.002, 11);
    let other = readings(every_half_hour(220.0), |h| truth.sg(h) - 0.001, 12);
    both.probes[0].offset_sd = 2e-3;
    both.probes.push(SeriesProbe { probe: "knot".into(), offset_sd: 2e-3 });
    let mut rows: Vec<(f64, f64, u32)> = both.hours.iter().zip(&both.sg).map(|(h, s)| (*h, *s, 0)).collect();
    rows.extend(other.hours.iter().zip(&other.sg).map(|(h, s)| (*h, *s, 1)));
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = rows.len();
    both.hours = rows.iter().map(|r| r.0).collect();
    both.sg = rows.iter().map(|r| r.1).collect();
    both.probe = rows.iter().map(|r| r.2).collect();
    both.rows = (0..n).collect();
    (both.own_sd, both.shared_sd, both.temp_c) = (vec![4e-4; n], vec![5e-4; n], vec![19.0; n]);
    let fit = fit(&both);
    assert_eq!(fit.offsets.len(), 2);
    let of = |i: usize| fit.offsets[i].offset_sg.value().unwrap();
    assert!((of(0) - of(1) - 0.003).abs() < 3e-4, "{} {}", of(0), of(1));
    // Neither is right by itself: the error of the level stays that of two offsets.
    let se = fit.finding(Trait::TerminalSg).se().unwrap();
    assert!(se > 0.7 * 2e-3 / 2.0_f64.sqrt(), "{se}");
}

#[test]
fn outliers_are_flagged_and_stay_in_the_series() {
    let mut spoiled = series(13, Log { spoiled: 0.0, ..Log::default() });
    for i in [100, 301, 555] {
        spoiled.sg[i] += 0.012;
    }
    let before = spoiled.clone();
    let fit = fit(&spoiled);
    assert_eq!(spoiled, before);
    for i in [100, 301, 555] {
        let row = spoiled.rows[i];
        assert!(fit.flags.iter().any(|(r, flag)| *r == row && flag.intersects(Flags::OUTLIER)), "row {row}");
    }
    assert!(fit.points.iter().any(|p| matches!(p.source, Source::Probe(0))));
}

#[test]
fn intervals_by_profile_and_bootstrap_are_near_those_of_the_delta_method() {
    let batch = series(14, Log { spoiled: 0.0, ..Log::default() });
    let [delta, profile, bootstrap] = [IntervalMethod::Delta, IntervalMethod::Profile, IntervalMethod::Bootstrap]
        .map(|interval| KineticsSettings { interval, ..Default::default() }.fit(&batch).unwrap());
    for which in [Trait::OriginalSg, Trait::TerminalSg, Trait::MidH, Trait::MaxRateSgPerDay] {
        let of = |fit: &BatchFit| fit.finding(which).estimate().unwrap().clone();
        let (delta, profile, bootstrap) = (of(&delta), of(&profile), of(&bootstrap));
        let width = delta.upper - delta.lower;
        for (other, method) in [(profile, "profile"), (bootstrap, "bootstrap")] {
            assert!(other.method.contains(method), "{other}");
            let ratio = (other.upper - other.lower) / width;
            assert!((0.5..1.7).contains(&ratio), "{which}: {delta} {other}");
            assert!(other.lower < other.upper && other.lower < delta.upper && delta.lower < other.upper, "{other}");
        }
    }
    let hours = [10.0, 40.0, 120.0];
    let (band, one) = (delta.band(&hours, 0.9).unwrap(), delta.prediction(&hours, 4e-4, 0.9).unwrap());
    for (band, one) in band.iter().zip(&one) {
        assert!(one.value == band.value && one.se > band.se.hypot(3e-4), "{band} {one}");
    }
}
