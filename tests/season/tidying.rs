//! Sorting, duplicates, late rows, clocks, ranges, frozen sensors, uncorrected gravities.

use heelwort::season::{Flags, Season};
use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

use super::files::{load, plain_with};

const HEADER: &str = "at,probe,tilt_deg,temp_c\n";
const START: i64 = 1_930_392_000;

fn time(quarter: i64) -> String {
    heelwort::Instant::from_micros((START + quarter * 900) * 1_000_000).to_string()
}

fn season(rows: &[String]) -> Season {
    load(&plain_with(&[("readings.csv", &format!("{HEADER}{}\n", rows.join("\n")))]))
}

fn flagged(season: &Season, flag: Flags) -> Vec<usize> {
    season.readings.flags.iter().enumerate().filter(|(_, f)| f.intersects(flag)).map(|(i, _)| i).collect()
}

#[test]
fn rows_are_sorted_and_exact_duplicates_rejected() {
    let row = |quarter, probe, tilt| format!("{},{probe},{tilt},20.5", time(quarter));
    let rows = [
        row(3, "knot", 25.0),
        row(1, "dunlin", 52.0),
        row(2, "dunlin", 51.9),
        row(1, "dunlin", 52.0),
        row(1, "dunlin", 52.5),
        row(1, "dunlin", 52.0),
    ];
    let season = season(&rows);
    assert_eq!(season.readings.tilt_deg, [52.0, 52.5, 51.9, 25.0]);
    let rejected: Vec<(u64, String)> = season.account.rejected.iter().map(|r| (r.line, r.reason.to_string())).collect();
    let reason = "an exact duplicate of readings.csv line 3";
    assert_eq!(rejected, [(5, reason.to_owned()), (7, reason.to_owned())]);
    assert_eq!(season.account.rejected[0].text, rows[3]);
    let account = season.account.files.iter().find(|f| f.table == "readings").unwrap();
    assert_eq!((account.read, account.rejected), (6, 2));
}

#[test]
fn tilt_and_temperature_out_of_range_are_kept_and_flagged() {
    let rows = [(91.0, 20.0), (90.0, 45.0), (-0.1, 20.0), (50.0, 45.1), (50.0, -5.1), (95.0, 60.0)];
    let rows: Vec<String> =
        rows.iter().enumerate().map(|(i, (tilt, temp))| format!("{},dunlin,{tilt},{temp}", time(i as i64))).collect();
    let season = season(&rows);
    let flags: Vec<String> = season.readings.flags.iter().map(ToString::to_string).collect();
    assert_eq!(flags, ["tilt_range", "", "tilt_range", "temp_range", "temp_range", "tilt_range;temp_range"]);
}

/// A log at rest or falling, with noise that is correlated from row to row, rounded to `step`.
fn log(seed: u64, rows: usize, noise: f64, step: f64, fall: f64) -> Vec<f64> {
    let mut rng = SmallRng::seed_from_u64(seed);
    let mut slow = 0.0;
    (0..rows)
        .map(|i| {
            let white: f64 = StandardNormal.sample(&mut rng);
            let shock: f64 = StandardNormal.sample(&mut rng);
            slow = 0.9 * slow + 0.436 * shock;
            let progress = 1.0 / (1.0 + (-(i as f64 - rows as f64 / 3.0) / (rows as f64 / 20.0)).exp());
            let bubbles = 1.0 + 6.0 * progress * (1.0 - progress) * 4.0;
            let tilt = 55.0 - fall * progress + noise * bubbles * (white + 0.5 * slow);
            (tilt / step).round() * step
        })
        .collect()
}

fn with_tilts(tilts: &[f64]) -> Season {
    let mut rng = SmallRng::seed_from_u64(7);
    let row = |(i, tilt): (usize, &f64)| {
        let temp = 20.0 + 0.05 * rng.random_range(-4..=4) as f64;
        format!("{},dunlin,{tilt:.4},{temp:.2}", time(i as i64))
    };
    season(&tilts.iter().enumerate().map(row).collect::<Vec<_>>())
}

#[test]
fn a_frozen_sensor_is_flagged_where_its_noise_is_known() {
    for seed in 0..6 {
        let mut tilts = log(seed, 800, 0.1, 0.01, 20.0);
        let stuck = tilts[300];
        tilts[300..360].fill(stuck);
        let season = with_tilts(&tilts);
        assert_eq!(flagged(&season, Flags::FROZEN), (300..360).collect::<Vec<_>>(), "seed {seed}");
    }
}

