//! Strains ranked by weights: what is missing is defined, and probabilities are as often right as they say.

use std::collections::BTreeMap;

use heelwort::kinetics::Trait;
use heelwort::strains::{StrainRank, StrainSettings, Strains};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use rayon::prelude::*;

use super::{Brewed, season};

const BOTH: [Trait; 2] = [Trait::Attenuation, Trait::T90H];
const STRAINS: [&str; 4] = ["cordgrass", "samphire", "sea-aster", "thrift"];

fn weighed(weights: &[(Trait, f64)]) -> StrainSettings {
    StrainSettings { traits: BOTH.to_vec(), weights: weights.iter().copied().collect(), ..Default::default() }
}

fn run(settings: &StrainSettings, batches: &[Brewed]) -> Strains {
    let (season, kinetics) = season(batches);
    let found = settings.run(&season, &kinetics).unwrap();
    assert_eq!(found.ranking_frame().unwrap().height(), found.ranking.len());
    found
}

/// Four batches a strain: the second attenuates further by twice the margin and takes half as long again.
fn two() -> Vec<Brewed> {
    let one = |i: usize| {
        let (s, off) = (i % 2, [-1.0, 0.0, 0.2, 0.8][i / 2]);
        let hours = [80.0, 120.0][s] * (1.0 + 0.02 * off);
        Brewed::new(
            i,
            STRAINS[s],
            &[(Trait::Attenuation, 0.74 + 0.04 * s as f64 + 0.004 * off, 0.002), (Trait::T90H, hours, 1.0)],
        )
    };
    (0..8).map(one).collect()
}

#[test]
fn weights_decide_who_is_first() {
    let first = |weights: &[(Trait, f64)]| -> StrainRank { run(&weighed(weights), &two()).ranking[0].clone() };
    let far = first(&[(Trait::Attenuation, 1.0), (Trait::T90H, 0.0)]);
    // 0.04 apart with a margin of 0.02: two points, one to each side of the mean.
    assert!(far.strain == "samphire" && (far.points.value().unwrap() - 1.0).abs() < 1e-9 && far.p_place[0] > 0.99);
    assert_eq!(far.places(), Some((1, 1)));
    let fast = first(&[(Trait::Attenuation, 1.0), (Trait::T90H, -1.0)]);
    // About 40 h at 12 h a point, less two points.
    assert!(fast.strain == "cordgrass" && (0.6..0.72).contains(&fast.points.value().unwrap()), "{fast:?}");
    let said = run(&weighed(&[(Trait::Attenuation, 1.0)]), &two()).sentences(&[]).join(" ");
    assert!(said.contains("Most likely the first by your weights: samphire (99 %)"), "{said}");
}

#[test]
fn without_weights_or_traits_it_is_defined() {
    for none in [weighed(&[]), weighed(&[(Trait::Attenuation, 0.0), (Trait::LagH, 0.0)])] {
        assert!(run(&none, &two()).ranking.is_empty());
    }
    // A strain without a time has no place.
    let mut all = two();
    all.extend((8..11).map(|i| Brewed::new(i, "thrift", &[(Trait::Attenuation, 0.9 + 0.001 * i as f64, 0.002)])));
    let ranking = run(&weighed(&[(Trait::Attenuation, 1.0), (Trait::T90H, -1.0)]), &all).ranking;
    let why = ranking[2].points.why().unwrap();
    assert!(ranking[2].strain == "thrift" && why == "no mean of t90_h" && ranking[2].places().is_none(), "{why}");
    assert!(ranking[..2].iter().all(|one| (one.p_place.iter().sum::<f64>() - 1.0).abs() < 1e-9));
    // A trait that no batch gave, and one that is not compared.
    let only: Vec<Brewed> = all.drain(8..).collect();
    let ranking = run(&weighed(&[(Trait::T90H, -1.0)]), &only).ranking;
    assert!(ranking.len() == 1 && ranking[0].points.why().is_some());
    let (season, kinetics) = season(&two());
    let why = weighed(&[(Trait::LagH, 1.0)]).run(&season, &kinetics).unwrap_err().to_string();
    assert!(why.contains("weights") && why.contains("lag_h"), "{why}");
    assert!(weighed(&[(Trait::T90H, f64::NAN)]).check().is_err());
    let wrong = serde_json::from_str::<StrainSettings>("{\"weights\": {\"t90\": 1.0}}").unwrap_err().to_string();
    assert!(wrong.contains("t90_h"), "{wrong}");
}

