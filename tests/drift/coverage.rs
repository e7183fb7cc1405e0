//! Do the intervals of drift hold? The season is the unit.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::DriftSettings;

use super::fleet::{Fleet, known};

#[derive(Debug, Default)]
struct Tally {
    seasons: f64,
    probe: f64,
    probe_squares: f64,
    fleet: f64,
    width: f64,
    error_squares: f64,
    fleet_width: f64,
    se_squares: f64,
}

impl Tally {
    fn probes(&self) -> f64 {
        self.probe / self.seasons
    }

    fn probes_se(&self) -> f64 {
        ((self.probe_squares / self.seasons - self.probes().powi(2)) / self.seasons).max(0.0).sqrt()
    }

    fn fleet(&self) -> f64 {
        self.fleet / self.seasons
    }

    fn fleet_se(&self) -> f64 {
        (0.09 / self.seasons).sqrt()
    }
}

/// Seeds follow from the number of the study alone.
fn tally(fleet: &Fleet, seasons: u64, seed: u64) -> Tally {
    let mut tally = Tally::default();
    for i in 0..seasons {
        let known = known(fleet, seed * 1_000_003 + i);
        let calibrations = CalibrationSettings::default().fit(&known.season).unwrap();
        let drift = DriftSettings::default().fit(&known.season, &calibrations).unwrap();
        let n = known.slopes.len() as f64;
        let mut covered = 0.0;
        for (probe, truth) in drift.probes.iter().zip(&known.slopes) {
            let e = probe.drift_sg_per_30d.estimate().unwrap();
            covered += f64::from(u8::from(e.lower <= *truth && *truth <= e.upper)) / n;
            tally.width += (e.upper - e.lower) / n;
            tally.error_squares += (e.value - truth).powi(2) / n;
            tally.se_squares += e.se.powi(2) / n;
        }
        tally.probe += covered;
        tally.probe_squares += covered * covered;
        let mean = drift.term("mean_drift_sg_per_30d").unwrap().finding.estimate().unwrap().clone();
        tally.fleet += f64::from(u8::from(mean.lower <= known.population_mean && known.population_mean <= mean.upper));
        tally.fleet_width += mean.upper - mean.lower;
        tally.seasons += 1.0;
    }
    let n = tally.seasons;
    println!("{fleet:?}, {n} seasons");
    println!(
        "  probes: coverage {:.3} ({:.3}), rmse {:.6}, se {:.6}, width {:.6}; fleet: coverage {:.3} ({:.3}), width {:.6}",
        tally.probes(),
        tally.probes_se(),
        (tally.error_squares / n).sqrt(),
        (tally.se_squares / n).sqrt(),
        tally.width / n,
        tally.fleet(),
        tally.fleet_se(),
        tally.fleet_width / n
    );
    tally
}

/// The coverage lies within 3 points of 90 %, or 2.5 Monte Carlo standard errors.
fn near_nominal(coverage: f64, se: f64) -> bool {
    (coverage - 0.90).abs() <= (2.5 * se).max(0.03)
}

#[test]
fn a_small_season_has_honest_intervals() {
    let fleet = Fleet { probes: 4, days: 150.0, ..Fleet::default() };
    let tally = tally(&fleet, 25, 11);
    assert!(near_nominal(tally.probes(), tally.probes_se()), "{tally:?}");
    assert!(near_nominal(tally.fleet(), tally.fleet_se()), "{tally:?}");
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn coverage_of_drift_in_many_kinds_of_season() {
    let usual = Fleet::default();
    let kinds = [
        usual.clone(),
        Fleet { shifts_per_d: 1.0 / 140.0, ..usual.clone() },
        Fleet { walk_deg: 0.0, ..usual.clone() },
        Fleet { walk_deg: 0.4, ..usual.clone() },
        Fleet { probes: 3, days: 90.0, sample_every_d: 15.0, ..usual },
    ];
    for (kind, fleet) in kinds.iter().enumerate() {
        let tally = tally(fleet, 60, 20 + kind as u64);
        // Sudden shifts that nobody wrote down are not in the model: some coverage is lost there.
        let lost = if fleet.shifts_per_d > 0.0 { 0.03 } else { 0.0 };
        // Few pairs: the doubt about the walk is wide, and the intervals with it.
        let won = if fleet.probes == 3 { 0.04 } else { 0.02 };
        let low = 0.90 - (2.5 * tally.probes_se()).max(0.03) - lost;
        let high = 0.90 + (2.5 * tally.probes_se()).max(0.03) + won;
        assert!((low..=high).contains(&tally.probes()), "{fleet:?}: {tally:?}");
        assert!(near_nominal(tally.fleet(), tally.fleet_se()) || tally.fleet() > 0.90, "{fleet:?}: {tally:?}");
    }
}
