//! Data that no fermentation should look like: each has a defined outcome, and none panics.

use heelwort::gravity::{GravitySeries, SeriesProbe, SeriesSample};
use heelwort::kinetics::{BatchFit, KineticsSettings, PointSource, Status, Trait};
use heelwort::season::Flags;

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
fn a_rising_gravity_is_no_fermentation_and_has_no_original_gravity() {
    let fit = fit(&readings(every_half_hour(100.0), |h| 1.020 + 2e-4 * h, 2));
    assert!(fit.fitted.is_none() && fit.status == Status::NotStarted, "{fit}");
    for which in Trait::ALL {
        let why = fit.finding(which).why().unwrap();
        assert!(why.contains("the gravity rises by 0.019") && why.contains("no fermentation"), "{which}: {why}");
    }
}

/// Two batches under one name: the first is fitted as if it stood alone, the rest is flagged, and the words say when.
#[test]
fn of_two_batches_glued_together_the_first_is_fitted_and_the_change_is_named() {
    let first = truth(3);
    let second = Truth::new(Process::Weibull, 1.062, 1.014, 1.0, &mut generator(33));
    let glued = |h: f64| if h < 200.0 { first.sg(h) } else { second.sg(h - 200.0) };
    let series = readings(every_half_hour(400.0), glued, 3);
    let mut alone = series.clone();
    cut(&mut alone, |hours| hours < 200.0);
    let (glued, alone) = (fit(&series), fit(&alone));
    assert_eq!(glued.status, alone.status);
    for which in Trait::ALL {
        assert_eq!(glued.finding(which), alone.finding(which), "{which}");
    }
    assert_eq!(glued.last_hours, alone.last_hours);
    let words = ["by dunlin rises by 0.049 at hour 200 (1970-01-09T08:00:00Z)", "another batch", "left out"];
    assert!(words.iter().all(|words| glued.why.contains(words)), "{}", glued.why);
    let outside: Vec<usize> =
        glued.flags.iter().filter(|(_, flag)| flag.intersects(Flags::OUTSIDE_BATCH)).map(|(row, _)| *row).collect();
    assert_eq!(outside, (400..800).collect::<Vec<_>>());
    // Of samples alone the same is told.
    let mut by_hand = GravitySeries::empty("B1", "samphire", heelwort::Instant::from_micros(0));
    let sample = |hours: f64, sg: f64| SeriesSample { hours, sg, sd: 1e-3, known_hours: hours, instrument: None };
    let at = |i: u32| 20.0 * f64::from(i);
    by_hand.samples =
        (0..18).map(|i| sample(at(i), if i < 9 { first.sg(at(i)) } else { second.sg(at(i - 9)) })).collect();
    let by_hand = fit(&by_hand);
    assert!(by_hand.why.contains("by samples rises by") && by_hand.why.contains("at hour 180"), "{}", by_hand.why);
    assert!(by_hand.last_hours == 160.0 && by_hand.n == 9, "{} {}", by_hand.last_hours, by_hand.n);
}