#[test]
fn a_sensor_frozen_up_to_the_last_reading_is_flagged_and_a_resting_thermostat_is_not() {
    let mut tilts = log(3, 800, 0.1, 0.01, 20.0);
    let stuck = tilts[780];
    tilts[780..].fill(stuck);
    assert_eq!(flagged(&with_tilts(&tilts), Flags::FROZEN), (780..800).collect::<Vec<_>>());
    // The thermostat works by day and rests by night, when nothing moves.
    let tilts = log(4, 960, 0.1, 0.01, 20.0);
    let temp = |i: usize| if i % 96 < 60 { 20.0 + [0.0, 0.5, 0.9, 0.4][i % 4] } else { 19.8 };
    let row = |(i, tilt): (usize, &f64)| format!("{},dunlin,{tilt:.2},{:.1}", time(i as i64), temp(i));
    let season = season(&tilts.iter().enumerate().map(row).collect::<Vec<_>>());
    assert_eq!(flagged(&season, Flags::FROZEN), [0; 0]);
}

#[test]
fn a_beer_at_rest_is_not_frozen_however_coarse_the_sensor() {
    let mut longest = 0;
    for seed in 0..10 {
        for step in [0.01, 0.05, 0.1, 0.25, 0.5, 1.0] {
            for noise in [0.0, 0.005, 0.02, 0.05, 0.1, 0.2] {
                let tilts = log(seed, 1000, noise, step, 20.0);
                longest = tilts.chunk_by(|a, b| a == b).map(<[f64]>::len).max().unwrap().max(longest);
                let season = with_tilts(&tilts);
                assert_eq!(flagged(&season, Flags::FROZEN), [0; 0], "seed {seed} step {step} noise {noise}");
            }
        }
    }
    assert!(longest > 300, "the trial has plateaus: {longest}");
}

#[test]
fn a_clock_that_was_wrong_for_a_while_is_flagged_and_does_not_set_the_latest_instant() {
    let rows: Vec<String> = (0..200)
        .map(|i| {
            let shift = if (100..110).contains(&i) { 70_000 } else { 0 };
            format!("{},dunlin,{:.2},20", time(i + shift), 50.0 - 0.013 * i as f64 + 0.1 * (i % 3) as f64)
        })
        .collect();
    let season = season(&rows);
    assert_eq!(flagged(&season, Flags::CLOCK_JUMP).len(), 10);
    assert_eq!(season.latest().unwrap().to_string(), time(199));
    let late = season.account.flagged.iter().find(|r| r.reason == "clock_jump").unwrap();
    let told = |r: &heelwort::season::Remark| r.text.starts_with("the clock of a logger jumped");
    assert!(season.account.remarks.iter().any(told), "{:?}", season.account.remarks);
    assert_eq!(late.rows, 10);
}

#[test]
fn uncorrected_gravities_are_corrected_once() {
    let references = "at,sg,batch,raw_sg,raw_brix,temp_c,instrument_temp_c\n\
        2031-03-04T11:00:00Z,,T1,,12.0,20,\n2031-03-04T20:00:00Z,1.03,T1,1.02,,30,20\n\
        2031-03-05T12:00:00Z,,T1,1.03,,20,20\n2031-03-06T12:00:00Z,,T1,1.03,,30,20\n2031-03-07T12:00:00Z,,T1,,8.0,20,\n\
        2031-03-07T12:00:00Z,,T7,,8.0,20,\n";
    let season = load(&plain_with(&[("references.csv", references)]));
    let sg: Vec<f64> = season.references.iter().map(|r| r.sg).collect();
    assert!((sg[0] - heelwort::liquid::sg_from_plato(12.0).unwrap()).abs() < 1e-12, "unfermented wort");
    assert_eq!(sg[1], 1.03, "a given SG is never corrected again");
    assert!((sg[2] - 1.03).abs() < 1e-9, "nothing to correct at the scale's temperature");
    assert!(sg[3] > 1.0320 && sg[3] < 1.0335, "warm liquid reads low: {}", sg[3]);
    assert!(sg[4] < 1.025, "alcohol lifts the refractive index: {}", sg[4]);
    assert_eq!(season.account.rejected.len(), 1);
    assert!(season.account.rejected[0].reason.to_string().contains("`T7` is not in the table of batches"));
}

