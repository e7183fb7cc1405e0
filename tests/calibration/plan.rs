//! Planned baths: are they better than others, and are their standard errors what comes?

use heelwort::calibration::{BathPlan, CalibrationSettings, PlanSettings};
use heelwort::float::{Hull, Shape};
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::{Batch, Reference, Season};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::floats::{Case, Float, bath, hull, season};

use crate::blank;

fn case(baths: Vec<f64>) -> Case {
    Case { float: Float::Long, baths, tilt_sd_deg: 0.3, bath_sd: 0.0005, weighed: true, length_known: true }
}

fn settings() -> PlanSettings {
    PlanSettings { range_sg: Some((1.005, 1.070)), ..PlanSettings::default() }
}

/// A probe of known truth with its first calibration, in even steps.
fn calibrated(seed: u64) -> (Hull, Shape, Season) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (hull, shape) = hull(Float::Long, &mut rng);
    let season = season(&case(vec![1.0, 1.02, 1.04, 1.06, 1.08]), &hull, &shape, &mut rng);
    (hull, shape, season)
}

fn plan(season: &Season, settings: &PlanSettings) -> heelwort::Result<BathPlan> {
    let calibrations = CalibrationSettings { tilt_sd_deg: 0.3, ..CalibrationSettings::default() }.fit(season)?;
    settings.plan(season, &calibrations)
}

#[test]
fn a_plan_defines_a_curve_and_no_even_steps_beat_it() {
    let (_, _, season) = calibrated(31);
    let found = plan(&season, &settings()).unwrap();
    for n in 4..=8 {
        let plan = found.of(n).unwrap();
        assert_eq!(plan.baths.len(), n);
        let efficiency = plan.efficiency_even.unwrap();
        assert!(efficiency > 0.05 && efficiency <= 1.0 + 1e-9, "{n}: {efficiency}");
        let mut others: Vec<String> = plan.baths.iter().map(|b| format!("{:.4}", b.sg)).collect();
        let water = others.iter().any(|sg| sg == "1.0000");
        others.dedup();
        assert!(water && others.len() >= 4, "{others:?}");
    }
    let best = found.of(6).unwrap();
    assert!(best.mean_se_sg() <= best.even_mean_se_sg().unwrap());
    // A recalibration by the plan does define a curve.
    let baths: Vec<f64> = best.baths.iter().map(|b| b.sg).collect();
    let (hull, shape, _) = calibrated(31);
    let again = self::season(&case(baths), &hull, &shape, &mut ChaCha8Rng::seed_from_u64(1));
    assert_eq!(CalibrationSettings::default().fit(&again).unwrap().calibrations.len(), 1);
}

/// Root mean square error of SG over the range, over many recalibrations by these baths.
fn rmse(hull: &Hull, shape: &Shape, baths: &[f64], repeats: u64) -> f64 {
    let mut squares = 0.0;
    for seed in 0..repeats {
        let mut season = season(&case(baths.to_vec()), hull, shape, &mut ChaCha8Rng::seed_from_u64(700 + seed));
        for (i, reference) in season.references.iter_mut().enumerate() {
            // A repeated gravity is a bath of its own.
            reference.bath = Some(format!("bath {i}"));
        }
        let calibration = CalibrationSettings::default().fit(&season).unwrap().calibrations.remove(0);
        for i in 0..=13 {
            let sg = 1.005 + 0.005 * f64::from(i);
            let tilt = hull.tilt_deg(sg * WATER_20C_KG_M3).unwrap();
            squares += (calibration.sg_at(tilt).unwrap().value - sg).powi(2) / 14.0;
        }
    }
    (squares / repeats as f64).sqrt()
}

/// The errors that come are those that the plan foretold, for planned baths and for even ones.
#[test]
fn the_errors_foretold_are_the_errors_that_come() {
    let (hull, shape, season) = calibrated(32);
    let found = plan(&season, &settings()).unwrap();
    let scale = CalibrationSettings::default().fit(&season).unwrap().calibrations[0].fitted.scale;
    let plan = found.of(5).unwrap();
    let foretold = |se: &[f64]| (se.iter().map(|se| se * se).sum::<f64>() / se.len() as f64).sqrt() / scale;
    let baths: Vec<f64> = plan.baths.iter().map(|b| b.sg).collect();
    let planned = rmse(&hull, &shape, &baths, 60);
    let ratio = planned / foretold(&plan.se_sg);
    // Sixty repeats of about three coefficients: the ratio has a standard error of some 6 %.
    assert!((ratio - 1.0).abs() < 0.2, "came {planned}, foretold {}", foretold(&plan.se_sg));
}

