//! What other temperatures ahead would change.
//!
//! The time that a batch still takes runs on a thermal clock: an hour at T counts `exp(-Ea/R (1/T - 1/T_now))` hours at the
//! temperature of the last day, by Arrhenius' law, and nothing below the temperature at which yeast stops. A set temperature is
//! taken as reached at once. The activation energy has its published spread. What has to fall until rest is taken to die away
//! exponentially. All schedules are judged on the same draws, so that differences are known better than times.

use crate::common::ActivationEnergy;
use crate::error::{Error, Result};
use crate::units::{Instant, arrhenius_pace};

use super::draws::{even_normals, quantiles, rising};
use super::outlook::{Outlook, Schedule};
use super::quantiles::Quantiles;
use super::run::{DrawnForecast, Forecaster, FromDraws};

/// What is asked for.
const WHAT: &str = "what a schedule would bring";
/// Temperatures, C, outside of which the law is not used.
const KNOWN_C: (f64, f64) = (-5.0, 40.0);

impl Forecaster<'_> {
    /// What schedules ahead of a batch would bring, as known at a moment. The first step of a schedule may lie before the moment;
    /// it then holds from the moment on.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for a batch without forecast or temperatures, or one that is cold already; [`Error::Usage`] for
    /// two schedules of one name, steps out of order, and temperatures outside -5 to 40 C.
    pub fn what_if(&mut self, batch: &str, as_of: Instant, schedules: &[Schedule]) -> Result<Vec<Outlook>> {
        for (i, schedule) in schedules.iter().enumerate() {
            check(schedule)?;
            if schedules.iter().take(i).any(|other| other.name == schedule.name) {
                return Err(Error::Usage(format!("two schedules are called `{}`", schedule.name)));
            }
        }
        let drawn = match self.drawn(&[(batch, as_of)]).pop() {
            Some(DrawnForecast::Drawn(drawn)) => *drawn,
            Some(DrawnForecast::Made(made)) => return Err(Error::not_estimable(WHAT, made.forecast.why)),
            None => return Err(Error::not_estimable(WHAT, "there is no batch of this name")),
        };
        if drawn.as_of.hours_since(drawn.batch.pitched_at) > drawn.now_h {
            return Err(Error::not_estimable(WHAT, "the batch is cold already"));
        }
        let warm = Warm {
            now_c: drawn.now_c.ok_or_else(|| Error::not_estimable(WHAT, "no temperature is known of the last day"))?,
            stop_c: drawn.stop_c,
            tolerance_sg: self.settings.common.at_rest.within_sg,
            activation: self.settings.common.activation,
        };
        schedules.iter().map(|schedule| warm.outlook(&drawn, schedule)).collect()
    }
}

fn check(schedule: &Schedule) -> Result<()> {
    let refuse = |what: String| Err(Error::Usage(format!("schedule `{}`: {what}", schedule.name)));
    if let Some(pair) = schedule.steps.windows(2).find(|pair| pair[0].0 == pair[1].0) {
        return refuse(format!("it has two temperatures at {}", pair[0].0));
    }
    if schedule.steps.windows(2).any(|pair| pair[0].0 > pair[1].0) {
        return refuse("its steps are not in order of time".to_owned());
    }
    match schedule.steps.iter().find(|(_, temp_c)| !(KNOWN_C.0..=KNOWN_C.1).contains(temp_c)) {
        Some((_, temp_c)) => {
            refuse(format!("{temp_c} C is outside the {} to {} C that are known", KNOWN_C.0, KNOWN_C.1))
        }
        None => Ok(()),
    }
}

/// The temperatures that count.
struct Warm {
    /// The mean of the last day, C.
    now_c: f64,
    /// Below this yeast stops, C.
    stop_c: f64,
    tolerance_sg: f64,
    activation: ActivationEnergy,
}

