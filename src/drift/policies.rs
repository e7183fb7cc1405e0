//! Ways of deciding when to calibrate, compared by work and by readings out of limit.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::future::{Behaviour, SEED, normal};
use super::part::MONTH_D;
use super::result::{Policy, PolicyKind};
use super::settings::DriftSettings;

/// Probes that are followed, each for this many weeks, under every policy.
const PROBES: usize = 2000;
const WEEKS: usize = 52;
const WEEK_MONTHS: f64 = 7.0 / MONTH_D;
const DAYS_PER_YEAR: f64 = 365.25;
/// Longest and shortest interval of the staircase, weeks.
const LONGEST_WEEKS: f64 = 26.0;
const SHORTEST_WEEKS: f64 = 2.0;
/// Weeks between water checks.
const CHECK_WEEKS: usize = 4;
/// Share of the limit at which a water check triggers a calibration.
const TRIGGER: f64 = 0.75;
/// Noise of one water check: immersion, tilt and bath, SD, SG.
const CHECK_SD: f64 = 0.0005;
/// An error in water in units of that where the beers end, mean and SD from probe to probe: the two families of change.
const IN_WATER: (f64, f64) = (1.04, 0.06);

/// One probe on its way through a year.
struct Walker<'a> {
    behaviour: &'a Behaviour,
    slope: f64,
    in_water: f64,
    error: f64,
    rng: ChaCha8Rng,
}

impl<'a> Walker<'a> {
    fn new(behaviour: &'a Behaviour, number: usize) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        // The same probe under every policy.
        rng.set_stream(number as u64 + 1);
        let slope = behaviour.mean + behaviour.between * normal(&mut rng);
        let in_water = IN_WATER.0 + IN_WATER.1 * normal(&mut rng);
        let mut walker = Self { behaviour, slope, in_water, error: 0.0, rng };
        walker.calibrate();
        walker
    }

    fn calibrate(&mut self) {
        self.error = self.behaviour.curve_sd * normal(&mut self.rng);
    }

    fn week(&mut self) {
        let b = self.behaviour;
        self.error += self.slope * WEEK_MONTHS + b.walk_sd * WEEK_MONTHS.sqrt() * normal(&mut self.rng);
        // Drawn whether it comes or not, so that probes stay the same under every policy.
        let (chance, size) = (self.rng.random::<f64>(), normal(&mut self.rng));
        if chance < 1.0 - (-b.shifts * WEEK_MONTHS).exp() {
            self.error += b.shift_sd * size;
        }
    }

    fn in_water(&mut self) -> f64 {
        self.in_water * self.error + CHECK_SD * normal(&mut self.rng)
    }
}

/// What one probe cost and gave.
#[derive(Default)]
struct Year {
    calibrations: f64,
    checks: f64,
    out: f64,
}

fn year(kind: PolicyKind, mut walker: Walker, limit_sg: f64) -> Year {
    let mut year = Year::default();
    let mut since = 0usize;
    let mut interval = match kind {
        PolicyKind::Fixed(days) | PolicyKind::Adaptive(days) => (days / 7.0).max(1.0),
        PolicyKind::Never | PolicyKind::WaterCheck => f64::INFINITY,
    };
    for _ in 0..WEEKS {
        walker.week();
        since += 1;
        year.out += f64::from(u8::from(walker.error.abs() > limit_sg));
        let checked = kind == PolicyKind::WaterCheck && since.is_multiple_of(CHECK_WEEKS);
        let triggered = checked && {
            year.checks += 1.0;
            walker.in_water().abs() > TRIGGER * limit_sg
        };
        if triggered || since as f64 >= interval {
            if let PolicyKind::Adaptive(_) = kind {
                // The staircase: longer after an error well within the limit, shorter after one beyond it.
                let found = walker.error.abs() / limit_sg;
                let factor = if found < 0.5 {
                    1.5
                } else if found > 1.0 {
                    0.5
                } else {
                    1.0
                };
                interval = (interval * factor).clamp(SHORTEST_WEEKS, LONGEST_WEEKS);
            }
            walker.calibrate();
            year.calibrations += 1.0;
            since = 0;
        }
    }
    year
}

impl DriftSettings {
    /// Policies, each over the same simulated probes for a year after a calibration; `recommended_d` is the interval that was
    /// found for the fleet.
    pub(super) fn policies(&self, draws: &[Behaviour], recommended_d: Option<f64>) -> Vec<Policy> {
        let start = recommended_d.unwrap_or(56.0);
        let mut kinds = vec![PolicyKind::Never];
        let mut fixed = vec![28.0, 56.0, 91.0, 182.0];
        fixed.extend(recommended_d.map(|days| (days / 7.0).round().max(1.0) * 7.0));
        fixed.sort_by(f64::total_cmp);
        fixed.dedup();
        kinds.extend(fixed.into_iter().map(PolicyKind::Fixed));
        kinds.extend([PolicyKind::Adaptive(start), PolicyKind::WaterCheck]);
        kinds.into_iter().map(|kind| self.policy(kind, draws)).collect()
    }

    fn policy(&self, kind: PolicyKind, draws: &[Behaviour]) -> Policy {
        let (mut calibrations, mut checks, mut out, mut out_squares) = (0.0, 0.0, 0.0, 0.0);
        for (number, behaviour) in draws.iter().cycle().take(PROBES).enumerate() {
            let year = year(kind, Walker::new(behaviour, number), self.limit_sg);
            let share = year.out / WEEKS as f64;
            (calibrations, checks) = (calibrations + year.calibrations, checks + year.checks);
            (out, out_squares) = (out + share, out_squares + share * share);
        }
        let n = PROBES as f64;
        let per_year = DAYS_PER_YEAR / (7.0 * WEEKS as f64) / n;
        let (calibrations, checks) = (calibrations * per_year, checks * per_year);
        let share = out / n;
        Policy {
            kind,
            calibrations_per_year: calibrations,
            checks_per_year: checks,
            hours_per_year: calibrations * self.calibration_h + checks * self.check_h,
            share_out_of_limit: share,
            share_se: ((out_squares / n - share * share).max(0.0) / n).sqrt(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_work_leaves_fewer_readings_out_of_limit() {
        let b = Behaviour {
            mean: -0.0004,
            between: 0.0003,
            walk_sd: 0.0004,
            shifts: 0.05,
            shift_sd: 0.004,
            curve_sd: 0.0003,
        };
        let settings = DriftSettings::default();
        let of = |kind| settings.policy(kind, &[b]);
        let [never, rarely, often] = [PolicyKind::Never, PolicyKind::Fixed(91.0), PolicyKind::Fixed(28.0)].map(of);
        assert!(never.hours_per_year.abs() < 1e-12 && never.share_out_of_limit > 0.3);
        assert!(rarely.share_out_of_limit < never.share_out_of_limit);
        assert!(often.share_out_of_limit < rarely.share_out_of_limit && often.hours_per_year > rarely.hours_per_year);
        assert!((often.calibrations_per_year - DAYS_PER_YEAR / 28.0).abs() < 0.1);
        let checked = of(PolicyKind::WaterCheck);
        assert!((checked.checks_per_year - 13.0).abs() < 0.2 && checked.share_out_of_limit < never.share_out_of_limit);
    }
}
