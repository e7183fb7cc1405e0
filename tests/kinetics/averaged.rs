//! Traits averaged over the candidate curves.

use heelwort::kinetics::{CurveKind, KineticsSettings, Status, Trait};

use crate::process::{Log, PROCESSES, Process, Truth, generator};

use super::coverage::simulate;

fn averaged() -> KineticsSettings {
    KineticsSettings { averaged: true, ..Default::default() }
}

#[test]
fn averaged_traits_are_weighted_means_of_the_candidates_and_say_so() {
    let truth = Truth::new(Process::Sugars, 1.050, 1.012, 1.0, &mut generator(41));
    let series = Log::default().series(&truth, "B1", "samphire", &mut generator(42));
    let (plain, mean) = (KineticsSettings::default().fit(&series).unwrap(), averaged().fit(&series).unwrap());
    assert_eq!((plain.curve_name(), mean.curve_name()), (Some("smooth"), Some("averaged")));
    let weights: f64 = mean.candidates.iter().map(|candidate| candidate.akaike_weight).sum();
    assert!((weights - 1.0).abs() < 1e-12, "{weights}");
    for which in Trait::ALL {
        let found = mean.finding(which).estimate().unwrap();
        assert!(found.method.contains("Akaike"), "{found}");
        let of = |value: fn(&heelwort::fit::Estimate) -> f64| {
            // Half of the weight is the smooth curve's, for there being no right one.
            let one = |c: &heelwort::kinetics::Candidate| {
                let none_right = if c.curve == CurveKind::Smooth { 0.5 } else { 0.0 };
                let weight = 0.5 * c.akaike_weight + none_right;
                c.traits.get(which as usize).and_then(|t| t.estimate()).map_or(0.0, |e| weight * value(e))
            };
            mean.candidates.iter().map(one).sum::<f64>()
        };
        assert!((found.value - of(|e| e.value)).abs() < 1e-9 * found.value, "{which}: {found}");
        // The doubt about the curve only adds.
        assert!(found.se >= of(|e| e.se) * (1.0 - 1e-9), "{which}: {found}");
    }
    let kinetics = averaged().fit_all(&[series]).unwrap();
    let frame = kinetics.to_frame().unwrap();
    assert_eq!(frame.column("curve").unwrap().str().unwrap().get(0), Some("averaged"));
}

#[test]
fn a_batch_without_a_curve_has_nothing_to_average() {
    let flat = Truth::new(Process::Sugars, 1.050, 1.0499, 1.0, &mut generator(43));
    let fit = averaged().fit(&Log::default().series(&flat, "B1", "samphire", &mut generator(45))).unwrap();
    assert!(fit.status == Status::NotStarted && fit.curve_name().is_none() && fit.candidates.is_empty(), "{fit}");
}

#[test]
fn averaged_intervals_cover_in_a_few_batches() {
    for (which, tally) in simulate(Process::Sugars, 16, &averaged(), 6100) {
        if matches!(which, Trait::OriginalSg | Trait::TerminalSg | Trait::Attenuation) {
            // Of 16 at 90 %, 10 or fewer happen once in five hundred times.
            assert!(tally.n == 16 && tally.covered > 10, "{which} {tally}");
        }
    }
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn averaged_intervals_cover_on_processes_that_no_logistic_equals() {
    for process in PROCESSES {
        println!("{process:?}");
        for (which, tally) in simulate(process, 100, &averaged(), 6200) {
            println!("  {which:22} {tally}");
            if matches!(which, Trait::T90H | Trait::FinishH) {
                assert!(tally.coverage() >= 0.85, "{process:?} {which} {tally}");
            }
            if matches!(which, Trait::OriginalSg | Trait::TerminalSg | Trait::Attenuation) {
                assert!((0.80..=0.99).contains(&tally.coverage()), "{process:?} {which} {tally}");
            }
        }
    }
}
