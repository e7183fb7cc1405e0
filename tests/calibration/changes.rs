//! What two calibrations of one probe, and water between them, say about a change: false alarms and found changes.

use heelwort::calibration::{CalibrationSettings, Calibrations};
use heelwort::float::Hull;
use heelwort::liquid::WATER_20C_KG_M3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::floats::{Case, Float, bath, hull, normal, season};

const TILT_SD_DEG: f64 = 0.3;

/// A calibration, water 30 days later, and a second calibration; `heavier` is what the float gained in between.
fn two_calibrations(seed: u64, heavier: f64) -> Calibrations {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (first, shape) = hull(Float::Long, &mut rng);
    let later = Hull::new(shape.profile(), first.mass_kg * (1.0 + heavier), first.cg_offset_m, first.cg_height_m);
    let case = Case {
        float: Float::Long,
        baths: (0..6).map(|i| 1.0 + 0.016 * f64::from(i)).collect(),
        tilt_sd_deg: TILT_SD_DEG,
        bath_sd: 0.0005,
        weighed: true,
        length_known: true,
    };
    let mut all = season(&case, &first, &shape, &mut rng);
    let at = all.references[0].at;
    let tilt = later.tilt_deg(WATER_20C_KG_M3).unwrap() + normal(&mut rng, TILT_SD_DEG);
    all.references.push(bath(at.plus_days(30.0), 1.0, tilt, TILT_SD_DEG, 0.0001));
    let mut second = season(&case, &later, &shape, &mut rng);
    for reference in &mut second.references {
        reference.at = reference.at.plus_days(60.0);
    }
    all.references.extend(second.references);
    CalibrationSettings { weighed_gain: 0.0, ..CalibrationSettings::default() }.fit(&all).unwrap()
}

#[test]
fn without_a_change_alarms_are_as_rare_as_stated() {
    let n = 300;
    let (mut beyond, mut disagree, mut held) = (0, 0, 0);
    for seed in 0..n {
        let found = two_calibrations(seed, 0.0);
        let [first, second] = &found.calibrations[..] else { panic!("{found}") };
        let difference = first.difference(second).unwrap();
        // The true difference is nothing, everywhere.
        held += u32::from(difference.points.iter().all(|(_, d)| d.lower <= 0.0 && 0.0 <= d.upper));
        beyond += u32::from(difference.p < 0.10);
        assert_eq!(found.water_checks.len(), 2, "one between, one as found");
        disagree += u32::from(!found.water_checks[0].agrees());
    }
    let share = |count: u32| f64::from(count) / n as f64;
    println!("held {:.3}, p < 0.1 {:.3}, water {:.3}", share(held), share(beyond), share(disagree));
    // 300 probes: a share of 0.1 is known to 0.017, one of 0.05 to 0.013.
    assert!((share(held) - 0.90).abs() < 0.05 && (share(beyond) - 0.10).abs() < 0.05);
    assert!((share(disagree) - 0.05).abs() < 0.035);
}

#[test]
fn a_change_is_found_with_its_size() {
    // 0.6 % heavier: the old curve reads 0.006 too low.
    let mut told = 0;
    for seed in 0..20 {
        let found = two_calibrations(seed, 0.006);
        let [first, second] = &found.calibrations[..] else { panic!("{found}") };
        let difference = first.difference(second).unwrap();
        let mean = difference.points.iter().map(|(_, d)| d.value).sum::<f64>() / difference.points.len() as f64;
        assert!((mean - 0.006).abs() < 0.002, "{difference:?}");
        let water = &found.water_checks[0];
        told += u32::from(difference.p < 0.05 && !water.agrees());
        assert!((water.shift_sg.value + 0.006).abs() < 0.004, "{water:?}");
        let expected = water.expected_tilt_deg.unwrap();
        assert!(expected > water.tilt_deg, "heavier is lower in the water: {expected} {}", water.tilt_deg);
    }
    assert!(told >= 18, "{told} of 20");
}

#[test]
fn two_probes_and_ranges_apart_are_refused() {
    let found = two_calibrations(1, 0.0);
    let mut other = found.calibrations[1].clone();
    other.probe = "ruff".into();
    assert!(found.calibrations[0].difference(&other).is_err());
    let mut apart = found.calibrations[1].clone();
    apart.density_range_kg_m3 = (1100.0, 1150.0);
    let why = found.calibrations[0].difference(&apart).unwrap_err().to_string();
    assert!(why.contains("no range of gravities in common"), "{why}");
}
