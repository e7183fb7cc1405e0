//! What goes between the studies: flags to the readings, samples once.

use crate::calibration::CalibrationSettings;
use crate::drift::{DriftSettings, KnownStays, ProbeErrors};
use crate::gravity::{BatchErrors, GravityLayers, GravitySeries, KnownErrors, SeriesBuilder};
use crate::kinetics::{KineticsSettings, Trait};
use crate::season::Flags;
use crate::simulate::SimulateSettings;
use crate::study::Settings;

fn small() -> crate::season::Season {
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
    let settings = Settings::default();
    let study = settings.study(season).unwrap();
    let gravity = study.gravity.done().unwrap();
    assert_eq!(gravity.corrected.len(), n);
    for row in knocked {
        assert!(gravity.flags[row].intersects(Flags::OUTLIER) && gravity.corrected[row].is_some(), "row {row}");
    }
    let flagged = gravity.flags.iter().filter(|flags| flags.intersects(Flags::OUTLIER)).count();
    assert!(flagged < n / 10, "{flagged} of {n}");
}

/// A batch's samples stand in its series, and drift has seen them too. By one route drift is fitted to all and leaves them
/// out for this batch, by the other they were never among its references; the variances, which no single sample makes, are
/// held at those of all. Estimates and their errors must be the same.
#[test]
fn a_sample_counts_once_by_whichever_route_it_comes() {
    let season = small();
    let calibrations = CalibrationSettings::default().fit(&season).unwrap();
    let gravity = calibrations.gravity(&season).unwrap();
    let drift = DriftSettings::default().fit(&season, &calibrations).unwrap();
    let all = drift.probe_errors.as_ref().unwrap();
    let settings = KineticsSettings::default();
    let (mut looked, mut told) = (0, 0.0_f64);
    for batch in &season.batches {
        let mut without = season.clone();
        without.references.retain(|r| r.batch.as_deref() != Some(batch.batch.as_str()));
        if without.references.len() == season.references.len() {
            continue;
        }
        let never =
            DriftSettings::default().errors_given(&without, &calibrations, &KnownStays::default(), all).unwrap();
        let plain = drift.series(&season, &calibrations, &gravity).with_errors(None).of(batch).unwrap();
        assert!(!plain.samples.is_empty());
        let known = |errors: &ProbeErrors| errors.in_batch(&season, &calibrations, &gravity, &plain);
        let (Some(left_out), Some(never_seen)) = (known(all), known(&never)) else { continue };
        let fit = |known| settings.fit(&GravitySeries { known: Some(known), ..plain.clone() }).unwrap();
        let (one, other) = (fit(left_out), fit(never_seen));
        let usual = settings.fit(&plain).unwrap();
        for which in [Trait::OriginalSg, Trait::TerminalSg, Trait::MidH] {
            if let (Some(one), Some(other)) = (one.finding(which).estimate(), other.finding(which).estimate()) {
                assert!((one.se / other.se - 1.0).abs() < 1e-6, "{} {which}: {one} {other}", batch.batch);
                assert!((one.value - other.value).abs() < 1e-4 * one.se, "{} {which}: {one} {other}", batch.batch);
                told = told.max((one.se / usual.finding(which).se().unwrap() - 1.0).abs());
                looked += 1;
            }
        }
    }
    assert!(looked >= 12, "{looked}");
    // Other times do tell something of the probes: the errors are not those of a probe of which nothing is known.
    assert!(told > 0.01, "{told}");
}

/// Step by step gives the gravities and the series of the whole study.
#[test]
fn step_by_step_is_the_whole_study() {
    let season = small();
    let settings = Settings::default();
    let study = settings.study(&season).unwrap();
    let calibrations = settings.calibration.fit(&season).unwrap();
    let gravity = calibrations.gravity(&season).unwrap();
    let drift = settings.drift.fit(&season, &calibrations).unwrap();
    let layers =
        GravityLayers { drift: drift.of_readings(&season, &calibrations, &gravity), ..GravityLayers::default() };
    let gravity = gravity.with_layers(&layers);
    let series = drift.series(&season, &calibrations, &gravity).all();
    assert!(series.iter().any(|series| series.known.is_some()));
    let kinetics = settings.kinetics.fit_all(&series).unwrap();
    let mut flags = kinetics.reading_flags(&series);
    flags.extend(drift.contradicted(&season));
    let process = kinetics.process_bias(&series);
    let gravity = gravity.with_layers(&GravityLayers { process, flags, ..layers });
    assert_eq!(&gravity, study.gravity.done().unwrap());
    let series: Vec<_> = series.into_iter().map(|series| series.with_gravity(&gravity)).collect();
    assert_eq!(series, study.series);
}

/// A probe that nothing but the batch's own samples was ever held against: what is left is its curve and the drift of
/// others, or nothing, and never those samples.
#[test]
fn without_its_own_samples_a_probe_may_have_nothing_and_says_so_or_is_wide() {
    let season = small();
    let calibrations = CalibrationSettings::default().fit(&season).unwrap();
    let gravity = calibrations.gravity(&season).unwrap();
    let whole = DriftSettings::default().fit(&season, &calibrations).unwrap().probe_errors.unwrap();
    for batch in &season.batches {
        let mut alone = season.clone();
        let baths: Vec<usize> =
            calibrations.calibrations.iter().flat_map(|c| &c.baths).flat_map(|b| b.references.clone()).collect();
        let own = |r: &crate::season::Reference| r.batch.as_deref() == Some(batch.batch.as_str());
        let keep: Vec<bool> = season.references.iter().enumerate().map(|(i, r)| baths.contains(&i) || own(r)).collect();
        let mut kept = keep.iter();
        alone.references.retain(|_| *kept.next().unwrap());
        let calibrations = CalibrationSettings::default().fit(&alone).unwrap();
        let series = SeriesBuilder::new(&season, &calibrations, &gravity).of(batch).unwrap();
        let Some(errors) = DriftSettings::default().errors(&alone, &calibrations, &KnownStays::default()).unwrap().1
        else {
            continue;
        };
        let of = |errors: &ProbeErrors| errors.in_batch(&season, &calibrations, &gravity, &series);
        if let (Some(alone), Some(whole)) = (of(&errors), of(&whole)) {
            let sd = |known: &KnownErrors| known.covariance.iter().enumerate().map(|(i, row)| row[i].sqrt()).collect();
            let (alone, whole): (Vec<f64>, Vec<f64>) = (sd(&alone), sd(&whole));
            assert!(alone.iter().all(|sd| sd.is_finite() && *sd > 1e-4), "{}: {alone:?} {whole:?}", batch.batch);
        }
    }
}
