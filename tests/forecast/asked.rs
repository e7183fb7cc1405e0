//! What is asked of a forecast: moments, schedules, yeast that leaves, a first batch, and questions that have no answer.

use heelwort::Instant;
use heelwort::forecast::{Forecast, ForecastSettings, Schedule};
use heelwort::gravity::GravitySeries;
use heelwort::kinetics::KineticsSettings;
use heelwort::simulate::{SimulateSettings, Trouble};

use crate::process::{Brewed, Process, batches_of, brewery};

/// Asks for forecasts of a brewery.
fn ask(brewed: &[Brewed], settings: &ForecastSettings, asked: &[(String, Instant)]) -> Vec<Forecast> {
    let batches = batches_of(brewed);
    let series: Vec<GravitySeries> = brewed.iter().map(|brew| brew.series.clone()).collect();
    let kinetics = KineticsSettings::default().fit_all(&series).unwrap();

    settings.forecaster(&batches, &kinetics, &series).unwrap().forecasts(asked).rows
}

/// A brewery of one strain whose last batch goes on to its rest and is looked at when a share of its drop is done.
fn at(share: f64) -> (Vec<Brewed>, String, Instant) {
    let brewed = brewery(Some(Process::Sugars), 8, 1, 300);
    let last = brewed.iter().rev().find(|b| b.series.cooled_hours.is_none() && b.series.ended_hours.is_some()).unwrap();
    let (name, now) =
        (last.series.batch.clone(), last.series.pitched_at.plus_hours(last.truth.time_of_progress_h(share)));
    (brewed, name, now)
}

#[test]
fn a_second_later_the_median_is_the_same_and_another_seed_hardly_moves_the_ends() {
    let (brewed, name, now) = at(0.6);
    let forecast = |seed: u64, later_h: f64| {
        let settings = ForecastSettings { seed, ..Default::default() };
        let asked = [(name.clone(), now.plus_hours(later_h))];
        ask(&brewed, &settings, &asked).remove(0).finish.unwrap()
    };
    let first = forecast(1, 0.0);
    assert!(forecast(1, 1.0 / 3600.0).p50.hours_since(first.p50).abs() < 0.01);
    for seed in 2..6 {
        let other = forecast(seed, 0.0);
        let width = first.p95.hours_since(first.p05);
        for (a, b, most) in [(other.p05, first.p05, 0.02), (other.p50, first.p50, 0.02), (other.p95, first.p95, 0.04)] {
            assert!(a.hours_since(b).abs() < most * width, "{} of {width}", a.hours_since(b));
        }
    }
}

#[test]
fn a_mistyped_sample_is_left_out_of_a_forecast() {
    let (mut brewed, name, now) = at(0.8);
    // Water checks tell how far its probes are off.
    let known = |series: &mut GravitySeries| series.probes.iter_mut().for_each(|probe| probe.offset_sd = 0.001);
    brewed.iter_mut().for_each(|brew| known(&mut brew.series));
    let ask_now = |brewed: &[Brewed]| ask(brewed, &ForecastSettings::default(), &[(name.clone(), now)]).remove(0);
    let right = ask_now(&brewed);
    let series = &mut brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap().series;
    let hours = now.hours_since(series.pitched_at) - 8.0;
    let sample = series.samples[0].clone();
    // Two digits changed places: 1.0x2 for 1.02x, far below what the probe reads.
    series.samples.retain(|sample| sample.hours < hours);
    series.samples.push(heelwort::gravity::SeriesSample { hours, sg: 1.002, known_hours: hours, ..sample });
    let mistyped = ask_now(&brewed);
    let (with, without) = (mistyped.finish.unwrap(), right.finish.unwrap());
    let width = without.p95.hours_since(without.p05);
    assert!(with.p50.hours_since(without.p50).abs() < 0.15 * width, "{mistyped}, {right}");
    let (with, without) = (mistyped.terminal_sg.unwrap().p50, right.terminal_sg.unwrap().p50);
    assert!((with - without).abs() < 0.0015, "{with} {without}");
    assert!(mistyped.p_ready.unwrap() < 0.2, "{mistyped}");
}

