//! Seasons that say little or nothing.

use heelwort::kinetics::{Status, Trait};
use heelwort::strains::{StrainSettings, Strains, Verdict};

use super::{Brewed, season};

const ATTENUATION: Trait = Trait::Attenuation;

fn run(batches: &[Brewed]) -> Strains {
    let (season, kinetics) = season(batches);
    let found = StrainSettings { traits: vec![ATTENUATION], ..Default::default() }.run(&season, &kinetics).unwrap();
    // Whatever it found, it can be shown.
    for frame in [found.to_frame(), found.contrasts_frame(), found.repeatability_frame(), found.power_frame()] {
        frame.unwrap();
    }
    found.chart().unwrap();
    found.contrast_chart().unwrap();
    found.curve_chart().unwrap();
    found.pair_of_traits_chart().unwrap();
    found.power_chart().unwrap();
    found.sentences(&[ATTENUATION]);
    found.to_string();
    found
}

fn batches(of: &[(&str, &[f64])]) -> Vec<Brewed> {
    let all = of.iter().flat_map(|(strain, values)| values.iter().map(move |value| (*strain, *value)));
    all.enumerate().map(|(i, (strain, value))| Brewed::new(i, strain, &[(ATTENUATION, value, 0.01)])).collect()
}

#[test]
fn no_batches_and_one_strain() {
    assert!(run(&[]).means.is_empty());
    let found = run(&batches(&[("sea-aster", &[0.75, 0.78, 0.74, 0.77])]));
    let mean = found.means[0].mean.estimate().unwrap();
    assert!((mean.value - 0.76).abs() < 1e-12 && found.contrasts.is_empty() && found.stuck_contrasts.is_empty());
    assert!((found.means[0].p_highest.unwrap() - 1.0).abs() < 1e-9);
    assert!(found.means[0].pooled.why().is_some());
}

#[test]
fn one_batch_a_strain() {
    let found = run(&batches(&[("sea-aster", &[0.75]), ("thrift", &[0.8]), ("samphire", &[0.7])]));
    for why in found.means.iter().map(|mean| mean.mean.why()).chain(found.contrasts.iter().map(|c| c.difference.why()))
    {
        assert!(why.unwrap().contains("one batch a strain"), "{why:?}");
    }
    assert_eq!((found.means.len(), found.contrasts.len()), (3, 3));
    // One strain with a second batch lends its spread to the others.
    let found = run(&batches(&[("sea-aster", &[0.75, 0.76, 0.77]), ("thrift", &[0.8])]));
    assert!(found.contrasts[0].difference.estimate().is_some(), "{found:?}");
    assert!(found.spreads.iter().any(|row| row.strain.as_deref() == Some("thrift") && row.sd.why().is_some()));
}

#[test]
fn identical_batches() {
    let found = run(&batches(&[("sea-aster", &[0.75, 0.75, 0.75]), ("thrift", &[0.8, 0.8])]));
    let why = found.means[0].mean.why().unwrap();
    assert!(why.contains("exactly"), "{why}");
    assert!(found.contrasts[0].difference.why().is_some() && found.contrasts[0].verdict.is_none());
}

#[test]
fn one_spread_that_has_to_serve_is_told() {
    let even = |far: f64| [0.75, 0.751, 0.749, 0.75 + far, 0.75 - far, 0.75 + 0.5 * far];
    let said = |far: f64| {
        let own = even(far);
        run(&batches(&[("thrift", &own[..3]), ("samphire", &own[3..])])).notes(&[ATTENUATION]).join(" ")
    };
    assert!(said(0.1).contains("batches are too few for a spread of each"), "{}", said(0.1));
    assert!(!said(0.001).contains("spread"), "{}", said(0.001));
}

#[test]
fn a_trait_that_no_batch_gave() {
    let none: Vec<Brewed> = (0..6).map(|i| Brewed::new(i, ["thrift", "samphire"][i % 2], &[])).collect();
    let found = run(&none);
    assert!(found.means.iter().all(|mean| mean.n == 0 && mean.mean.why() == Some("no batch gave it")));
    assert!(found.means.iter().all(|mean| mean.left_out == "3 without it" && mean.raw.is_none()));
    let mut one = batches(&[("thrift", &[0.8, 0.81, 0.79]), ("samphire", &[0.7, 0.72, 0.71])]);
    one.push(Brewed::new(9, "sea-aster", &[]));
    let found = run(&one);
    let of = |a: &str, b: &str| found.contrasts.iter().find(|c| c.a == a && c.b == b).unwrap();
    assert!(of("samphire", "thrift").verdict == Some(Verdict::Different));
    assert!(of("samphire", "sea-aster").difference.why().unwrap().contains("no batch gave it"));
}

