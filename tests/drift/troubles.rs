//! Drift in seasons in which all goes wrong that the simulator can make go wrong, cells swapped that nobody wrote down among it.

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{DriftSettings, ShiftKind};
use heelwort::fit::Finding;
use heelwort::simulate::{SimulateSettings, Trouble};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::season::told;
use crate::study::truth::is_true_shift;

/// What one season showed: its probes, how many of their intervals held the drift and the drift without shifts, the sum of the
/// drift's errors in standard errors; shifts found that were none; shifts of more than 0.002 that nobody wrote down, and those
/// of them that were found.
#[derive(Debug, Clone, Copy, Default)]
struct Troubled {
    probes: f64,
    covered: f64,
    gradual_covered: f64,
    z: f64,
    false_shifts: f64,
    unwritten: f64,
    found: f64,
}

fn troubled(seed: u64) -> Troubled {
    let made = SimulateSettings { seed, troubles: Trouble::ALL.to_vec(), ..SimulateSettings::default() }.run().unwrap();
    let calibrations = CalibrationSettings::default().fit(&made.season).unwrap();
    let drift = DriftSettings::default().fit(&made.season, &calibrations).unwrap();
    let mut one = Troubled::default();
    for probe in &drift.probes {
        let truth = made.truth.probes.iter().find(|truth| truth.probe == probe.probe).unwrap();
        let (Some(e), Some(slope)) = (probe.drift_sg_per_30d.estimate(), truth.drift_sg_per_30d) else { continue };
        let holds = |finding: &Finding, truth: f64| {
            f64::from(u8::from(finding.estimate().is_some_and(|e| (e.lower..=e.upper).contains(&truth))))
        };
        one.probes += 1.0;
        one.covered += holds(&probe.drift_sg_per_30d, slope);
        one.gradual_covered += holds(&probe.gradual_sg_per_30d, truth.gradual_sg_per_30d.unwrap());
        one.z += (e.value - slope) / e.se;
    }
    let found = || drift.shifts.iter().filter(|shift| shift.kind == ShiftKind::Found);
    one.false_shifts = found().filter(|shift| !is_true_shift(shift, &made)).count() as f64;
    for truth in made.truth.shifts.iter().filter(|truth| !truth.recorded && truth.shift_sg.abs() > 0.002) {
        one.unwritten += 1.0;
        let is_its = |shift: &heelwort::drift::Shift| {
            let is_named = shift.probe == truth.probe || shift.or_probes.contains(&truth.probe);
            is_named && (shift.earliest..=shift.latest).contains(&truth.at)
        };
        one.found += f64::from(u8::from(found().any(is_its)));
    }
    one
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn drift_holds_where_shifts_are_many_and_unwritten() {
    let all: Vec<Troubled> = (6300..6320).into_par_iter().map(troubled).collect();
    let share = |of: fn(&Troubled) -> f64, per: fn(&Troubled) -> f64| {
        let total: f64 = all.iter().map(per).sum();
        let share = all.iter().map(of).sum::<f64>() / total;
        (share, all.iter().map(|s| (of(s) - share * per(s)).powi(2)).sum::<f64>().sqrt() / total)
    };
    let drift = share(|s| s.covered, |s| s.probes);
    let gradual = share(|s| s.gradual_covered, |s| s.probes);
    let z = share(|s| s.z, |s| s.probes);
    let wrong = share(|s| s.false_shifts, |s| s.probes);
    let found = share(|s| s.found, |s| s.unwritten);
    told("drift of probes, coverage of 90 %", drift);
    told("the same without shifts", gradual);
    told("drift of probes, mean error in standard errors", z);
    told("false shifts a probe", wrong);
    told("shifts found of those that nobody wrote down", found);
    // Known to hold less often than said: one unseen shift a probe is weighed, and many of these have more.
    assert!((0.79..=0.93).contains(&drift.0), "{drift:?}");
    assert!((0.58..=0.86).contains(&gradual.0), "{gradual:?}");
    assert!(z.0.abs() < 0.5, "{z:?}");
    assert!(wrong.0 <= 0.05 + 2.5 * wrong.1 && (0.18..=0.40).contains(&found.0), "{wrong:?} {found:?}");
}
