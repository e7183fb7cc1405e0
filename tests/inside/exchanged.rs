//! Probes that are written to each other's batch in simulated seasons.

use super::*;
use crate::calibration::CalibrationSettings;
use crate::simulate::SimulateSettings;

/// Batches with one probe each that run at the same time and are pitched at gravities at least 0.01 apart, each with its probe.
fn pairs(season: &Season) -> Vec<[NamedStay; 2]> {
    let mut pairs = Vec::new();
    for (i, a) in season.batches.iter().enumerate() {
        for b in season.batches.iter().skip(i + 1) {
            let original = |batch: &Batch| season.samples_of(&batch.batch).map(|sample| sample.sg).fold(0.0, f64::max);
            let together = a.ended_at.is_none_or(|end| b.pitched_at.plus_days(2.0) < end);
            let apart = (original(a) - original(b)).abs() > 0.01;
            if let ([one], [other]) = (a.probes.as_slice(), b.probes.as_slice())
                && one != other
                && together
                && apart
            {
                pairs.push([(one.clone(), a.batch.clone()), (other.clone(), b.batch.clone())]);
            }
        }
    }
    pairs
}

/// Exchanges planted, those put right, those found beside them, and those found where there is none.
fn outcomes(seeds: std::ops::Range<u64>) -> [usize; 4] {
    let mut counts = [0; 4];
    for seed in seeds {
        let settings = SimulateSettings { batches: 16, probes: 5, reading_minutes: 60.0, ..Default::default() };
        let season = SimulateSettings { seed, span_days: 90.0, ..settings }.run().unwrap().season;
        let calibrations = CalibrationSettings::default().fit(&season).unwrap();
        counts[3] += exchanged_stays(&season, &calibrations).unwrap().len();
        for pair in pairs(&season) {
            let mut wrong = season.clone();
            wrong.exchange(&pair);
            assert_ne!(wrong.readings.batch, season.readings.batch);
            let found = exchanged_stays(&wrong, &calibrations).unwrap();
            found.iter().for_each(|stays| wrong.exchange(stays));
            let right = wrong.readings.batch == season.readings.batch;
            counts[0] += 1;
            counts[1] += usize::from(right);
            counts[2] += found.len() - usize::from(right);
        }
    }
    counts
}

#[test]
fn probes_in_each_others_batch_get_their_own() {
    let [planted, right, beside, without] = outcomes(64_000..64_003);
    assert!(planted > 5 && 10 * right >= 9 * planted, "{right} of {planted}");
    assert!(beside == 0 && without == 0, "{beside} beside, {without} without");
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn exchanges_are_told_from_none() {
    let [planted, right, beside, without] = outcomes(65_000..65_020);
    assert!(
        10 * right >= 9 * planted && 20 * beside <= planted && without <= 1,
        "{right} of {planted}, {beside} beside, {without} without"
    );
}