#[test]
fn a_strain_written_two_ways_is_told_and_not_merged() {
    let found =
        run(&batches(&[("Sea Lavender", &[0.75, 0.78]), ("sea-lavender", &[0.74, 0.77]), ("thrift", &[0.8, 0.81])]));
    assert_eq!(found.means.len(), 3);
    assert_eq!(found.alike, [("Sea Lavender".to_owned(), "sea-lavender".to_owned())]);
    assert!(found.sentences(&[])[0].contains("look like one strain"));
    let found = run(&batches(&[
        ("samphire", &[0.75, 0.78]),
        ("samhpire", &[0.74, 0.77]),
        ("US-05", &[0.7]),
        ("US-04", &[0.8]),
    ]));
    assert_eq!(found.alike, [("samhpire".to_owned(), "samphire".to_owned())]);
}

#[test]
fn all_batches_stuck() {
    let mut all = batches(&[("thrift", &[0.6, 0.61, 0.59]), ("samphire", &[0.5, 0.52, 0.51])]);
    all.iter_mut().for_each(|batch| batch.status = Status::Stuck);
    let found = run(&all);
    assert!(found.means.iter().all(|mean| mean.n == 0 && mean.left_out == "3 stuck" && mean.mean.why().is_some()));
    assert!(found.stuck.iter().all(|share| share.stuck == 3 && share.share.as_ref().is_some_and(|e| e.lower > 0.3)));
    assert!(found.stuck_contrasts[0].p_adjusted > 0.999);
}

#[test]
fn stuck_batches_are_counted_and_move_no_attenuation() {
    let mut all = batches(&[("thrift", &[0.8, 0.81, 0.79, 0.8]), ("samphire", &[0.7, 0.72, 0.71, 0.69])]);
    let clean = run(&all);
    for i in 0..3 {
        let mut stuck = Brewed::new(20 + i, "thrift", &[(ATTENUATION, 0.5, 0.01)]);
        stuck.status = Status::Stuck;
        all.push(stuck);
    }
    let mut running = Brewed::new(30, "samphire", &[]);
    running.status = Status::Slowing;
    all.push(running);
    let found = run(&all);
    assert_eq!(clean.contrasts[0].difference, found.contrasts[0].difference);
    assert_eq!((found.means[1].left_out.as_str(), found.means[0].left_out.as_str()), ("3 stuck", "1 without it"));
    assert_eq!((found.stuck[1].n, found.stuck[1].stuck, found.stuck[0].unfinished), (7, 3, 1));
    // One that is more likely stuck than not moves no attenuation either, but is not called stuck.
    let mut likely = Brewed::new(40, "thrift", &[(ATTENUATION, 0.7, 0.01)]);
    likely.p_stuck = Some(0.6);
    all.push(likely);
    let found = run(&all);
    assert_eq!(clean.contrasts[0].difference, found.contrasts[0].difference);
    assert_eq!((found.means[1].left_out.as_str(), found.stuck[1].stuck), ("3 stuck, 1 probably stuck", 3));
}

#[test]
fn what_goes_with_the_strain_is_named() {
    let mut all =
        batches(&[("thrift", &[0.8, 0.81, 0.79, 0.8, 0.78, 0.82]), ("samphire", &[0.7, 0.72, 0.71, 0.69, 0.7, 0.73])]);
    for (i, batch) in all.iter_mut().enumerate() {
        batch.row.set_temp_c = Some(if i < 6 { 24.0 } else { 12.0 } + 0.3 * (i % 3) as f64);
        batch.row.mash_temp_c = Some(if i < 6 { 68.0 } else { 64.0 });
        batch.row.wort = Some(if i < 6 { "pale" } else { "table" }.to_owned());
    }
    let found = run(&all);
    let how = found.how(ATTENUATION).unwrap();
    let said = how.notes.join("; ");
    assert!(said.contains("cannot be told from that of the strain: mash temperature"), "{said}");
    assert!(
        said.contains("compared together with their wort, which no other strain had: samphire and thrift"),
        "{said}"
    );
    assert!(how.conditions.contains("usual temperature"), "{}", how.conditions);
    assert!(said.contains("temperature goes with the strain (samphire 12.3 \u{b0}C, thrift 24.3 \u{b0}C)"), "{said}");
    // With the slope from within the strains and each at its own temperature the difference is that of the plain means.
    let raw = found.means[0].raw.unwrap() - found.means[1].raw.unwrap();
    assert!((found.contrasts[0].difference.value().unwrap() - raw).abs() < 1e-9);
}

