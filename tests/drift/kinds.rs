//! Is a kind of drift named as often as its weight says? Seasons in which all drift is of one kind.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{DriftSettings, KindVerdict};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::fleet::{Fleet, known};

/// Drift by deposits alone, or by the sensor's zero alone, of like size at SG 1.020 (0.0025 SG a degree).
fn of_one_kind(proportional: bool) -> Fleet {
    let usual = Fleet { walk_deg: 0.0, mass_drift: (0.0, 0.0), turn_deg: 0.0, ..Fleet::default() };
    if proportional { Fleet { mass_drift: (0.0, 0.001), ..usual } } else { Fleet { turn_deg: 0.4, ..usual } }
}

/// For each probe whether its drift was proportional, and the weight and verdict it got.
fn looked_at(seasons: u64, seed: u64) -> Vec<(bool, f64, KindVerdict)> {
    let one = |i: u64| {
        let proportional = i.is_multiple_of(2);
        let known = known(&of_one_kind(proportional), seed * 1_000_003 + i);
        let calibrations = CalibrationSettings::default().fit(&known.season).unwrap();
        let settings = DriftSettings::default();
        let drift = settings.fit(&known.season, &calibrations).unwrap();
        let told = drift.kinds.into_iter().filter_map(move |k| Some((proportional, k.p_proportional?, k.verdict)));
        told.collect::<Vec<_>>()
    };
    (0..seasons).into_par_iter().flat_map_iter(one).collect()
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn weights_of_kinds_are_as_often_right_as_they_say() {
    let all = looked_at(40, 83);
    println!("{} probes in seasons of one kind of drift:", all.len());
    let mut brier = 0.0;
    for low in [0.0, 0.1, 0.3, 0.5, 0.7, 0.9] {
        let high = if low == 0.0 {
            0.1
        } else if low == 0.9 {
            1.0
        } else {
            low + 0.2
        };
        let bin: Vec<_> =
            all.iter().filter(|(_, p, _)| (low..high).contains(p) || (high == 1.0 && *p == 1.0)).collect();
        let n = bin.len().max(1) as f64;
        let mean = bin.iter().map(|(_, p, _)| p).sum::<f64>() / n;
        let share = bin.iter().filter(|(truth, ..)| *truth).count() as f64 / n;
        println!(
            "  weight {low:.1} to {high:.1}: {} probes, mean weight {mean:.3}, proportional {share:.3}",
            bin.len()
        );
        brier += bin.iter().map(|(truth, p, _)| (p - f64::from(u8::from(*truth))).powi(2)).sum::<f64>();
    }
    let told: Vec<_> = all.iter().filter(|(.., verdict)| *verdict != KindVerdict::CannotTell).collect();
    let wrong = told.iter().filter(|(truth, _, v)| *truth != (*v == KindVerdict::Proportional)).count() as f64;
    let wrong = wrong / told.len().max(1) as f64;
    let n = all.len() as f64;
    println!(
        "  told {:.3}, of these wrong {wrong:.3}; Brier score {:.3} (a coin 0.25)",
        told.len() as f64 / n,
        brier / n
    );
    assert!(brier / n < 0.25, "{brier}");
    // Named from a weight of 0.9 on: at most one name in ten is wrong.
    assert!(wrong <= 0.1 + 2.5 * (0.09 / told.len().max(1) as f64).sqrt(), "{wrong} of {}", told.len());
}
