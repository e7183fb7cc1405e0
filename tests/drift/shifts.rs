//! Are sudden shifts found where there are some, and not where there are none?

use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{Drift, DriftSettings, ShiftKind};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::fleet::{Fleet, Known, known};
use super::oracle::oracle_se;

fn studied(fleet: &Fleet, seed: u64) -> (Known, Drift) {
    let known = known(fleet, seed);
    let calibrations = CalibrationSettings::default().fit(&known.season).unwrap();
    let drift = DriftSettings::default().fit(&known.season, &calibrations).unwrap();
    (known, drift)
}

/// What one season showed.
#[derive(Debug, Clone, Copy, Default)]
struct Season {
    probes: f64,
    covered: f64,
    gradual_covered: f64,
    fleet_covered: f64,
    alarms: f64,
    /// 1 when any probe has an alarm that is one of the fleet as well.
    fleet_alarm: f64,
    width: f64,
    oracle_width: f64,
    planted: f64,
    found: f64,
    size_covered: f64,
    date_covered: f64,
    error_squares: f64,
}

fn season(fleet: &Fleet, seed: u64) -> Season {
    let (known, drift) = studied(fleet, seed);
    let start = heelwort::Instant::parse(super::fleet::START).unwrap();
    let mut one = Season { probes: known.slopes.len() as f64, ..Season::default() };
    let oracle = oracle_se(fleet, &drift);
    for (p, probe) in drift.probes.iter().enumerate() {
        let e = probe.drift_sg_per_30d.estimate().unwrap();
        let g = probe.gradual_sg_per_30d.estimate().unwrap();
        let holds = |e: &heelwort::fit::Estimate, truth: f64| f64::from(u8::from(e.lower <= truth && truth <= e.upper));
        one.covered += holds(e, known.slopes[p]);
        one.gradual_covered += holds(g, known.gradual[p]);
        one.error_squares += (e.value - known.slopes[p]).powi(2);
        one.width += e.upper - e.lower;
        one.oracle_width += 2.0 * 1.644_853_6 * oracle[p];
        let found: Vec<_> =
            drift.shifts.iter().filter(|s| s.probe == probe.probe && s.kind == ShiftKind::Found).collect();
        match known.shifts[p].as_slice() {
            [] => {
                one.alarms += f64::from(u8::from(!found.is_empty()));
                let of_fleet = found.iter().any(|s| s.p_fleet.is_some_and(|p| p <= 0.05));
                one.fleet_alarm = f64::max(one.fleet_alarm, f64::from(u8::from(of_fleet)));
            }
            [(day, size), ..] => {
                one.planted += 1.0;
                let near = found.iter().min_by(|a, b| {
                    let away = |s: &&&heelwort::drift::Shift| (s.at.days_since(start) - day).abs();
                    away(a).total_cmp(&away(b))
                });
                if let Some(shift) = near {
                    let inside =
                        |at: f64| shift.earliest.days_since(start) <= at && at <= shift.latest.days_since(start);
                    one.found += 1.0;
                    one.size_covered += holds(shift.shift_sg.estimate().unwrap(), *size);
                    one.date_covered += f64::from(u8::from(inside(*day)));
                }
            }
        }
    }
    let mean = drift.term("mean_drift_sg_per_30d").unwrap().finding.estimate().unwrap();
    one.fleet_covered = f64::from(u8::from(mean.lower <= known.population_mean && known.population_mean <= mean.upper));
    one
}

fn seasons(fleet: &Fleet, n: u64, seed: u64) -> Vec<Season> {
    (0..n).into_par_iter().map(|i| season(fleet, seed * 1_000_003 + i)).collect()
}

/// Share of `of` in `per` over all seasons, with its standard error clustered by season.
fn share(all: &[Season], of: fn(&Season) -> f64, per: fn(&Season) -> f64) -> (f64, f64) {
    let total: f64 = all.iter().map(per).sum();
    let share = all.iter().map(of).sum::<f64>() / total;
    let squares: f64 = all.iter().map(|s| (of(s) - share * per(s)).powi(2)).sum();
    (share, squares.sqrt() / total)
}

fn told(what: &str, (share, se): (f64, f64)) {
    println!("  {what}: {share:.3} ({se:.3})");
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn drift_and_alarms_hold_on_seasons_of_another_process() {
    let all = seasons(&Fleet::default(), 300, 41);
    println!("no shifts, {} seasons of 8 probes, 200 days:", all.len());
    let probes = share(&all, |s| s.covered, |s| s.probes);
    let fleet = share(&all, |s| s.fleet_covered, |_| 1.0);
    let alarms = share(&all, |s| s.alarms, |s| s.probes);
    let any = share(&all, |s| s.fleet_alarm, |_| 1.0);
    let (width, oracle) = share(&all, |s| s.width, |s| s.oracle_width);
    told("drift of probes, coverage of 90 %", probes);
    told("the same without shifts", share(&all, |s| s.gradual_covered, |s| s.probes));
    told("mean of the fleet, coverage of 90 %", fleet);
    told("shift alarms a probe, nominal 0.05", alarms);
    told("seasons with a shift alarm of the fleet, nominal 0.05", any);
    told("width over that of an oracle", (width, oracle));
    let rmse = share(&all, |s| s.error_squares, |s| s.probes).0.sqrt();
    println!("  root mean square error of a probe's drift: {rmse:.6} SG per 30 d");
    let near = |(share, se): (f64, f64), nominal: f64| (share - nominal).abs() <= (2.5 * se).max(0.03);
    assert!(near(probes, 0.90), "{probes:?}");
    assert!(near(fleet, 0.90) || fleet.0 > 0.90, "{fleet:?}");
    assert!(alarms.0 <= 0.05 + (2.5 * alarms.1).max(0.03), "{alarms:?}");
    assert!(any.0 <= 0.05 + (2.5 * any.1).max(0.03), "{any:?}");
    assert!(width <= 1.25, "{width}");
}

#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn power_against_shifts_of_several_sizes() {
    let mut last = 0.0;
    for (k, planted_sg) in [0.001, 0.002, 0.003, 0.004, 0.005, 0.006].into_iter().enumerate() {
        let all = seasons(&Fleet { planted_sg, ..Fleet::default() }, 30, 60 + k as u64);
        println!("shift of {planted_sg} on every second probe, {} seasons:", all.len());
        let found = share(&all, |s| s.found, |s| s.planted);
        told("found", found);
        told("size in its interval (90 %) where found", share(&all, |s| s.size_covered, |s| s.found.max(1e-9)));
        told("day in its interval (90 %) where found", share(&all, |s| s.date_covered, |s| s.found.max(1e-9)));
        told("drift of probes, coverage of 90 %", share(&all, |s| s.covered, |s| s.probes));
        told("drift without shifts, coverage of 90 %", share(&all, |s| s.gradual_covered, |s| s.probes));
        told("false alarms on the other probes", share(&all, |s| s.alarms, |s| s.probes - s.planted));
        assert!(found.0 >= last - 0.12, "power falls: {found:?} after {last}");
        last = found.0;
    }
    assert!(last > 0.8, "{last}");
}
