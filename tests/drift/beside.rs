//! What readings alone tell between batches: probes beside each other in a beer without a sample, and stated original gravities.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{Drift, DriftSettings, PairKind, Shift, ShiftKind};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::brewed::{Brewed, Known, brewed};

/// Two probes beside each other in every second slot, and nothing else after the calibrations but these checks.
fn season(moved_sg: f64, checks: &[(usize, f64)], seed: u64) -> Known {
    brewed(&Brewed { slots: 8, moved_sg, stated: false, checks: checks.to_vec() }, seed)
}

fn studied(known: &Known, settings: &DriftSettings) -> Drift {
    let calibrations = CalibrationSettings::default().fit(&known.season).unwrap();
    settings.fit(&known.season, &calibrations).unwrap()
}

fn found(drift: &Drift) -> Vec<&Shift> {
    drift.shifts.iter().filter(|shift| shift.kind == ShiftKind::Found).collect()
}

fn of_kind(drift: &Drift, kind: PairKind) -> Vec<&heelwort::drift::DriftPair> {
    drift.pairs.iter().filter(|pair| pair.kind == kind).collect()
}

/// Checks of the second probe all along.
const ALL_ALONG: [(usize, f64); 5] = [(1, 19.0), (1, 37.5), (1, 73.5), (1, 109.5), (1, 150.0)];
/// Checks of the second probe before only.
const BEFORE: [(usize, f64); 1] = [(1, 19.0)];

#[test]
fn a_probe_that_parted_from_one_that_is_checked_is_the_one_that_shifted() {
    let known = season(0.006, &ALL_ALONG, 5);
    let drift = studied(&known, &DriftSettings::default());
    let found = found(&drift);
    let [shift] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!((shift.probe.as_str(), shift.or_probes.len()), ("p0", 0), "{shift:?}");
    assert!(shift.earliest <= known.moved.0 && known.moved.0 <= shift.latest, "{shift:?} {:?}", known.moved);
    let e = shift.shift_sg.estimate().unwrap();
    assert!((e.value - known.moved.1).abs() < 3.0 * e.se, "{e} {:?}", known.moved);
    // It has met no reference itself; its drift is known through the other.
    let p0 = drift.probes.iter().find(|probe| probe.probe == "p0").unwrap();
    assert!(p0.n == 0 && p0.drift_sg_per_30d.estimate().is_some(), "{p0:?}");
    let off = p0.offset_sg.estimate().unwrap();
    assert!((off.value - known.moved.1).abs() < 3.0 * off.se && off.se < 0.003, "{off} {:?}", known.moved);
}

#[test]
fn where_nothing_tells_which_of_two_probes_shifted_both_are_named() {
    let known = season(0.006, &BEFORE, 5);
    let drift = studied(&known, &DriftSettings::default());
    let found = found(&drift);
    let [first, second] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!((first.probe.as_str(), first.or_probes.join(";").as_str()), ("p0", "p1"));
    assert_eq!((second.probe.as_str(), second.or_probes.join(";").as_str()), ("p1", "p0"));
    for (shift, truth) in [(first, known.moved.1), (second, 0.0)] {
        let e = shift.shift_sg.estimate().unwrap();
        assert!(e.lower - 1e-4 <= truth && truth <= e.upper + 1e-4, "{e} {truth}");
    }
    // The two sizes lie on opposite sides.
    let size = |shift: &Shift| shift.shift_sg.value().unwrap();
    assert!(size(first) * size(second) < 0.0);
    let frame = drift.shifts_frame().unwrap();
    let others: Vec<&str> = frame.column("or_probes").unwrap().str().unwrap().iter().flatten().collect();
    assert_eq!(others, ["p1", "p0"]);
}

#[test]
fn without_the_setting_or_a_tie_to_the_truth_nothing_is_compared() {
    let known = season(0.006, &ALL_ALONG, 5);
    let off = DriftSettings { unsampled: false, ..DriftSettings::default() };
    let drift = studied(&known, &off);
    assert!(of_kind(&drift, PairKind::SameBeer).is_empty() && found(&drift).is_empty());
    assert!(!of_kind(&studied(&known, &DriftSettings::default()), PairKind::SameBeer).is_empty());
    // The third probe was never beside these two.
    let untied = studied(&season(0.006, &[(2, 150.0)], 5), &DriftSettings::default());
    assert!(of_kind(&untied, PairKind::SameBeer).is_empty(), "{:?}", untied.pairs);
}

#[test]
fn a_stated_original_gravity_is_a_pair_with_and_without_a_sample() {
    let mut known = brewed(&Brewed { slots: 2, ..Brewed::default() }, 7);
    let drift = studied(&known, &DriftSettings::default());
    let stated = of_kind(&drift, PairKind::Stated);
    // Eight stays of probes, but for those in which the beer had begun to ferment by then.
    assert!((4..=8).contains(&stated.len()), "{}", stated.len());
    for pair in &stated {
        let batch = known.season.batches.iter().find(|b| Some(&b.batch) == pair.batch.as_ref()).unwrap();
        assert_eq!(Some(pair.reference_sg), batch.original_sg);
        assert!(pair.difference_sg.abs() < 0.005 && pair.at.hours_since(batch.pitched_at) < 12.0, "{pair:?}");
    }
    let one = stated[0].batch.clone();
    let at = known.season.batches.iter().find(|b| Some(&b.batch) == one.as_ref()).unwrap().pitched_at;
    let mut sample = crate::blank::reference(at.plus_hours(5.0), stated[0].reference_sg, 0.0, 0.0);
    (sample.tilt_deg, sample.tilt_sd_deg, sample.batch) = (None, None, one.clone());
    known.season.references.push(sample);
    let again = studied(&known, &DriftSettings::default());
    assert!(of_kind(&again, PairKind::Stated).iter().any(|pair| pair.batch == one));
    assert!(of_kind(&again, PairKind::Sample).iter().any(|pair| pair.batch == one));
}