/// Of two probes one is put into another batch: the other tells how this one ends.
#[test]
fn a_probe_that_is_moved_is_left_out_from_then_on_and_the_other_stays() {
    let truth = truth(15);
    let mut both = readings(every_half_hour(240.0), |h| truth.sg(h), 15);
    let moved = readings(every_half_hour(240.0), |h| if h < 90.0 { truth.sg(h) } else { truth.sg(h - 90.0) }, 16);
    both.probes.push(SeriesProbe { probe: "knot".into(), offset_sd: 8e-4 });
    let n = both.hours.len();
    let of = |a: &[f64], b: &[f64]| a.iter().zip(b).flat_map(|(a, b)| [*a, *b]).collect::<Vec<_>>();
    both.hours = of(&both.hours, &moved.hours);
    both.sg = of(&both.sg, &moved.sg);
    both.probe = [0, 1].repeat(n);
    both.rows = (0..2 * n).collect();
    (both.own_sd, both.shared_sd, both.temp_c) = (vec![4e-4; 2 * n], vec![5e-4; 2 * n], vec![19.0; 2 * n]);
    let fit = fit(&both);
    assert!(fit.why.contains("by knot rises by") && fit.why.contains("at hour 90"), "{}", fit.why);
    assert!(!fit.why.contains("dunlin") && fit.last_hours > 238.0, "{}", fit.why);
    let terminal = fit.finding(Trait::TerminalSg).estimate().unwrap();
    assert!((terminal.value - truth.terminal_sg).abs() < 3.0 * terminal.se, "{terminal}");
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

/// The series with only the readings whose hours are kept.
fn cut(series: &mut GravitySeries, keep: impl Fn(f64) -> bool) {
    let kept: Vec<usize> = (0..series.hours.len()).filter(|i| keep(series.hours[*i])).collect();
    for column in [&mut series.hours, &mut series.sg, &mut series.own_sd, &mut series.shared_sd, &mut series.temp_c] {
        *column = kept.iter().map(|i| column[*i]).collect();
    }
    series.rows = kept.iter().map(|i| series.rows[*i]).collect();
    series.probe = kept.iter().map(|i| series.probe[*i]).collect();
}

/// Within three standard errors of the truth.
fn near(fit: &BatchFit, which: Trait, right: f64) {
    let found = fit.finding(which).estimate().unwrap();
    assert!((found.value - right).abs() < 3.0 * found.se, "{which}: {found}, right {right}");
}

#[test]
fn a_gap_of_days_widens_what_it_hides() {
    let (truth, whole) = (truth(5), series(5, Log::default()));
    let (mut holed, mut late) = (whole.clone(), whole.clone());
    cut(&mut holed, |hours| !(20.0..92.0).contains(&hours));
    cut(&mut late, |hours| hours >= 48.0);
    let [whole, holed, late] = [whole, holed, late].map(|series| fit(&series));
    let se = |fit: &BatchFit, which| fit.finding(which).se().unwrap();
    for gap in [&holed, &late] {
        assert!(se(gap, Trait::MaxRateSgPerDay) > 1.5 * se(&whole, Trait::MaxRateSgPerDay));
        assert!(se(gap, Trait::MidH) > se(&whole, Trait::MidH));
        for (which, right) in [
            (Trait::MaxRateSgPerDay, 24.0 * truth.steepest().0),
            (Trait::MidH, truth.time_of_progress_h(0.5)),
            (Trait::TerminalSg, truth.terminal_sg),
            (Trait::OriginalSg, truth.original_sg),
        ] {
            near(gap, which, right);
        }
        assert_eq!((gap.status, gap.why.as_str()), (Status::Finished, ""));
    }
    assert!(se(&late, Trait::LagH) > 2.0 * se(&whole, Trait::LagH));
}

/// Foam hides the fall, and the only sample of those hours is wrong by a lot, a little or nothing: nothing else speaks against
/// it there but the readings on both sides.
#[test]
fn a_wrong_sample_in_a_gap_is_left_out_and_a_right_one_stays() {
    let (mut square_h, mut out) = ([0.0, 0.0], [0, 0]);
    for seed in 30..42 {
        let (truth, mut gap) = (truth(seed), series(seed, Log::default()));
        let mid_h = truth.time_of_progress_h(0.5);
        cut(&mut gap, |hours| !(mid_h - 12.0..mid_h + 12.0).contains(&hours));
        for (kind, wrong_sg) in [0.0, 0.018].into_iter().enumerate() {
            let (hours, sg) = (mid_h + 8.0, truth.sg(mid_h + 8.0) + wrong_sg);
            let mut series = gap.clone();
            let sample = SeriesSample { hours, sg, sd: 1e-3, known_hours: hours, instrument: Some("h1".into()) };
            series.samples.push(sample);
            series.samples.sort_by(|a, b| a.hours.total_cmp(&b.hours));
            let fit = fit(&series);
            out[kind] += fit.points.iter().filter(|p| p.source != PointSource::Probe(0) && p.weight < 0.5).count();
            square_h[kind] += (fit.finding(Trait::MidH).value().unwrap() - mid_h).powi(2) / 12.0;
        }
    }
    println!("left out {out:?}; mid off by {square_h:?} h2");
    assert_eq!(out, [0, 12]);
    assert!(square_h[1] < 4.0 * square_h[0] + 0.25, "{square_h:?}");
}

/// The season sorts and flags what a clock that jumped back wrote, so that two readings may share a moment; hours that go
/// back have not been through it and are refused.
#[test]
fn a_clock_that_jumped_back_changes_little_and_hours_that_go_back_are_refused() {
    let straight = series(6, Log::default());
    let n = straight.hours.len();
    let back = |by_h: f64| {
        let mut jumped = straight.clone();
        (200..n).for_each(|i| jumped.hours[i] -= by_h);
        jumped
    };
    let (before, after) = (fit(&straight), fit(&back(0.25)));
    // The jump is after the middle.
    for (which, by_h) in [(Trait::MidH, 0.0), (Trait::T90H, -0.25)] {
        let (before, after) = (before.finding(which).estimate().unwrap(), after.finding(which).estimate().unwrap());
        assert!((after.value - before.value - by_h).abs() < 0.2, "{which}: {before} {after}");
    }
    let refused = KineticsSettings::default().fit(&back(6.0)).unwrap_err().to_string();
    assert!(refused.contains("batch B1 goes back in time, from hour 49.75 to 44.00"), "{refused}");
}

#[test]
fn ten_readings_give_a_curve_with_wide_errors_and_four_none() {
    let log =
        Log { every_h: 12.0, until_h: 108.0, original_sd: None, final_sample_sd: None, spoiled: 0.0, ..Log::default() };
    let mut few = series(7, log.clone());
    assert_eq!(few.hours.len(), 10);
    let ten = fit(&few);
    let truth = truth(7);
    near(&ten, Trait::OriginalSg, truth.original_sg);
    near(&ten, Trait::LagH, truth.lag_h());
    near(&ten, Trait::MaxRateSgPerDay, 24.0 * truth.steepest().0);
    assert!(ten.finding(Trait::LagH).se().unwrap() > 2.0, "{ten}");
    let many = fit(&series(7, Log { every_h: 0.25, ..log }));
    assert!(ten.finding(Trait::LagH).se().unwrap() > many.finding(Trait::LagH).se().unwrap(), "{ten} {many}");
    println!("{ten}");
    cut(&mut few, |hours| hours < 40.0);
    let four = fit(&few);
    assert_eq!(four.status, Status::TooFewData);
    for which in Trait::ALL {
        assert_eq!(four.finding(which).why(), Some("4 points after averaging; a curve needs 5"));
    }
}

#[test]
fn a_constant_temperature_keeps_real_time_and_none_says_so() {
    let steady = series(8, Log::default());
    let fit = self::fit(&steady);
    assert!(fit.to_string().contains("real time"), "{fit}");
    let mut unknown = steady.clone();
    unknown.temp_c.fill(f64::NAN);
    let kinetics = KineticsSettings::default().fit_all(&[steady, unknown]).unwrap();
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
    assert!(fit.to_string().contains("thermal time"), "{fit}");
    let kinetics = KineticsSettings::default().fit_all(&[warmed]).unwrap();
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
    assert!(fit.points.iter().any(|p| matches!(p.source, PointSource::Probe(0))));
}

/// Readings of a second probe, which reads `off` beside the first and stops at `until`.
fn with_second_probe(mut series: GravitySeries, off: f64, until: f64) -> GravitySeries {
    let first: Vec<(f64, f64)> = series.hours.iter().copied().zip(series.sg.iter().copied()).collect();
    series.probes.push(SeriesProbe { probe: "knot".into(), offset_sd: 0.02 });
    let mut rows: Vec<(f64, f64, u32)> = first.iter().map(|(h, sg)| (*h, *sg, 0)).collect();
    rows.extend(first.iter().filter(|(h, _)| *h <= until).map(|(h, sg)| (h + 0.1, sg + off, 1)));
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = rows.len();
    series.rows = (0..n).collect();
    series.hours = rows.iter().map(|row| row.0).collect();
    series.sg = rows.iter().map(|row| row.1).collect();
    series.probe = rows.iter().map(|row| row.2).collect();
    series.own_sd = vec![4e-4; n];
    series.shared_sd = vec![5e-4; n];
    series.temp_c = vec![19.0; n];
    series
}

#[test]
fn probes_far_apart_are_neither_noise_nor_a_restart() {
    let course = truth(12);
    let one = readings(every_half_hour(220.0), |h| course.sg(h), 12);
    let apart = fit(&with_second_probe(one.clone(), -0.025, 220.0));
    assert!(matches!(apart.status, Status::Finished | Status::Slowing), "{apart}");
    let lag = |fit: &BatchFit| fit.finding(Trait::MidH).estimate().unwrap().value;
    assert!((lag(&apart) - lag(&fit(&one))).abs() < 1.0, "{} and {}", lag(&apart), lag(&fit(&one)));
    let stops = fit(&with_second_probe(one, 0.012, 170.0));
    assert!(stops.status != Status::Restarted, "{stops}");
    let flat = fit(&with_second_probe(readings(every_half_hour(60.0), |_| 1.050, 1), -0.025, 40.0));
    assert_eq!(flat.status, Status::NotStarted, "{flat}");
}
