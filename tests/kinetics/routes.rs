//! What goes between the studies: flags to the readings, samples once.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::DriftSettings;
use heelwort::kinetics::{KineticsSettings, Trait};
use heelwort::season::Flags;
use heelwort::simulate::SimulateSettings;
use heelwort::study::StudySettings;

fn small() -> heelwort::season::Season {
    let settings =
        SimulateSettings { seed: 23, batches: 8, probes: 3, strains: 2, reading_minutes: 60.0, ..Default::default() };
    settings.run().unwrap().season
}

#[test]
fn outliers_are_flagged_in_the_gravities_and_none_is_deleted() {
    let mut season = small();
    let batch = season.readings.batch_index(&season.batches[2].batch).unwrap();
    let rows: Vec<usize> =
        (0..season.readings.len()).filter(|row| season.readings.batch[*row] == Some(batch)).collect();
    let knocked = [rows[40], rows[90]];
    for row in knocked {
        season.readings.tilt_deg[row] += 6.0;
    }
    let n = season.readings.len();
    let settings =
        StudySettings { kinetics: KineticsSettings { candidates: false, ..Default::default() }, ..Default::default() };
    let study = settings.run(season, "small", &[], &|_| {}).unwrap();
    let gravity = study.gravity.done().unwrap();
    assert_eq!(gravity.sg.len(), n);
    for row in knocked {
        assert!(gravity.flags[row].intersects(Flags::OUTLIER) && gravity.sg[row].is_some(), "row {row}");
    }
    let flagged = gravity.flags.iter().filter(|flags| flags.intersects(Flags::OUTLIER)).count();
    assert!(flagged < n / 10, "{flagged} of {n}");
}

#[test]
fn a_samples_errors_do_not_change_when_drift_has_seen_it_too() {
    let season = small();
    let calibrations = CalibrationSettings::default().fit(&season).unwrap();
    let gravity = calibrations.gravity(&season).unwrap();
    let prior =
        |season: &heelwort::season::Season| DriftSettings::default().fit(season, &calibrations).unwrap().offset_prior;
    let with = prior(&season);
    let settings = KineticsSettings { candidates: false, ..Default::default() };
    let mut looked = 0;
    for batch in &season.batches {
        let mut without = season.clone();
        without.references.retain(|r| r.batch.as_deref() != Some(batch.batch.as_str()));
        if without.references.len() == season.references.len() {
            continue;
        }
        let fit = |offset| gravity.series(&season, &calibrations, batch, offset).map(|s| settings.fit(&s).unwrap());
        let (Some(both), Some(once)) = (fit(&with), fit(&prior(&without))) else { continue };
        for which in [Trait::OriginalSg, Trait::TerminalSg] {
            if let (Some(both), Some(once)) = (both.finding(which).estimate(), once.finding(which).estimate()) {
                println!("{} {which}: se {:.6} by both routes, {:.6} by one", batch.batch, both.se, once.se);
                assert!((both.se / once.se - 1.0).abs() < 0.05, "{} {which}: {both} {once}", batch.batch);
                looked += 1;
            }
        }
    }
    assert!(looked >= 8, "{looked}");
}