#[test]
fn yeast_that_left_is_seen_two_days_later() {
    let (mut brewed, name, now) = at(0.75);
    let later = [(name.clone(), now.plus_hours(48.0))];
    let sound = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    assert!(sound.p_stuck_now.unwrap() < 0.2 && sound.p_stuck.unwrap() < 0.3, "{sound}");
    let brew = brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap();
    let left_h = now.hours_since(brew.series.pitched_at);
    for (hours, sg) in brew.series.hours.iter().zip(&mut brew.series.sg) {
        // The fall dies within hours of the leaving.
        let clock = if *hours > left_h { left_h + 7.0 * (1.0 - (-(hours - left_h) / 7.0).exp()) } else { *hours };
        *sg += brew.truth.sg(clock) - brew.truth.sg(*hours);
    }
    let (sample, sampled_h) = (brew.series.samples.last().cloned().unwrap(), left_h + 40.0);
    let sg = brew.truth.sg(left_h + 7.0 * (1.0 - (-40.0_f64 / 7.0).exp()));
    brew.series.samples.retain(|sample| sample.hours < left_h);
    // A probe that leans looks the same: without a sample it is not called ready.
    let alone = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    assert!(alone.p_finished.unwrap() > 0.7 && alone.p_ready.unwrap() <= 0.8, "{alone}");
    let brew = brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap();
    brew.series.samples.push(heelwort::gravity::SeriesSample {
        hours: sampled_h,
        sg,
        known_hours: sampled_h,
        ..sample
    });
    let stuck = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    // It rests little above what its wort allows, which is known from six batches only: at rest is certain, stuck is not.
    assert!(stuck.p_finished.unwrap() > 0.9, "{stuck}");
    // None of the others stuck, so that one in 27 is expected to.
    let (left, stays) = (stuck.p_stuck_now.unwrap(), sound.p_stuck_now.unwrap());
    assert!(left > 0.15 && left > 3.0 * stays, "{stuck}, {sound}");
    let finish = stuck.finish.unwrap();
    assert!(finish.p50.hours_since(now).abs() < 24.0, "{stuck}");
}

#[test]
fn a_first_batch_is_never_called_ready_and_says_that_nothing_is_learnt() {
    let brewed: Vec<Brewed> = brewery(Some(Process::Sugars), 2, 1, 300).into_iter().take(1).collect();
    let pitched = brewed[0].series.pitched_at;
    let asked: Vec<_> = (1..20).map(|day| ("B00".to_owned(), pitched.plus_days(f64::from(day)))).collect();
    let rows = ask(&brewed, &ForecastSettings::default(), &asked);
    for row in rows {
        assert!(row.p_ready.is_none_or(|p| p <= 0.5) && row.why.contains("nothing has been learnt yet"), "{row}");
    }
}

#[test]
fn no_curve_no_word_about_ready() {
    let mut brewed: Vec<Brewed> = brewery(Some(Process::Sugars), 2, 1, 300);
    let series = &mut brewed[1].series;
    let later = series.pitched_at.plus_days(9.0);
    let mut one = GravitySeries::empty("B01", series.strain.clone(), series.pitched_at);
    (one.original_sg, one.samples) = (Some((1.05, 0.001)), series.samples.iter().rev().take(1).cloned().collect());
    *series = one;
    let row = ask(&brewed, &ForecastSettings::default(), &[("B01".to_owned(), later.plus_days(60.0))]).remove(0);
    assert!(row.p_ready.is_none() && !row.why.is_empty(), "{row}");
}

#[test]
fn questions_without_an_answer_say_why() {
    let (brewed, name, now) = at(0.6);
    let pitched = brewed.iter().find(|b| b.series.batch == name).unwrap().series.pitched_at;
    let asked = [
        ("elsewhere".to_owned(), now),
        (name.clone(), pitched.plus_hours(-1.0)),
        (name.clone(), pitched),
        (name.clone(), pitched.plus_days(400.0)),
    ];
    let rows = ask(&brewed, &ForecastSettings::default(), &asked);
    for (row, why) in rows.iter().zip(["no batch of this name", "not yet pitched"]) {
        assert!(row.why.contains(why) && row.finish.is_none() && row.p_ready.is_none(), "{row}");
    }
    // With a reading or two others tell how long it takes, and nothing whether it is ready.
    assert!(rows[2].why.contains("too few points for a curve") && rows[2].p_ready.is_none(), "{}", rows[2]);
    let finish = rows[2].finish.unwrap();
    assert!(finish.p05 > pitched.plus_hours(24.0) && finish.p95 > finish.p50, "{}", rows[2]);
    assert_eq!((rows[2].p_finished, rows[2].p_finished_in_days.len()), (Some(0.0), 14));
    // Long after the end all has come.
    assert!(rows[3].p_finished.unwrap() > 0.95, "{}", rows[3]);
}

#[test]
fn before_its_first_reading_a_batch_takes_as_long_as_others_have() {
    let (brewed, name, _) = at(0.6);
    let batches = batches_of(&brewed);
    let others: Vec<GravitySeries> =
        brewed.iter().map(|brew| brew.series.clone()).filter(|series| series.batch != name).collect();
    let kinetics = KineticsSettings::default().fit_all(&others).unwrap();
    let pitched = batches.iter().find(|batch| batch.batch == name).unwrap().pitched_at;
    let settings = ForecastSettings::default();
    let row = settings.forecaster(&batches, &kinetics, &others).unwrap().forecasts(&[(name, pitched)]).rows.remove(0);
    assert!(row.why.contains("no gravity known") && row.method.contains("times to rest of"), "{row}");
    let finish = row.finish.unwrap();
    assert!(finish.p05 > pitched.plus_hours(24.0) && finish.p95 > finish.p50 && row.p_ready.is_none(), "{row}");
    assert_eq!((row.p_finished, row.p_finished_in_days.len()), (Some(0.0), 14));
}

