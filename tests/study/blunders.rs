//! One wrong entry at a time in a season that is otherwise as before: is it named, and does it move gravities?
#![allow(clippy::print_stdout)]

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{Drift, DriftSettings, Misfit, MisfitKind};
use heelwort::gravity::{Gravity, GravityLayers};
use heelwort::season::{Reference, ReferenceUse, Season};
use heelwort::simulate::SimulateSettings;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Blunder {
    /// A sample is read 0.010 off.
    Misread,
    /// A sample has the value of another batch at the time.
    OtherBatch,
    /// A check bath, of all probes in it, is 0.006 off: a tenth of its sugar.
    Bath,
    /// The original gravity is written down 0.010 off.
    Original,
    /// The last two samples of a batch are another's, that has hardly begun.
    Rising,
    /// Two probes have each other's names in the log from the pitching of the later of two batches on.
    Exchanged,
}

/// Whether a misfit names the wrong entry.
type Names = Box<dyn Fn(&Misfit) -> bool>;

/// The season with one wrong entry, and whether a misfit names it; none where it has no place for one.
fn plant(season: &Season, blunder: Blunder, rng: &mut ChaCha8Rng) -> Option<(Season, Names)> {
    let mut season = season.clone();
    let sign = if rng.random::<bool>() { 1.0 } else { -1.0 };
    let pick = |rng: &mut ChaCha8Rng, all: Vec<usize>| (!all.is_empty()).then(|| all[rng.random_range(0..all.len())]);
    let rows = |of: &dyn Fn(&Reference) -> bool| {
        season.references.iter().enumerate().filter(|(_, r)| of(r)).map(|(i, _)| i).collect::<Vec<_>>()
    };
    let plain = |r: &Reference| r.is_sample() && r.raw_sg.is_none() && r.raw_brix.is_none();
    match blunder {
        Blunder::Misread => {
            let row = pick(rng, rows(&plain))?;
            season.references[row].sg += 0.010 * sign;
            Some((season, Box::new(move |m| m.kind == MisfitKind::Sample && m.reference == Some(row))))
        }
        Blunder::OtherBatch => {
            let row = pick(rng, rows(&plain))?;
            let here = season.references[row].clone();
            let other = season.references.iter().filter(|r| plain(r) && r.batch != here.batch);
            let near = other.min_by_key(|r| (r.at.hours_since(here.at).abs() * 60.0) as i64)?.sg;
            if (near - here.sg).abs() < 0.006 {
                return None;
            }
            season.references[row].sg = near;
            Some((season, Box::new(move |m| m.kind == MisfitKind::Sample && m.reference == Some(row))))
        }
        Blunder::Rising => {
            let of = |batch: &str| rows(&|r| plain(r) && r.batch.as_deref() == Some(batch));
            let with: Vec<Vec<usize>> =
                season.batches.iter().map(|b| of(&b.batch)).filter(|rows| rows.len() > 3).collect();
            let rows = with.get(rng.random_range(0..with.len().max(1)))?;
            let last = [rows[rows.len() - 2], rows[rows.len() - 1]];
            for (row, more) in last.iter().zip([0.015, 0.029]) {
                season.references[*row].sg += more;
            }
            Some((
                season,
                Box::new(move |m| m.kind == MisfitKind::Sample && m.reference.is_some_and(|row| last.contains(&row))),
            ))
        }
        Blunder::Bath => {
            let late = season.batches.first()?.pitched_at;
            let row = pick(rng, rows(&|r| r.bath.is_some() && r.at > late && r.sg > 1.03))?;
            let bath = season.references[row].bath.clone();
            for reference in season.references.iter_mut().filter(|r| r.bath == bath) {
                reference.sg += 0.006 * sign;
            }
            Some((season, Box::new(move |m| m.kind == MisfitKind::Bath && m.bath == bath)))
        }
        Blunder::Original => {
            let with: Vec<usize> =
                (0..season.batches.len()).filter(|i| season.batches[*i].original_sg.is_some()).collect();
            let batch = &mut season.batches[pick(rng, with)?];
            batch.original_sg = batch.original_sg.map(|sg| sg + 0.010 * sign);
            let batch = Some(batch.batch.clone());
            Some((season, Box::new(move |m| m.kind == MisfitKind::Original && m.batch == batch)))
        }
        Blunder::Exchanged => {
            let batches = season.batches.clone();
            let overlap = |a: usize, b: usize| {
                let (a, b) = (&batches[a], &batches[b]);
                a.probes.len() == 1 && b.probes.len() == 1 && b.pitched_at.days_since(a.pitched_at).abs() < 5.0
            };
            let pairs: Vec<(usize, usize)> = (0..batches.len())
                .flat_map(|a| (a + 1..batches.len()).map(move |b| (a, b)))
                .filter(|(a, b)| overlap(*a, *b))
                .collect();
            let (a, b) = *pairs.get(rng.random_range(0..pairs.len().max(1)))?;
            let (first, second) = (batches[a].probes[0].clone(), batches[b].probes[0].clone());
            season.batches[a].probes = vec![second.clone()];
            season.batches[b].probes = vec![first.clone()];
            let ids = [a, b].map(|i| season.readings.batch_index(&batches[i].batch).unwrap());
            for of in &mut season.readings.batch {
                *of = match *of {
                    Some(batch) if batch == ids[0] => Some(ids[1]),
                    Some(batch) if batch == ids[1] => Some(ids[0]),
                    other => other,
                };
            }
            let names = [batches[a].batch.clone(), batches[b].batch.clone()];
            Some((
                season,
                Box::new(move |m| {
                    m.kind == MisfitKind::Readings && m.batch.as_ref().is_some_and(|of| names.contains(of))
                }),
            ))
        }
    }
}