#[test]
fn the_order_of_batches_is_allowed_for_where_asked() {
    // Strains take turns, and all attenuate further by a hundredth a week.
    let mut all: Vec<Brewed> = (0..20)
        .map(|i| {
            let (own, off) = ([0.75, 0.8][i % 2], [0.001, -0.002, 0.001][i % 3]);
            Brewed::new(i, ["thrift", "samphire"][i % 2], &[(ATTENUATION, own + 0.01 * i as f64 + off, 0.002)])
        })
        .collect();
    for (i, batch) in all.iter_mut().enumerate() {
        batch.row.pitched_at = batch.row.pitched_at.plus_hours(168.0 * i as f64);
    }
    let (season, kinetics) = season(&all);
    let of = |by_day| {
        let settings = StrainSettings { traits: vec![ATTENUATION], by_day, ..Default::default() };
        settings.run(&season, &kinetics).unwrap()
    };
    let (plain, by_day) = (of(false), of(true));
    let difference = |found: &Strains| found.contrasts[0].difference.estimate().unwrap().clone();
    // Samphire was always a week later.
    assert!((difference(&plain).value - 0.06).abs() < 0.001 && difference(&plain).lower < 0.02);
    assert!((difference(&by_day).value - 0.05).abs() < 0.002 && difference(&by_day).lower > 0.04);
    let said = &by_day.how(ATTENUATION).unwrap().conditions;
    assert!(said == "day of the season 66" || said == "day of the season 67", "{said}");
}

#[test]
fn a_house_strain_must_exist() {
    let all = batches(&[
        ("thrift", &[0.8, 0.81, 0.79]),
        ("samphire", &[0.7, 0.72, 0.71]),
        ("sea-aster", &[0.75, 0.76, 0.74]),
    ]);
    let (season, kinetics) = season(&all);
    let settings = StrainSettings { traits: vec![ATTENUATION], house: Some("cordgras".into()), ..Default::default() };
    let why = settings.run(&season, &kinetics).unwrap_err().to_string();
    assert!(why.contains("cordgras") && why.contains("samphire, sea-aster, thrift"), "{why}");
    let found = StrainSettings { house: Some("thrift".into()), ..settings }.run(&season, &kinetics).unwrap();
    // Two comparisons instead of three: shorter intervals, and none without the house strain.
    for contrast in &found.contrasts {
        let (all, house) = (contrast.difference.estimate().unwrap(), &contrast.house);
        assert_eq!(house.is_some(), contrast.b == "thrift" || contrast.a == "thrift");
        assert!(house.as_ref().is_none_or(|h| h.difference.upper - h.difference.lower < all.upper - all.lower));
    }
}

#[test]
fn a_strain_alone_in_its_vessel_is_named() {
    let mut all = batches(&[
        ("thrift", &[0.8, 0.81, 0.79]),
        ("samphire", &[0.7, 0.72, 0.71]),
        ("sea-aster", &[0.75, 0.76, 0.74]),
    ]);
    let vessels = ["one", "one", "one", "two", "three", "two", "three", "two", "four"];
    all.iter_mut().zip(vessels).for_each(|(batch, vessel)| batch.row.vessel = Some(vessel.to_owned()));
    // A probe for each batch is nobody's own.
    (0..9).for_each(|i| all[i].row.probes = vec![format!("probe {i}")]);
    let notes = run(&all).how(ATTENUATION).unwrap().notes.clone();
    assert_eq!(notes, ["compared together with their vessel, which no other strain had: thrift"]);
    // A batch of which nobody wrote it down may have been in any.
    all[1].row.vessel = None;
    assert!(run(&all).how(ATTENUATION).unwrap().notes.is_empty());
}

#[test]
fn of_a_hundred_and_one_strains_the_best_twenty_are_compared() {
    let names: Vec<String> = (0..101).map(|i| format!("strain {i:03}")).collect();
    let all: Vec<Brewed> = (0..303)
        .map(|i| {
            let value = 0.5 + 0.002 * (i / 3) as f64 + 0.01 * ((i % 3) as f64 - 1.0);
            Brewed::new(i, &names[i / 3], &[(ATTENUATION, value, 0.001)])
        })
        .collect();
    let (season, kinetics) = season(&all);
    let settings = StrainSettings { traits: vec![ATTENUATION], house: Some(names[0].clone()), ..Default::default() };
    let found = settings.run(&season, &kinetics).unwrap();
    assert_eq!((found.means.len(), found.contrasts.len()), (101, 190));
    let compared: Vec<&str> =
        found.means.iter().filter(|mean| mean.mean.estimate().is_some()).map(|mean| mean.strain.as_str()).collect();
    assert_eq!((compared.len(), compared[0], compared[1]), (20, "strain 000", "strain 082"));
    assert!(found.means[50].raw.is_some() && found.means[50].mean.why().unwrap().contains("not among the 20 strains"));
    // Student's t on 40 degrees of freedom at 5 % shared among 5050 pairs, and among 100 from the house strain
    // (scipy.stats.t 1.17).
    let pair = &found.contrasts[0];
    let e = pair.difference.estimate().unwrap();
    assert!(((e.upper - e.value) / e.se - 5.0561).abs() < 1e-3 && e.method.ends_with("Bonferroni"), "{e}");
    let e = &pair.house.as_ref().unwrap().difference;
    assert!(((e.upper - e.value) / e.se - 3.7884).abs() < 1e-3, "{e}");
}