#[test]
fn a_strain_never_seen_is_forecast_from_the_others_and_less_sharply() {
    let (mut brewed, name, now) = at(0.6);
    let known = ask(&brewed, &ForecastSettings::default(), &[(name.clone(), now)]).remove(0);
    brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap().series.strain = "glasswort".to_owned();
    let unknown = ask(&brewed, &ForecastSettings::default(), &[(name, now)]).remove(0);
    assert!(unknown.method.contains(" 0 of the strain"), "{}", unknown.method);
    let width = |row: &Forecast| row.finish.unwrap().p95.hours_since(row.finish.unwrap().p05);
    assert!(width(&unknown) > width(&known), "{known} {unknown}");
}

#[test]
fn readings_that_contradict_the_other_batches_are_said_to() {
    let (mut brewed, name, now) = at(0.6);
    let sound = ask(&brewed, &ForecastSettings::default(), &[(name.clone(), now)]).remove(0);
    assert!(!sound.why.contains("contradict"), "{sound}");
    let brew = brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap();
    // Six times slower than ever before.
    for (hours, sg) in brew.series.hours.iter().zip(&mut brew.series.sg) {
        *sg += brew.truth.sg(hours / 6.0) - brew.truth.sg(*hours);
    }
    brew.series.samples.retain(|sample| sample.hours < 1.0);
    let slow = ask(&brewed, &ForecastSettings::default(), &[(name, now.plus_days(5.0))]).remove(0);
    assert!(slow.why.contains("contradict other batches: they fall more slowly"), "{slow}");
}

/// In a season with every trouble, day by day: where a batch is said to come to rest is no gravity that it has passed, by more than
/// probes err, and the rest is not known to the hour while it is ahead.
#[test]
fn no_batch_comes_to_rest_above_where_it_is() {
    let troubles = Trouble::ALL.to_vec();
    let settings = SimulateSettings { seed: 7_311_402, batches: 16, probes: 3, troubles, ..Default::default() };
    let simulated = settings.run().unwrap();
    let series = crate::kinetics::chain::series_of(&simulated);
    let settings = ForecastSettings::default();
    let kinetics = KineticsSettings::default().fit_all(&series).unwrap();
    let mut asked = Vec::new();
    for of in &series {
        let end_h = of.cooled_hours.or(of.ended_hours).unwrap_or(f64::INFINITY).min(*of.hours.last().unwrap_or(&0.0));
        asked
            .extend((2..=(end_h / 24.0) as u32).map(|day| (of.batch.clone(), of.pitched_at.plus_days(f64::from(day)))));
    }
    let mut forecaster = settings.forecaster(&simulated.season.batches, &kinetics, &series).unwrap();
    let mut seen = 0;
    for row in forecaster.forecasts(&asked).rows {
        let of = series.iter().find(|of| of.batch == row.batch).unwrap();
        let now_h = row.as_of.hours_since(of.pitched_at);
        let known = of.hours.iter().zip(&of.sg).filter(|(h, _)| (now_h - 6.0..=now_h).contains(*h));
        let mut last: Vec<f64> = known.map(|(_, sg)| *sg).collect();
        last.sort_by(f64::total_cmp);
        let (Some(sg), Some(terminal), Some(finish)) = (last.get(last.len() / 2), row.terminal_sg, row.finish) else {
            continue;
        };
        seen += 1;
        assert!(terminal.p05 < sg + 0.004 || row.p_ready.is_none(), "{sg:.4}: {row}");
        assert!(finish.p05 <= row.as_of || finish.p95.hours_since(finish.p05) > 1.0, "{row}");
    }
    assert!(seen > 60, "{seen}");
}

#[test]
fn probes_alone_do_not_tell_that_a_batch_is_ready() {
    let (mut brewed, name, now) = at(0.6);
    let later = [(name.clone(), now.plus_days(12.0))];
    let brew = brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap();
    let (sample, rest_h) =
        (brew.series.samples.last().cloned().unwrap(), later[0].1.hours_since(brew.series.pitched_at));
    brew.series.samples.retain(|sample| sample.hours < 1.0);
    let alone = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    assert!(alone.p_ready.unwrap() <= 0.8 && alone.p_finished.unwrap() > 0.9, "{alone}");
    assert!(alone.why.contains("no sample since the fall has slowed"), "{alone}");
    let brew = brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap();
    let (hours, sg) = (rest_h - 6.0, brew.truth.sg(rest_h - 6.0));
    brew.series.samples.push(heelwort::gravity::SeriesSample { hours, sg, known_hours: hours, ..sample });
    let sampled = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    assert!(sampled.p_ready.unwrap() > 0.8, "{sampled}");
}