impl Warm {
    fn outlook(&self, drawn: &FromDraws, schedule: &Schedule) -> Result<Outlook> {
        let z = even_normals()?;
        let now_h = drawn.now_h;
        let pitched_at = drawn.batch.pitched_at;
        let steps: Vec<(f64, f64)> =
            schedule.steps.iter().map(|(at, temp_c)| (at.hours_since(pitched_at).max(now_h), *temp_c)).collect();
        let cold_h = steps.iter().find(|(_, temp_c)| *temp_c < self.stop_c).map(|(at, _)| *at);
        let (mut finishes, mut later, mut left) = (Vec::new(), Vec::new(), Vec::new());
        for (i, rest) in drawn.draws.rests.iter().enumerate() {
            // Every draw has an energy of its own, evenly through its spread whatever else the draw is.
            let kj_mol =
                self.activation.kj_mol + self.activation.sd_kj_mol * z.get(61 * i % z.len()).copied().unwrap_or(0.0);
            let pace = |temp_c: f64| match temp_c {
                cold if cold < self.stop_c => 0.0,
                _ => arrhenius_pace(kj_mol.max(0.0), temp_c, self.now_c),
            };
            let work_h = (rest.finish_h - now_h).max(0.0);
            let finish = if work_h > 0.0 { hours_for(work_h, now_h, &steps, pace) } else { rest.finish_h };
            finishes.push(finish);
            later.push(finish - rest.finish_h);
            if let Some(cold_h) = cold_h {
                let done = if work_h > 0.0 { work_by(cold_h, now_h, &steps, pace) / work_h } else { 1.0 };
                let rate = (self.tolerance_sg / rest.left_sg.max(self.tolerance_sg)).ln();
                left.push(rest.left_sg * (rate * done).exp());
            }
        }
        let n = finishes.len().max(1) as f64;
        let before = cold_h.map(|cold_h| finishes.iter().filter(|finish| **finish <= cold_h).count() as f64 / n);
        let map = |q: Quantiles<f64>| q.map(|value| Some(value).filter(|value| value.is_finite()));
        let instant = |hours: f64| pitched_at.plus_hours(hours);
        Ok(Outlook {
            batch: drawn.batch.batch.clone(),
            as_of: drawn.as_of,
            schedule: schedule.name.clone(),
            finish: map(quantiles(&rising(finishes.into_iter()))).map(|hours| hours.map(instant)),
            later_h: map(quantiles(&rising(later.into_iter()))),
            cold_at: cold_h.map(instant),
            p_rest_before_cold: before,
            left_sg: cold_h.map(|_| quantiles(&rising(left.into_iter()))),
        })
    }
}

/// The hour at which so much work is done; infinite where the schedule never gives it.
fn hours_for(mut work_h: f64, now_h: f64, steps: &[(f64, f64)], pace: impl Fn(f64) -> f64) -> f64 {
    let (mut at, mut speed) = (now_h, 1.0);
    for (from_h, temp_c) in steps {
        let span = speed * (from_h - at);
        if work_h <= span {
            return at + work_h / speed;
        }
        work_h -= span;
        (at, speed) = (*from_h, pace(*temp_c));
    }
    if speed > 0.0 { at + work_h / speed } else { f64::INFINITY }
}

/// Work done by an hour.
fn work_by(hours: f64, now_h: f64, steps: &[(f64, f64)], pace: impl Fn(f64) -> f64) -> f64 {
    let (mut at, mut speed, mut done) = (now_h, 1.0, 0.0);
    for (from_h, temp_c) in steps.iter().take_while(|(from_h, _)| *from_h <= hours) {
        done += speed * (from_h - at);
        (at, speed) = (*from_h, pace(*temp_c));
    }
    done + speed * (hours - at)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_is_done_at_the_pace_of_each_step() {
        let steps = [(10.0, 20.0), (20.0, 2.0)];
        let pace = |temp_c: f64| if temp_c < 10.0 { 0.0 } else { 2.0 };
        assert!((hours_for(5.0, 0.0, &steps, pace) - 5.0).abs() < 1e-12);
        assert!((hours_for(16.0, 0.0, &steps, pace) - 13.0).abs() < 1e-12);
        assert!((work_by(13.0, 0.0, &steps, pace) - 16.0).abs() < 1e-12);
        assert!(hours_for(31.0, 0.0, &steps, pace).is_infinite());
        assert!((work_by(99.0, 0.0, &steps, pace) - 30.0).abs() < 1e-12);
    }
}