/// Strains differ by a few errors of their means, batches are uneven, and the two traits go together.
#[test]
#[ignore = "hundreds of seasons, run in release by .ci/run"]
fn probabilities_of_places_are_as_often_right_as_they_say() {
    let seasons = std::env::var("HEELWORT_SEASONS").map_or(1000_u64, |asked| asked.parse().unwrap());
    let apart: f64 = std::env::var("HEELWORT_APART").map_or(2.0, |asked| asked.parse().unwrap());
    let one = |seed: u64| {
        let mut rng = ChaCha8Rng::seed_from_u64(29_000_000 + seed);
        let mut normal = || -> f64 { rng.sample(StandardNormal) };
        let mut batches = Vec::new();
        let mut worth = BTreeMap::new();
        for (s, n) in [4, 6, 8, 12].into_iter().enumerate() {
            let (far, slow) = (0.75 + apart * 0.018 * normal(), 4.6 + apart * 0.1 * normal());
            worth.insert(STRAINS[s], far / 0.02 - slow.exp() / 12.0);
            for _ in 0..n {
                let both = normal();
                let (own, other) = (0.6 * both + 0.8 * normal(), 0.6 * both + 0.8 * normal());
                let far = far + 0.018 * own + 0.008 * normal();
                let hours = (slow + 0.1 * other + 0.04 * normal()).exp();
                let traits = [(Trait::Attenuation, far, 0.008), (Trait::T90H, hours, 0.04 * hours)];
                batches.push(Brewed::new(batches.len(), STRAINS[s], &traits));
            }
        }
        let ranking = run(&weighed(&[(Trait::Attenuation, 1.0), (Trait::T90H, -1.0)]), &batches).ranking;
        let mean = worth.values().sum::<f64>() / 4.0;
        let of = |row: &StrainRank| {
            let own = worth[row.strain.as_str()];
            let place = worth.values().filter(|other| **other > own).count();
            let (first, last) = row.places().unwrap();
            let e = row.points.estimate().unwrap();
            let held = (e.lower..=e.upper).contains(&(own - mean));
            (row.p_place[0], place == 0, row.p_place[place], held, (first..=last).contains(&(place + 1)))
        };
        ranking.iter().map(of).collect::<Vec<_>>()
    };
    let all: Vec<_> = (0..seasons).into_par_iter().flat_map_iter(one).collect();
    let n = all.len() as f64;
    let share = |held: usize| held as f64 / n;
    let (points, places) = (share(all.iter().filter(|x| x.3).count()), share(all.iter().filter(|x| x.4).count()));
    println!("apart {apart}: points of 90 % hold {points:.3}, places {places:.3}");
    for (low, high) in [(0.0, 0.05), (0.05, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.95), (0.95, 1.01)] {
        let own: Vec<_> = all.iter().filter(|x| (low..high).contains(&x.0)).collect();
        let n = own.len() as f64;
        let said = own.iter().map(|x| x.0).sum::<f64>() / n;
        let was = own.iter().filter(|x| x.1).count() as f64 / n;
        let error = (said * (1.0 - said) / n).sqrt();
        println!("first with {said:.3}: {was:.3} of {n}, {:+.1} errors", (was - said) / error);
        assert!((was - said).abs() < 3.0 * error + 0.005, "{said} {was}");
    }
    assert!((0.88..0.92).contains(&points) && places > 0.9, "{points} {places}");
}