#[test]
fn the_range_is_what_the_beers_use() {
    let (_, _, mut season) = calibrated(33);
    let settings = PlanSettings { range_sg: None, ..settings() };
    let by_baths = plan(&season, &settings).unwrap();
    assert!((by_baths.range_sg.0 - 1.0).abs() < 0.002 && by_baths.range_source.contains("too few batches"));
    for i in 0..5 {
        let id = format!("b{i}");
        let at = season.references[0].at.plus_days(10.0 + f64::from(i));
        season.batches.push(batch(&id, at, 1.040 + 0.005 * f64::from(i)));
        season.references.push(sample(&id, at.plus_days(9.0), 1.008 + 0.001 * f64::from(i)));
    }
    let by_beers = plan(&season, &settings).unwrap();
    let (low, high) = by_beers.range_sg;
    assert!((low - 1.0082).abs() < 1e-9 && (high - 1.059).abs() < 1e-9, "{:?}", by_beers.range_sg);
}

fn batch(id: &str, pitched_at: heelwort::Instant, original_sg: f64) -> Batch {
    Batch { original_sg: Some(original_sg), ..blank::batch(id, "thrift", pitched_at) }
}

fn sample(batch: &str, at: heelwort::Instant, sg: f64) -> Reference {
    let mut sample = bath(at, sg, 30.0, 0.3, 0.001);
    sample.batch = Some(batch.into());
    sample.bath = None;
    sample.probe = None;
    sample.tilt_deg = None;
    sample.method = Some("hydrometer".into());
    sample
}

#[test]
fn what_cannot_be_planned_is_refused_with_the_reason() {
    let (_, _, season) = calibrated(34);
    let refused = |season: &Season, settings: PlanSettings| plan(season, &settings).unwrap_err().to_string();
    assert!(refused(&Season::default(), settings()).contains("no probe has a calibration"));
    for (name, wrong) in [
        ("most_baths", PlanSettings { most_baths: 3, ..settings() }),
        ("most_baths", PlanSettings { most_baths: 60, ..settings() }),
        ("range_sg", PlanSettings { range_sg: Some((1.05, 1.05)), ..settings() }),
        ("range_sg", PlanSettings { range_sg: Some((1.05, 1.01)), ..settings() }),
        ("range_sg", PlanSettings { range_sg: Some((f64::NAN, 1.05)), ..settings() }),
        ("heaviest_sg", PlanSettings { heaviest_sg: 1.0, ..settings() }),
        ("bath_sd_sg", PlanSettings { bath_sd_sg: 0.0, ..settings() }),
        ("bath_sd_sg", PlanSettings { bath_sd_sg: f64::NAN, ..settings() }),
    ] {
        assert!(refused(&season, wrong).contains(name));
    }
    // A float that lies down long before the range ends.
    let far = PlanSettings { range_sg: Some((1.0, 1.149)), heaviest_sg: 1.15, ..settings() };
    let unknown = Season { probes: Vec::new(), ..season };
    match plan(&unknown, &far) {
        Ok(found) => assert!(found.plans.iter().flat_map(|p| &p.se_sg).all(|se| se.is_finite())),
        Err(why) => assert!(why.to_string().contains("no tilt at SG"), "{why}"),
    }
}

#[test]
fn the_table_and_the_words_hold_the_recipe() {
    let (_, _, season) = calibrated(35);
    let found = plan(&season, &settings()).unwrap();
    let frame = found.to_frame().unwrap();
    assert_eq!(frame.height(), (4..=8).sum::<usize>());
    for column in [
        "n",
        "bath",
        "sg",
        "plato",
        "sucrose_g_per_l",
        "water_g_per_l",
        "mean_se_sg",
        "efficiency_even",
        "method",
        "why",
    ] {
        assert!(frame.column(column).is_ok(), "{column}");
    }
    assert!(found.in_words().starts_with("Mix ") && found.in_words().contains("even steps"), "{}", found.in_words());
    let words = found.to_string();
    for part in ["g sucrose", "never", "dextrose", "malt extract", "1.005 to 1.070"] {
        assert!(words.contains(part), "{part} in\n{words}");
    }
}
