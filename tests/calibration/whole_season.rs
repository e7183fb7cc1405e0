//! From a simulated season, whose process no curve equals, to gravity: flags, errors, series.

use heelwort::calibration::{CalibrationSettings, Calibrations, CurveKind};
use heelwort::gravity::{Gravity, OffsetPrior, SeriesBuilder};
use heelwort::season::{Event, Flags, Season};
use heelwort::simulate::{SimulateSettings, Simulated};

/// Probes that neither drift nor shift, so that what is wrong is the curve and the noise.
fn steady(seed: u64) -> Simulated {
    let settings = SimulateSettings {
        seed,
        batches: 8,
        probes: 5,
        drift_scale: 0.0,
        shift_scale: 0.0,
        bubble_scale: 0.0,
        ..SimulateSettings::default()
    };
    settings.run().unwrap()
}

fn studied(season: &Season) -> (Calibrations, Gravity) {
    let calibrations = CalibrationSettings::default().fit(season).unwrap();
    let gravity = calibrations.gravity(season).unwrap();
    (calibrations, gravity)
}

#[test]
fn gravity_is_right_within_its_stated_errors() {
    let (mut batches, mut squares, mut noise, mut readings) = (0.0, 0.0, 0.0, 0.0);
    for seed in 1..=4 {
        let simulated = steady(seed);
        let season = &simulated.season;
        let (calibrations, gravity) = studied(season);
        // These probes differ in nothing from one immersion to the next.
        let offset = OffsetPrior { at_calibration_sd: 0.0, per_root_30d_sd: 0.0, per_30d_sd: 0.0 };
        for series in SeriesBuilder::new(season, &calibrations, &gravity).with_offset(offset).all() {
            for (p, probe) in series.probes.iter().enumerate() {
                let rows: Vec<usize> = (0..series.rows.len()).filter(|&i| series.probe[i] as usize == p).collect();
                let errors: Vec<f64> = rows
                    .iter()
                    .filter_map(|&i| Some(series.sg[i] - simulated.truth.gravity.sg[series.rows[i]]?))
                    .collect();
                let mean = errors.iter().sum::<f64>() / errors.len() as f64;
                let shared = rows.iter().map(|&i| series.shared_sd[i]).sum::<f64>() / rows.len() as f64;
                squares += mean * mean / (shared * shared + probe.offset_sd.powi(2));
                batches += 1.0;
                for (pair, i) in errors.windows(2).zip(&rows) {
                    noise += (pair[1] - pair[0]).powi(2) / 2.0 / series.own_sd[*i].powi(2);
                    readings += 1.0;
                }
            }
        }
    }
    println!("{batches} probes in batches: mean squared error of a level over its variance {:.2}", squares / batches);
    println!("{readings} readings: variance of the noise over the stated one {:.2}", noise / readings);
    assert!(batches > 30.0 && (0.3..1.5).contains(&(squares / batches)));
    assert!((0.5..1.5).contains(&(noise / readings)));
}

#[test]
fn every_row_has_its_gravity_or_a_reason() {
    let simulated = steady(5);
    let season = &simulated.season;
    let (calibrations, gravity) = studied(season);
    assert_eq!(gravity.corrected.len(), season.readings.len());
    for row in 0..gravity.corrected.len() {
        let flags = gravity.flags[row];
        assert!(gravity.corrected[row].is_some() || !flags.is_empty());
        if let Some(read) = gravity.corrected[row] {
            assert!(read.se >= read.shared_se && read.shared_se > 0.0);
        }
        let at = season.readings.at[row];
        let probe = &season.readings.probe_ids[season.readings.probe[row] as usize];
        let before = calibrations.first(probe).is_some_and(|first| at < first.calibrated_at);
        assert_eq!(flags.intersects(Flags::BEFORE_CALIBRATION), before);
    }
    let frame = gravity.to_frame(season).unwrap();
    let names: Vec<&str> = frame.get_column_names().into_iter().map(|name| name.as_str()).collect();
    let wanted = [
        "at",
        "probe",
        "batch",
        "tilt_deg",
        "temp_c",
        "density_kg_m3",
        "sg",
        "sg_se",
        "sg_se_shared",
        "sg_uncorrected",
        "calibration",
        "flags",
    ];
    assert_eq!(names, wanted);
    assert_eq!(frame.height(), season.readings.len());
    let table = calibrations.to_frame().unwrap();
    for name in ["probe", "calibration", "calibrated_at", "curve", "n", "rmse_sg", "coefficients", "sg_min", "sg_max"] {
        assert!(table.column(name).is_ok(), "{name}");
    }
    assert!(table.height() >= calibrations.calibrations.len());
    assert_eq!(
        calibrations.candidates_frame().unwrap().height(),
        CurveKind::ALL.len() * calibrations.calibrations.len()
    );
}

