//! Answers averaged over whether and when a probe shifted: a shift that was found may be none, one that was not may be there.

use super::*;
use crate::drift::model::FleetModel;
use crate::drift::model::low_rank_update::tests::{part, step};

/// A model of `probes` copies of one that was found to have shifted, or not.
fn model(probes: usize, found: bool) -> FleetModel {
    let bare = part(Vec::new());
    let one = |index: usize| {
        let mut part = part(if found { vec![step(&bare, 3.3, 0.006)] } else { Vec::new() });
        part.shared.effects = vec![index];
        part
    };
    FleetModel { probes: (0..probes).map(one).collect(), prior_sd: vec![None; probes], beer: None, slope_mean: 0.0 }
}

#[test]
fn a_shift_in_doubt_widens_the_slope_without_it() {
    let (with, none) = (model(1, true), model(1, false));
    let (with, none) = (Averaged::over(&with).unwrap(), Averaged::over(&none).unwrap());
    let (fixed, never) = (with.slope(0, false, 0.9).unwrap(), none.slope(0, false, 0.9).unwrap());
    // Found or not, the doubt is the same, and the slope lies between those of its two answers.
    for averaged in [with, none] {
        let (part, over) = (&averaged.model.probes[0], ShiftAverage::new(&averaged, 0.006));
        let gradual = over.mixture(0, |at| part.slope_target(at, false), |_| 0.0);
        assert!(gradual.sd() > 1.05 * fixed.se, "{} {fixed}", gradual.sd());
        assert!(fixed.value < gradual.mean() && gradual.mean() < never.value, "{} {fixed} {never}", gradual.mean());
    }
}

#[test]
fn when_in_its_gap_a_shift_was_is_in_doubt() {
    let step = |found| PossibleStep { term: step(&part(Vec::new()), 3.3, 0.006), between: (3.0, 3.6), found };
    let at = |found, months: f64| step(found).moves(&|step: &ShiftTerm| step.at_age(months));
    assert_eq!([2.9, 3.3, 3.7].map(|months| at(None, months)), [(0.0, 0.0), (0.5, 0.25), (1.0, 0.0)]);
    // The model has one that was found in the middle.
    assert_eq!([2.9, 3.3, 3.7].map(|months| at(Some(1e-5), months)), [(0.0, 0.0), (1.0, 0.5), (1.0, 0.0)]);
}

#[test]
fn where_shifts_are_frequent_one_is_believed_sooner() {
    let model = model(1, false);
    let averaged = Averaged::over(&model).unwrap();
    let probe = ProbeGuesses::new(&averaged, 0, 0.006);
    let gradual = |rate: f64| {
        let probes = vec![ProbeGuesses::new(&averaged, 0, 0.006).believed(&[(rate, 0.0)])];
        let over = ShiftAverage { averaged: &averaged, probes };
        over.mixture(0, |at| model.probes[0].slope_target(at, false), |_| 0.0).mean()
    };
    assert!(gradual(0.5) < gradual(0.02) && gradual(0.02) < gradual(1e-4), "{} {}", gradual(0.5), gradual(0.02));
    // And this probe speaks for frequent ones.
    assert!(probe.ln_likelihood(0.2) > probe.ln_likelihood(1e-4));
}
