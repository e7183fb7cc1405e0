//! What the study of drift makes of one season with a known truth, and shares over many of them.

use heelwort::Instant;
use heelwort::calibration::CalibrationSettings;
use heelwort::drift::{DriftSettings, Shift, ShiftKind};
use heelwort::fit::Estimate;
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::fleet::{Fleet, START, known};
use super::oracle::oracle_se;

/// What one season showed, summed over its probes.
#[derive(Debug, Clone, Copy, Default)]
pub struct Season {
    pub probes: f64,
    pub covered: f64,
    pub gradual_covered: f64,
    pub since_covered: f64,
    pub since_width: f64,
    pub since_error_squares: f64,
    pub fleet_covered: f64,
    /// Probes without a shift on which one was found.
    pub alarms: f64,
    /// 1 when any probe has an alarm that is one of the fleet as well.
    pub fleet_alarm: f64,
    pub width: f64,
    pub gradual_width: f64,
    pub oracle_width: f64,
    pub error_squares: f64,
    pub gradual_error_squares: f64,
    /// Probes with a shift, and what was found of the first of each.
    pub planted: f64,
    pub found: f64,
    pub size_covered: f64,
    pub date_covered: f64,
}

fn holds(e: &Estimate, truth: f64) -> f64 {
    f64::from(u8::from(e.lower <= truth && truth <= e.upper))
}

/// Studies one season. The oracle costs as much as the study and is asked on demand.
pub fn season(fleet: &Fleet, seed: u64, with_oracle: bool) -> Season {
    let known = known(fleet, seed);
    let calibrations = CalibrationSettings::default().fit(&known.season).unwrap();
    let settings = DriftSettings::default();
    let drift = settings.fit(&known.season, &calibrations).unwrap();
    let start = Instant::parse(START).unwrap();
    let mut one = Season { probes: known.slopes.len() as f64, ..Season::default() };
    for (p, probe) in drift.probes.iter().enumerate() {
        let e = probe.drift_sg_per_30d.estimate().unwrap();
        let g = probe.gradual_sg_per_30d.estimate().unwrap();
        one.covered += holds(e, known.slopes[p]);
        one.gradual_covered += holds(g, known.gradual[p]);
        let since = probe.since_last_sg.estimate().unwrap();
        one.since_covered += holds(since, known.since_last[p]);
        one.since_width += since.upper - since.lower;
        one.since_error_squares += (since.value - known.since_last[p]).powi(2);
        one.error_squares += (e.value - known.slopes[p]).powi(2);
        one.gradual_error_squares += (g.value - known.gradual[p]).powi(2);
        one.gradual_width += g.upper - g.lower;
        one.width += e.upper - e.lower;
        let found: Vec<&Shift> =
            drift.shifts.iter().filter(|s| s.probe == probe.probe && s.kind == ShiftKind::Found).collect();
        match known.shifts[p].as_slice() {
            [] => {
                one.alarms += f64::from(u8::from(!found.is_empty()));
                let of_fleet = found.iter().any(|s| s.p_fleet.is_some_and(|p| p <= 0.05));
                one.fleet_alarm = f64::max(one.fleet_alarm, f64::from(u8::from(of_fleet)));
            }
            [(day, size), ..] => {
                one.planted += 1.0;
                let away = |s: &&&Shift| (s.at.days_since(start) - day).abs();
                if let Some(shift) = found.iter().min_by(|a, b| away(a).total_cmp(&away(b))) {
                    let inside =
                        |at: f64| shift.earliest.days_since(start) <= at && at <= shift.latest.days_since(start);
                    one.found += 1.0;
                    one.size_covered += holds(shift.shift_sg.estimate().unwrap(), *size);
                    one.date_covered += f64::from(u8::from(inside(*day)));
                }
            }
        }
    }
    if with_oracle {
        let oracle = oracle_se(fleet, &known.season, &calibrations, &drift);
        one.oracle_width = oracle.iter().map(|se| 2.0 * 1.644_853_6 * se).sum();
    }
    let mean = drift.term("mean_drift_sg_per_30d").unwrap().finding.estimate().unwrap();
    one.fleet_covered = holds(mean, known.population_mean);
    one
}

/// Studies many seasons beside one another; their seeds follow from the number of the study. Every `oracle_every`th asks the
/// oracle.
pub fn seasons(fleet: &Fleet, n: u64, study: u64, oracle_every: u64) -> Vec<Season> {
    (0..n).into_par_iter().map(|i| season(fleet, study * 1_000_003 + i, i % oracle_every == 0)).collect()
}

/// Share of `of` in `per` over all seasons, with its standard error clustered by season.
pub fn share(all: &[Season], of: fn(&Season) -> f64, per: fn(&Season) -> f64) -> (f64, f64) {
    let total: f64 = all.iter().map(per).sum();
    let share = all.iter().map(of).sum::<f64>() / total;
    let squares: f64 = all.iter().map(|s| (of(s) - share * per(s)).powi(2)).sum();
    (share, squares.sqrt() / total)
}

/// Prints a share.
pub fn told(what: &str, (share, se): (f64, f64)) {
    println!("  {what}: {share:.3} ({se:.3})");
}

/// Within 3 points of what it should be, or 2.5 Monte Carlo standard errors.
pub fn near((share, se): (f64, f64), nominal: f64) -> bool {
    (share - nominal).abs() <= (2.5 * se).max(0.03)
}