/// What the 90 % intervals of the sizes of shifts beside a checked probe hold, by 207 shifts of three seeds: where few pairs
/// make a small standard error they are too narrow, as the documentation of drift says.
const KNOWN_SHORT: f64 = 0.83;

/// What became of one season: probes, alarms, whether the shift was found on its probe (alone or as one of two), covered.
#[derive(Debug, Clone, Copy, Default)]
struct Outcome {
    alarms: f64,
    found: f64,
    alone: f64,
    /// Of the shifts found on that probe, and those whose dates hold the shift.
    dates: f64,
    dated: f64,
    covered: f64,
    sizes: f64,
}

fn outcome(known: &Known, settings: &DriftSettings) -> Outcome {
    let drift = studied(known, settings);
    let mut one = Outcome::default();
    for shift in found(&drift) {
        let moved = shift.probe == "p0" && known.moved.1 != 0.0;
        let named = shift.or_probes.iter().any(|probe| probe == "p0");
        one.alarms += f64::from(u8::from(!moved && !named));
        if moved {
            one.found = 1.0;
            one.alone = f64::from(u8::from(shift.or_probes.is_empty()));
        }
        let e = shift.shift_sg.estimate().unwrap();
        let truth = if moved { known.moved.1 } else { 0.0 };
        let dated = shift.earliest <= known.moved.0 && known.moved.0 <= shift.latest;
        if moved {
            one.dates += 1.0;
            one.dated += f64::from(u8::from(dated));
        }
        // The size of another change than this one is no answer about it.
        if (moved && dated) || named {
            one.sizes += 1.0;
            one.covered += f64::from(u8::from(e.lower - 1e-4 <= truth && truth <= e.upper + 1e-4));
        }
    }
    one
}

fn seasons(settings: &DriftSettings, of: &(dyn Fn(u64) -> Known + Sync), n: u64) -> Vec<Outcome> {
    (0..n).into_par_iter().map(|i| outcome(&of(i), settings)).collect()
}

fn share(all: &[Outcome], of: fn(&Outcome) -> f64, per: fn(&Outcome) -> f64) -> (f64, f64) {
    let total: f64 = all.iter().map(per).sum::<f64>().max(1e-9);
    let share = all.iter().map(of).sum::<f64>() / total;
    let squares: f64 = all.iter().map(|s| (of(s) - share * per(s)).powi(2)).sum();
    (share, squares.sqrt() / total)
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn shifts_between_batches_are_found_from_readings_alone() {
    let (with, without) = (DriftSettings::default(), DriftSettings { unsampled: false, ..DriftSettings::default() });
    let stated = |moved_sg: f64, seed: u64| {
        move |i: u64| {
            let settings = Brewed { slots: 6, moved_sg, ..Brewed::default() };
            brewed(&settings, seed * 1_000_003 + i)
        }
    };
    let beside = |moved_sg: f64, seed: u64| move |i: u64| season(moved_sg, &ALL_ALONG, seed * 1_000_003 + i);
    let either = |moved_sg: f64, seed: u64| move |i: u64| season(moved_sg, &BEFORE, seed * 1_000_003 + i);
    type Kind<'a> = (&'a str, &'a dyn Fn(f64, u64) -> Box<dyn Fn(u64) -> Known + Sync>);
    let kinds: [Kind; 3] = [
        ("stated original gravities", &|sg, seed| Box::new(stated(sg, seed))),
        ("beside a probe that is checked", &|sg, seed| Box::new(beside(sg, seed))),
        ("beside a probe that was checked before", &|sg, seed| Box::new(either(sg, seed))),
    ];
    for (k, (what, kind)) in kinds.into_iter().enumerate() {
        for (j, sg) in [0.0, 0.003, 0.006].into_iter().enumerate() {
            let all = seasons(&with, &*kind(sg, 700 + (10 * k + j) as u64), 24);
            let alarms = share(&all, |s| s.alarms, |_| 4.0);
            let found = share(&all, |s| s.found, |_| 1.0);
            let covered = share(&all, |s| s.covered, |s| s.sizes);
            let dated = share(&all, |s| s.dated, |s| s.dates);
            println!(
                "{what}, shift of {sg} while out of the beer: found {:.3} ({:.3}), on that probe alone {:.3}; dates covered {:.3} ({:.3}), \
                 sizes {:.3} ({:.3}) of {}; other alarms a probe {:.3} ({:.3})",
                found.0,
                found.1,
                share(&all, |s| s.alone, |_| 1.0).0,
                dated.0,
                dated.1,
                covered.0,
                covered.1,
                all.iter().map(|s| s.sizes).sum::<f64>(),
                alarms.0,
                alarms.1
            );
            assert!(alarms.0 <= 0.05 + (2.5 * alarms.1).max(0.03), "{what}: {alarms:?}");
            if sg == 0.006 {
                assert!(found.0 > 0.5, "{what}: {found:?}");
                assert!(dated.0 >= 0.90 - (2.5 * dated.1).max(0.03), "{what}: {dated:?}");
                let holds = if what == "beside a probe that is checked" { KNOWN_SHORT } else { 0.90 };
                assert!(covered.0 >= holds - (2.5 * covered.1).max(0.03), "{what}: {covered:?}");
                let blind = share(&seasons(&without, &*kind(sg, 700 + (10 * k + j) as u64), 10), |s| s.found, |_| 1.0);
                assert!(blind.0 < 0.2, "{what}: {blind:?}");
            }
        }
    }
}