#[test]
fn a_changed_cell_makes_the_curve_stale_until_the_next_calibration() {
    let mut season = steady(6).season;
    let (calibrations, _) = studied(&season);
    let first = calibrations.calibrations[0].clone();
    let changed = first.calibrated_at.plus_days(2.0);
    season.events.push(Event { probe: Some(first.probe.clone()), ..Event::new(changed, "cell_swap") });
    season.events.sort_by_key(|event| event.at);
    let (calibrations, gravity) = studied(&season);
    let next = calibrations.of_probe(&first.probe).nth(1).map(|c| c.calibrated_at);
    let mut stale = 0;
    for row in season.readings.of_probe(&first.probe) {
        let at = season.readings.at[row];
        let wanted = at >= changed && next.is_none_or(|next| at < next);
        let wanted = wanted || at < first.calibrated_at && changed <= first.calibrated_at;
        let found = gravity.flags[row].intersects(Flags::CALIBRATION_STALE);
        let other_event = season.events.iter().any(|e| e.at != changed && e.probe.as_ref() == Some(&first.probe));
        assert!(found == wanted || other_event && found);
        stale += u32::from(found);
    }
    assert!(stale > 0);
}

#[test]
fn a_series_holds_what_is_sound_in_order_of_time() {
    let simulated = steady(7);
    let season = &simulated.season;
    let (calibrations, gravity) = studied(season);
    let all = SeriesBuilder::new(season, &calibrations, &gravity).all();
    assert_eq!(all.len(), season.batches.len());
    let unsound = [Flags::TEMP_RANGE, Flags::FROZEN, Flags::CLOCK_JUMP, Flags::NO_CALIBRATION, Flags::OUTSIDE_BATCH];
    let unsound = unsound.into_iter().fold(Flags::TILT_RANGE, Flags::with);
    for (series, batch) in all.iter().zip(&season.batches) {
        assert_eq!(series.batch, batch.batch);
        assert!(series.hours.windows(2).all(|w| w[0] <= w[1]) && series.hours.iter().all(|h| *h >= 0.0));
        assert!(series.rows.iter().all(|&row| !gravity.flags[row].intersects(unsound)));
        assert!(series.own_sd.iter().chain(&series.shared_sd).all(|sd| sd.is_finite() && *sd > 0.0));
        assert!(series.probes.iter().all(|probe| probe.offset_sd >= 0.0005));
        let samples = season.references.iter().filter(|r| r.batch.as_ref() == Some(&batch.batch)).count();
        assert_eq!(series.samples.len(), samples);
    }
}

/// The log alone tells when a batch was cooled, within a few hours of the truth.
#[test]
fn cooling_is_found_in_the_log() {
    let simulated = steady(8);
    let mut season = simulated.season.clone();
    season.events.clear();
    season.plan.clear();
    let (calibrations, gravity) = studied(&season);
    let mut found = 0;
    for series in SeriesBuilder::new(&season, &calibrations, &gravity).all() {
        let truth = simulated.truth.batches.iter().find(|b| b.batch == series.batch).unwrap();
        let last = series.hours.last().copied().unwrap_or(0.0);
        match truth.cooled_at.map(|at| at.hours_since(series.pitched_at)).filter(|at| at + 24.0 < last) {
            Some(at) => {
                let logged = series.cooled_hours.unwrap();
                assert!((logged - at).abs() < 4.0, "{}: {logged} {at}", series.batch);
                found += 1;
            }
            None => assert!(series.cooled_hours.is_none_or(|at| at + 24.0 >= last), "{}", series.batch),
        }
    }
    assert!(found >= 3);
}

#[test]
fn a_season_of_hand_samples_has_series_without_probes() {
    let mut season = steady(9).season;
    season.readings = heelwort::season::Readings::default();
    season.probes.clear();
    season.references.retain(|r| r.batch.is_some());
    let (calibrations, gravity) = studied(&season);
    assert!(calibrations.calibrations.is_empty() && gravity.uncorrected.is_empty());
    let all = SeriesBuilder::new(&season, &calibrations, &gravity).all();
    assert!(!all.is_empty() && all.iter().all(|series| series.rows.is_empty() && !series.samples.is_empty()));
}