#[test]
fn schedules_move_the_rest_and_what_cannot_be_is_refused() {
    let (brewed, name, now) = at(0.8);
    let batches = batches_of(&brewed);
    let series: Vec<GravitySeries> = brewed.iter().map(|brew| brew.series.clone()).collect();
    let kinetics = KineticsSettings::default().fit_all(&series).unwrap();

    let settings = ForecastSettings::default();
    let mut forecaster = settings.forecaster(&batches, &kinetics, &series).unwrap();
    let temp_c = brewed.iter().find(|b| b.series.batch == name).unwrap().series.temp_c[0];
    let named = |name: &str, steps: Vec<(Instant, f64)>| Schedule { name: name.to_owned(), steps };
    let (soon, tomorrow) = (now.plus_hours(1.0), now.plus_days(1.0));
    let schedules = [
        named("held", Vec::new()),
        named("the same", vec![(tomorrow, temp_c)]),
        named("warmer", vec![(now, temp_c + 3.0)]),
        named("crash", vec![(soon, 2.0)]),
    ];
    let outlooks = forecaster.what_if(&name, now, &schedules).unwrap();
    let [held, same, warmer, crash] = &outlooks[..] else { panic!("{outlooks:?}") };
    assert!(held.later_h.p95.unwrap().abs() < 1e-9 && same.later_h.p05.unwrap().abs() < 1e-6);
    // Three degrees are a factor of 1.24 by 52.4 kJ/mol at 20 C.
    let (work_h, later_h) = (held.finish.p50.unwrap().hours_since(now), warmer.later_h.p50.unwrap());
    assert!((-0.25 * work_h..-0.13 * work_h).contains(&later_h), "{later_h} of {work_h}");
    assert!(warmer.later_h.p95.unwrap() <= 0.0 && warmer.cold_at.is_none());
    let p = crash.p_rest_before_cold.unwrap();
    assert!(
        crash.cold_at.unwrap().hours_since(soon).abs() < 1e-6 && p < 0.5 && crash.finish.p95.is_none(),
        "{crash:?}"
    );
    let left = crash.left_sg.unwrap();
    assert!(left.p50 > 0.0005 && left.p95 < 0.02, "{left:?}");
    let two = |a: Schedule, b: Schedule| [a, b];
    for (refused, part) in [
        (two(named("a", Vec::new()), named("a", Vec::new())), "two schedules"),
        (two(named("a", vec![(tomorrow, 20.0), (now, 18.0)]), named("b", Vec::new())), "order"),
        (two(named("a", vec![(now, 20.0), (now, 18.0)]), named("b", Vec::new())), "two temperatures at"),
        (two(named("a", vec![(now, 60.0)]), named("b", Vec::new())), "60 C"),
    ] {
        let message = forecaster.what_if(&name, now, &refused).unwrap_err().to_string();
        assert!(message.contains(part), "{message}");
    }
    assert!(forecaster.what_if("elsewhere", now, &schedules).is_err());
}

#[test]
fn a_rest_at_little_attenuation_is_remarked_on_unless_the_limit_was_measured() {
    let (mut brewed, name, now) = at(0.99);
    let later = [(name.clone(), now.plus_hours(120.0))];
    let usual = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    assert!(usual.p_finished.unwrap() > 0.5 && usual.early_attenuation.is_none(), "{usual}");
    // The same of a strain all of whose batches end early: its own past makes that usual for it.
    for brew in &mut brewed {
        let original_sg = brew.truth.original_sg;
        let less = |sg: &mut f64| *sg = original_sg - 0.6 * (original_sg - *sg);
        brew.series.sg.iter_mut().for_each(less);
        brew.series.samples.iter_mut().for_each(|sample| less(&mut sample.sg));
        brew.series.limit_sg = None;
    }
    let early = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    let share = early.early_attenuation.unwrap();
    assert!((0.3..0.6).contains(&share) && early.p_finished.unwrap() > 0.5, "{early}");
    assert!(early.why.contains("% apparent attenuation, unusually little for beer"), "{}", early.why);
    let brew = brewed.iter_mut().find(|brew| brew.series.batch == name).unwrap();
    brew.series.limit_sg = Some((early.terminal_sg.unwrap().p50, 0.001));
    let measured = ask(&brewed, &ForecastSettings::default(), &later).remove(0);
    assert!(measured.early_attenuation.is_none() && !measured.why.contains("attenuation"), "{}", measured.why);
}