#[test]
fn identical_references_are_duplicates_and_differing_ones_are_not() {
    let references = "at,sg,batch,note\n2031-03-05T11:00:00Z,1.03,T1,\n2031-03-05T11:00:00Z,1.03,T1,again\n\
                      2031-03-05T11:00:00Z,1.0300,T1,\n";
    let season = load(&plain_with(&[("references.csv", references)]));
    assert_eq!(season.references.len(), 2);
    assert_eq!(season.account.rejected[0].reason.to_string(), "an exact duplicate of references.csv line 2");
}

#[test]
fn what_is_no_rows_fault_alone_is_remarked() {
    let references = "at,sg,probe,batch,bath,tilt_deg\n\
        2031-03-04T08:00:00Z,1.000,knot,,water,25\n\
        2031-03-04T09:00:00Z,1.020,knot,,b20,\n\
        2031-03-04T10:00:00Z,1.040,Knot ,,b40,\n\
        2031-03-04T12:30:00Z,1.060,knot,,b60,\n";
    let readings = format!("{HEADER}2031-03-04T12:20:00Z,knot,41,20.5\n");
    let dir = plain_with(&[("references.csv", references), ("readings.csv", &readings)]);
    let season = load(&dir);
    let remarks: Vec<String> = season.account.remarks.iter().map(|r| format!("{}: {}", r.file, r.text)).collect();
    assert_eq!(
        remarks,
        [
            "references.csv: column `probe`: `Knot` is not in the table of probes, so it was taken for `knot`",
            "references.csv: 2 baths without a tilt: knot on 2031-03-04 (2). None is written down, and the probe did not \
             read within 20 min",
        ]
    );
    assert!(
        season.account.to_string().contains("remark on references.csv: 2 baths without a tilt"),
        "{}",
        season.account
    );
}

/// Two probes of which the second begins a batch at quarter 100 while the first is in another until 260, with what the log calls
/// them until the first ends. For an hour from then on the first is `held` off by some degrees; by more than one just as the second
/// begins at the tilt that it had. The second ends at quarter `end` and is in beer of `temp_c`; the first in 20.5 C.
fn two_probes(exchanged: bool, held: f64, (end, temp_c): (i64, f64)) -> Season {
    let batches = format!(
        "batch,strain,pitched_at,probe,ended_at\nb1,samphire,{},knot,{}\nb2,samphire,{},dunlin,{}\n",
        time(0),
        time(260),
        time(100),
        time(end)
    );
    let named = |quarter: i64, own, other| if exchanged && (100..260).contains(&quarter) { other } else { own };
    let mut rows = Vec::new();
    for quarter in 0..end.max(260) {
        let at = |shift: i64| heelwort::Instant::from_micros((START + quarter * 900 + shift) * 1_000_000);
        let t = quarter as f64;
        if quarter < 260 {
            let off = if (100..104).contains(&quarter) { held } else { 0.0 };
            let tilt = 55.0 + off - 0.08 * t + 0.2 * (7.3 * t).sin();
            rows.push(format!("{},{},{tilt:.2},20.5", at(20), named(quarter, "knot,b1", "dunlin,b2")));
        }
        if (100..end).contains(&quarter) {
            let tilt = if held > 1.0 { 47.0 } else { 66.0 } - 0.05 * (t - 100.0) + 0.2 * (3.7 * t).sin();
            rows.push(format!("{},{},{tilt:.2},{temp_c}", at(140), named(quarter, "dunlin,b2", "knot,b1")));
        }
    }
    let readings = format!("at,probe,batch,tilt_deg,temp_c\n{}\n", rows.join("\n"));
    load(&plain_with(&[("readings.csv", &readings), ("batches.csv", &batches)]))
}

#[test]
fn probes_with_each_others_names_have_their_own_again() {
    let later = (400, 20.5);
    let (log, own) = (two_probes(true, 0.0, later), two_probes(false, 0.0, later));
    for season in [&own, &two_probes(false, 4.0, later)] {
        assert!(flagged(season, Flags::EXCHANGED).is_empty(), "{}", season.account);
    }
    assert_eq!(flagged(&log, Flags::EXCHANGED).len(), 320);
    assert_eq!(log.readings.tilt_deg, own.readings.tilt_deg);
    assert_eq!((&log.readings.probe, &log.readings.batch), (&own.readings.probe, &own.readings.batch));
    assert!(log.account.remarks.iter().any(|remark| remark.text.contains("knot in b1 about")), "{}", log.account);
    // A restless probe goes on less smoothly than a jump of twenty degrees asks for.
    assert_eq!(flagged(&two_probes(true, 0.9, later), Flags::EXCHANGED).len(), 320);
}

