//! What fails in one batch is told in that batch, and the others stay as they are.

use heelwort::gravity::{Disturbance, ErrorKnot, GravitySeries, KnownErrors, SeriesSample};
use heelwort::kinetics::{BatchFit, KineticsSettings, Trait};

use crate::process::{Log, Process, Truth, generator};

fn series(seed: u64, batch: &str) -> GravitySeries {
    let truth = Truth::new(Process::Sugars, 1.050, 1.012, 1.0, &mut generator(seed));
    Log::default().series(&truth, batch, "samphire", &mut generator(seed + 100))
}

fn settings() -> KineticsSettings {
    KineticsSettings::default()
}

/// Each trait is a finite number or says why it is missing.
fn check(fit: &BatchFit) {
    for which in Trait::ALL {
        match fit.finding(which).estimate() {
            Some(e) => assert!(e.value.is_finite() && e.se.is_finite(), "{} {which}: {e}", fit.batch),
            None => assert!(!fit.why.is_empty(), "{} says no reason for {which}", fit.batch),
        }
    }
}

#[test]
fn two_acts_within_an_hour_are_two_shifts() {
    let mut hopped = series(21, "B1");
    hopped.disturbed = [150.1, 150.4].map(|hours| Disturbance { hours, probe: None, jump_sg: 0.0 }).to_vec();
    // Readings between the two, so that both can be told.
    let after = hopped.hours.iter().position(|hours| *hours > 150.1).unwrap();
    hopped.hours[after] = 150.25;
    let fit = settings().fit(&hopped).unwrap();
    check(&fit);
    assert_eq!(fit.steps.iter().map(|step| step.hours).collect::<Vec<_>>(), [150.1, 150.4], "{}", fit.why);
    assert!(fit.fitted.is_some());
}

#[test]
fn numbers_that_cannot_be_stop_no_other_batch() {
    let sample = |hours: f64, sg: f64, sd: f64| SeriesSample { hours, sg, sd, known_hours: hours, instrument: None };
    let good = series(22, "good");
    let [mut exact, mut absurd, mut back, mut known] =
        ["exact", "absurd", "back", "known"].map(|name| series(23, name));
    exact.samples = (0..6).map(|i| sample(30.0 * f64::from(i), 1.050 - 0.005 * f64::from(i), 1e-9)).collect();
    absurd.own_sd.fill(1e200);
    absurd.shared_sd.fill(1e200);
    back.hours.reverse();
    known.known = Some(KnownErrors::new(vec![ErrorKnot { probe: 0, sg: 1.03 }], vec![f64::NAN], vec![vec![f64::NAN]]));
    let alone = settings().fit_all(std::slice::from_ref(&good)).unwrap();
    let all = settings().fit_all(&[exact, absurd, good, back, known]).unwrap();
    assert_eq!(all.batches.len(), 5);
    all.batches.iter().for_each(check);
    assert_eq!(all.get("good"), alone.get("good"));
    let why = |batch: &str| all.get(batch).unwrap().why.as_str();
    assert!(why("back").contains("goes back in time"), "{}", why("back"));
    assert!(why("known").contains("known errors of the probes"), "{}", why("known"));
    assert!(all.to_frame().unwrap().height() == 5);
}