fn studied(season: &Season) -> (Drift, Gravity) {
    let calibrations = CalibrationSettings::default().fit(season).unwrap();
    let drift = DriftSettings::default().fit(season, &calibrations).unwrap();
    let gravity = calibrations.gravity(season).unwrap();
    let layers = GravityLayers { drift: drift.of_readings(season, &calibrations, &gravity), ..Default::default() };
    let gravity = gravity.with_layers(&layers);
    (drift, gravity)
}

/// The largest move of a gravity, in its standard errors.
fn moved(before: &Gravity, after: &Gravity) -> f64 {
    let pairs = before.corrected.iter().zip(&after.corrected);
    pairs.filter_map(|(a, b)| Some((a.as_ref()?.sg - b.as_ref()?.sg).abs() / a.as_ref()?.se)).fold(0.0, f64::max)
}

/// Wrong entries that were named, entries that were named beside them, and the largest move of a gravity, by season.
fn outcomes(blunder: Blunder, seeds: std::ops::Range<u64>) -> Vec<(bool, usize, f64)> {
    let settings =
        SimulateSettings { batches: 16, probes: 5, reading_minutes: 30.0, span_days: 90.0, ..Default::default() };
    let mut found = Vec::new();
    for seed in seeds {
        let season = SimulateSettings { seed, ..settings.clone() }.run().unwrap().season;
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let Some((wrong, named)) = plant(&season, blunder, &mut rng) else { continue };
        let ((clean, before), (drift, after)) = (studied(&season), studied(&wrong));
        let hit = drift.misfits.iter().any(&named);
        let others = drift.misfits.iter().filter(|m| !named(m)).count().saturating_sub(clean.misfits.len());
        found.push((hit, others, moved(&before, &after)));
    }
    found
}

fn hold(blunder: Blunder, seeds: std::ops::Range<u64>) {
    let all = outcomes(blunder, seeds);
    let n = all.len() as f64;
    let named = all.iter().filter(|o| o.0).count() as f64 / n;
    let others = all.iter().map(|o| o.1).sum::<usize>() as f64 / n;
    let still = all.iter().filter(|o| o.2 < 1.0).count() as f64 / n;
    println!(
        "{blunder:?}: {n} seasons, named {named:.2}, others named {others:.2}, no gravity moved by its SE {still:.2} {all:?}"
    );
    // Known to fall short: an original gravity is only met where a probe read still wort, and of exchanged probes the samples are
    // named instead where few of them disagree.
    let (wanted, beside) = match blunder {
        Blunder::Original => (0.3, 0.3),
        Blunder::Exchanged => (0.4, 0.8),
        _ => (0.8, 0.3),
    };
    assert!(n >= 5.0 && named >= wanted && others <= beside, "{blunder:?}: named {named:.2}, others {others:.2}");
    // Without a bath of a later calibration the curve is another: known to move gravities by one to two errors in four of ten seasons.
    let least = if blunder == Blunder::Bath { 0.4 } else { 0.8 };
    if blunder != Blunder::Exchanged {
        assert!(still >= least, "{blunder:?}: gravities stay in {still:.2}");
    }
}

#[test]
fn a_misread_sample_is_named_and_moves_no_gravity() {
    hold(Blunder::Misread, 61_000..61_006);
}

/// They would else take the readings of the batch with them.
#[test]
fn samples_that_rise_speak_against_themselves() {
    hold(Blunder::Rising, 61_010..61_016);
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn one_wrong_entry_is_named_and_moves_no_gravity() {
    for blunder in [Blunder::Misread, Blunder::OtherBatch, Blunder::Bath, Blunder::Original, Blunder::Exchanged] {
        hold(blunder, 62_000..62_010);
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn in_seasons_without_a_wrong_entry_few_are_named() {
    let seeds = 63_000..63_024;
    let named = |seed: u64| {
        let season = SimulateSettings { seed, ..SimulateSettings::default() }.run().unwrap().season;
        let calibrations = CalibrationSettings::default().fit(&season).unwrap();
        DriftSettings::default().fit(&season, &calibrations).unwrap().misfits
    };
    let all: Vec<Vec<Misfit>> = seeds.clone().map(named).collect();
    let seasons = all.iter().filter(|misfits| !misfits.is_empty()).count();
    println!("{seasons} of {} seasons name an entry: {all:?}", all.len());
    assert!(seasons <= 4, "{seasons} of {}", all.len());
}

/// A row that the user marks as wrong is as good as not there.
#[test]
fn an_ignored_reference_tells_nothing() {
    let settings = SimulateSettings { batches: 4, probes: 2, reading_minutes: 60.0, ..SimulateSettings::default() };
    let season = settings.run().unwrap().season;
    let row = season.references.iter().rposition(Reference::is_sample).unwrap();
    let (mut ignored, mut without) = (season.clone(), season);
    ignored.references[row].sg += 0.02;
    ignored.references[row].use_as = Some(ReferenceUse::Ignore);
    without.references.remove(row);
    let ((marked, one), (gone, other)) = (studied(&ignored), studied(&without));
    // A marked row still has its place among the sources of error, so that sums run in another order.
    assert!(moved(&one, &other) < 1e-3, "{}", moved(&one, &other));
    assert_eq!(marked.misfits.len(), gone.misfits.len());
    assert_eq!(marked.pairs.len(), gone.pairs.len());
}