#[test]
fn names_that_stay_exchanged_until_both_batches_end_are_found_where_temperatures_change_with_them() {
    let earlier = (220, 23.5);
    let (log, own) = (two_probes(true, 0.0, earlier), two_probes(false, 0.0, earlier));
    assert!(flagged(&own, Flags::EXCHANGED).is_empty(), "{}", own.account);
    assert_eq!(flagged(&log, Flags::EXCHANGED).len(), 280);
    assert_eq!((&log.readings.probe, &log.readings.batch), (&own.readings.probe, &own.readings.batch));
    // Beers of one temperature leave it open whether the first probe was moved by something.
    assert!(flagged(&two_probes(true, 0.0, (220, 20.7)), Flags::EXCHANGED).is_empty());
}

/// Two probes in beers of some temperatures, that change names in the middle of both until the first batch ends.
fn changed_amid(jump_deg: f64, temps_c: [f64; 2], exchanged: bool) -> Season {
    let batches = format!(
        "batch,strain,pitched_at,probe,ended_at\nb1,samphire,{},knot,{}\nb2,samphire,{},dunlin,{}\n",
        time(0),
        time(260),
        time(20),
        time(400)
    );
    let named = |quarter: i64, own, other| if exchanged && (150..260).contains(&quarter) { other } else { own };
    let mut rows = Vec::new();
    for quarter in 0..400 {
        let at = |shift: i64| heelwort::Instant::from_micros((START + quarter * 900 + shift) * 1_000_000);
        let tilt = 50.0 - 0.02 * quarter as f64 + 0.1 * (7.3 * quarter as f64).sin();
        if quarter < 260 {
            rows.push(format!("{},{},{tilt:.2},{}", at(20), named(quarter, "knot", "dunlin"), temps_c[0]));
        }
        if quarter >= 20 {
            let tilt = tilt - jump_deg;
            rows.push(format!("{},{},{tilt:.2},{}", at(140), named(quarter, "dunlin", "knot"), temps_c[1]));
        }
    }
    let readings = format!("at,probe,tilt_deg,temp_c\n{}\n", rows.join("\n"));
    load(&plain_with(&[("readings.csv", &readings), ("batches.csv", &batches)]))
}

#[test]
fn names_that_change_amid_both_batches_are_put_right() {
    // By tilts, or where these lie close together by the temperatures of the beers.
    for (jump_deg, temps_c, is_seen) in
        [(6.0, [20.5, 20.5], true), (1.5, [20.5, 26.0], true), (1.5, [20.5, 20.7], false)]
    {
        let (log, own) = (changed_amid(jump_deg, temps_c, true), changed_amid(jump_deg, temps_c, false));
        assert!(flagged(&own, Flags::EXCHANGED).is_empty(), "{}", own.account);
        assert_eq!(flagged(&log, Flags::EXCHANGED).len(), if is_seen { 220 } else { 0 }, "{}", log.account);
        assert_eq!(log.readings.tilt_deg == own.readings.tilt_deg, is_seen, "{jump_deg} {temps_c:?}");
    }
}

/// A probe in a beer that falls for 400 quarters, its tilts off by `off` degrees or, with `true`, as they are given.
fn one_stay(events: &str, other: impl Fn(i64) -> Option<(f64, bool)>) -> Season {
    let batches = format!("batch,strain,pitched_at,probe,ended_at\nb1,samphire,{},knot,{}\n", time(0), time(400));
    let row = |quarter: i64| {
        let t = quarter as f64;
        let beer = 28.0 + 22.0 * (-(t / 150.0).powi(2)).exp() + 0.2 * (7.3 * t).sin();
        let tilt = match other(quarter) {
            Some((tilt, true)) => tilt + 0.1 * (5.1 * t).sin(),
            Some((off, false)) => beer + off,
            None => beer,
        };
        format!("{},knot,{tilt:.2},20.5", time(quarter))
    };
    let rows: Vec<String> = (0..=403).map(row).collect();
    let readings = format!("{HEADER}{}\n", rows.join("\n"));
    load(&plain_with(&[("readings.csv", &readings), ("batches.csv", &batches), ("events.csv", events)]))
}

#[test]
fn readings_of_a_probe_in_no_beer_are_flagged() {
    let out = |events: &str, other: &dyn Fn(i64) -> Option<(f64, bool)>| {
        let season = one_stay(events, other);
        let rows = flagged(&season, Flags::OUTSIDE_BATCH);
        let is_told = season.account.remarks.iter().any(|remark| remark.text.contains("in water or in the air"));
        assert_eq!(is_told, !rows.is_empty(), "{}", season.account);
        rows
    };
    let none: Vec<usize> = Vec::new();
    // The log goes on for three quarters after the end, in no batch; what the batch has is all beer.
    assert_eq!(out("", &|_| None), none);
    let bench_and_water = |quarter| match quarter {
        0..12 => Some((86.0, true)),
        12..30 => Some((22.0, true)),
        395.. => Some((84.0, true)),
        _ => None,
    };
    assert_eq!(out("", &bench_and_water), (0..30).chain(395..=400).collect::<Vec<_>>());
    // Later it leans on the wall, and reads less than in water.
    let leaning = |quarter| (300..330).contains(&quarter).then_some((-9.0, false)).or(bench_and_water(quarter));
    assert_eq!(out("", &leaning), (0..30).chain(395..=400).collect::<Vec<_>>());
    // One reading as the lid is opened.
    assert_eq!(out("", &|quarter| (quarter == 400).then_some((88.0, true))), [400]);
    // Bubbles lift a probe for hours, foam loads it for a day, something holds it up to the end, an hour of air amid the beer.
    assert_eq!(out("", &|quarter| (40..60).contains(&quarter).then_some((-9.0, false))), none);
    assert_eq!(out("", &|quarter| (20..110).contains(&quarter).then_some((8.0, false))), none);
    assert_eq!(out("", &|quarter| (quarter >= 390).then_some((9.0, false))), none);
    assert_eq!(out("", &|quarter| (100..104).contains(&quarter).then_some((86.0, true))), none);
    // A beer to which sugar is added after a day begins thinner than it ends.
    let sweetened = |quarter| (quarter < 90).then_some((-28.0, false));
    let sugar = format!("at,kind,batch\n{},sugar_added,b1\n", time(90));
    assert_eq!((out(&sugar, &sweetened), out("", &sweetened).len()), (none, 90));
}

/// A beer that falls by a degree between hourly readings, and a probe that begins another batch where the first one was then.
#[test]
fn a_steep_fall_beside_another_beginning_is_no_exchange_of_names() {
    let start = heelwort::Instant::parse("2031-03-01T00:00:00Z").unwrap();
    let falling = |hour: i32| (52.0 - 1.2 * f64::from(hour)).max(22.0);
    let row = |probe: &str, hour: i32, tilt: f64| {
        format!("{},{probe},{:.2},20.5\n", start.plus_hours(f64::from(hour)), tilt + 0.05 * f64::from(hour % 3))
    };
    let log = |jumps: bool| {
        let rows = (0..80).flat_map(|hour| {
            let later = 38.2 - 0.1 * f64::from(hour - 14).max(0.0);
            let (dunlin, knot) = if jumps && hour >= 14 { (later - 9.0, 38.2) } else { (falling(hour), later) };
            [row("dunlin", hour, dunlin), if hour >= 14 { row("knot", hour, knot) } else { String::new() }]
        });
        format!("at,probe,tilt_deg,temp_c\n{}", rows.collect::<String>())
    };
    let exchanged = |jumps: bool| {
        let season = load(&plain_with(&[
            (
                "batches.csv",
                "batch,strain,pitched_at,probe\nT1,glasswort,2031-03-01T00:00:00Z,dunlin\nT2,thrift,2031-03-01T13:30:00Z,knot\n",
            ),
            ("probes.csv", "probe,built_on\ndunlin,2031-01-05T00:00:00Z\nknot,2031-01-05T00:00:00Z\n"),
            ("references.csv", "at,sg,probe,batch\n"),
            ("readings.csv", &log(jumps)),
        ]));
        season.readings.flags.iter().filter(|flags| flags.intersects(Flags::EXCHANGED)).count()
    };
    assert_eq!(exchanged(false), 0);
    assert!(exchanged(true) > 100);
}
