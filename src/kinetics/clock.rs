//! The clock of a fermentation: hours as they pass, or thermal time.
//!
//! Thermal time runs with the temperature by Arrhenius' law,
//!
//! `d tau = exp(-(Ea/R) (1/T - 1/T_ref)) dt`,
//!
//! so that an hour at the reference temperature is an hour, a rise of temperature mid-way is not mistaken for a change of
//! yeast, and batches of different cellars can be compared. Below a strain's stop temperature the clock stops: cold yeast
//! drops out. It runs on when the beer is warmed.
//!
//! The temperature is the mean of the log in each hour, smoothed over six hours as the beer itself does, straight between
//! such means, and constant before the first and after the last before cooling: a batch comes to rest as if held at its last
//! fermentation temperature.

use std::sync::Arc;

use crate::gravity::GravitySeries;
use crate::units::arrhenius_pace;

use super::settings::KineticsSettings;

/// What is left of the clock's pace when it stands still, so that times can be told from each other.
const STANDSTILL: f64 = 1e-6;

assumed! {
    /// The temperature is a mean over this much on each side.
    const SMOOTH_H: f64 = 3.0, "h";
    /// Fewer hours with a temperature than this make no clock.
    const LEAST_HOURS: usize = 6, "hours";
}

#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) enum Clock {
    /// Hours as they pass.
    #[default]
    Real,
    Thermal(Thermal),
}

/// Thermal time of one batch.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Thermal {
    /// Hours from pitching, thermal hours, thermal hours per hour; rising in both times.
    knots: Arc<[(f64, f64, f64)]>,
    /// Pace after the last knot: that of the last temperature at which the clock ran.
    after: f64,
}

/// Hours from pitching after which gravities are not fermentation: cooling or the end.
pub(super) fn usable_until_h(series: &GravitySeries) -> f64 {
    let end = series.ended_hours.unwrap_or(f64::INFINITY);
    end.min(series.cooled_hours.unwrap_or(f64::INFINITY))
}

impl Clock {
    /// Its name in the tables.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Real => "real",
            Self::Thermal(_) => "thermal",
        }
    }

    /// The clock's time and pace at an hour from pitching.
    pub fn at(&self, hours: f64) -> (f64, f64) {
        match self {
            Self::Real => (hours, 1.0),
            Self::Thermal(thermal) => thermal.at(hours),
        }
    }

    /// The first hour from pitching at which the clock shows `time`.
    pub fn hours_at(&self, time: f64) -> f64 {
        match self {
            Self::Real => time,
            Self::Thermal(thermal) => thermal.hours_at(time),
        }
    }

    /// Greatest over least pace between two hours.
    pub fn range(&self, from_h: f64, to_h: f64) -> f64 {
        let Self::Thermal(Thermal { knots, .. }) = self else { return 1.0 };
        let paces = knots.iter().filter(|(h, ..)| (from_h..=to_h).contains(h)).map(|(_, _, pace)| pace.max(0.01));
        let (least, most) = paces.fold((f64::INFINITY, 0.0_f64), |(l, m), p| (l.min(p), m.max(p)));
        if most > 0.0 { most / least } else { 1.0 }
    }
}

impl Thermal {
    /// The thermal time of a series for an activation energy, kJ/mol; none without temperatures.
    pub(super) fn new(series: &GravitySeries, settings: &KineticsSettings, activation_kj_mol: f64) -> Option<Self> {
        let until = usable_until_h(series);
        let mut temps = smooth(&hourly(series));
        temps.retain(|(hours, _)| *hours <= until);
        if temps.len() < *LEAST_HOURS {
            return None;
        }
        let stop_c = settings.stop_c(mean(&temps));
        let pace = |temp_c: f64| {
            if temp_c < stop_c {
                return STANDSTILL;
            }
            arrhenius_pace(activation_kj_mol, temp_c, settings.reference_c)
        };
        let mut knots: Vec<(f64, f64, f64)> = Vec::with_capacity(temps.len() + 1);
        for (hours, temp_c) in temps {
            let own = pace(temp_c);
            match knots.last() {
                None => {
                    knots.push((0.0, 0.0, own));
                    if hours > 0.0 {
                        knots.push((hours, own * hours, own));
                    }
                }
                Some((before, tau, pace)) => {
                    knots.push((hours, tau + 0.5 * (pace + own) * (hours - before), own));
                }
            }
        }
        let after = knots.iter().rev().map(|knot| knot.2).find(|pace| *pace > STANDSTILL).unwrap_or(1.0);
        Some(Self { knots: knots.into(), after })
    }

    fn at(&self, hours: f64) -> (f64, f64) {
        let place = self.knots.partition_point(|(at, ..)| *at <= hours).max(1) - 1;
        let Some(&(start, tau, pace)) = self.knots.get(place) else { return (hours, 1.0) };
        let past = hours - start;
        match self.knots.get(place + 1) {
            Some(&(end, _, next)) if past > 0.0 => {
                let slope = (next - pace) / (end - start);
                (tau + past * (pace + 0.5 * slope * past), pace + slope * past)
            }
            Some(_) => (tau, pace),
            None => (tau + past * self.after, self.after),
        }
    }

    fn hours_at(&self, time: f64) -> f64 {
        let place = self.knots.partition_point(|(_, tau, _)| *tau < time).max(1) - 1;
        let Some(&(start, tau, pace)) = self.knots.get(place) else { return time };
        let more = time - tau;
        match self.knots.get(place + 1) {
            Some(&(end, _, next)) if more > 0.0 => {
                // more = past (pace + slope past / 2), in the form that is stable for a small slope.
                let slope = (next - pace) / (end - start);
                start + 2.0 * more / (pace + (pace * pace + 2.0 * slope * more).max(0.0).sqrt())
            }
            Some(_) => start,
            None => start + more / self.after,
        }
    }
}

/// Mean hour and temperature of each hour from pitching on that has readings.
fn hourly(series: &GravitySeries) -> Vec<(f64, f64)> {
    let mut sums: Vec<(i64, f64, f64, f64)> = Vec::new();
    for (hours, temp) in series.hours.iter().zip(&series.temp_c).filter(|(h, t)| **h >= 0.0 && t.is_finite()) {
        let own = hours.floor() as i64;
        match sums.last_mut() {
            Some((hour, n, h, t)) if *hour == own => {
                *n += 1.0;
                *h += hours;
                *t += temp;
            }
            _ => sums.push((own, 1.0, *hours, *temp)),
        }
    }
    sums.into_iter().map(|(_, n, h, t)| (h / n, (t / n).clamp(-5.0, 45.0))).collect()
}

/// Running means.
fn smooth(temps: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let near = |hours: f64| {
        let from = temps.partition_point(|(h, _)| *h < hours - *SMOOTH_H);
        let to = temps.partition_point(|(h, _)| *h <= hours + *SMOOTH_H);
        // As far to one side as to the other, so that a slope at an end stays one.
        let here = temps.partition_point(|(h, _)| *h < hours);
        let side = (here - from).min(to.saturating_sub(here + 1));
        temps.get(here - side..=here + side).map_or(f64::NAN, mean)
    };
    temps.iter().map(|(hours, _)| (*hours, near(*hours))).collect()
}

fn mean(temps: &[(f64, f64)]) -> f64 {
    temps.iter().map(|(_, t)| t).sum::<f64>() / temps.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn thermal(temp: impl Fn(f64) -> f64) -> Clock {
        let hours: Vec<f64> = (0..400).map(|i| f64::from(i) * 0.5).collect();
        let temp_c = hours.iter().map(|h| temp(*h)).collect();
        let series = GravitySeries { hours, temp_c, ..GravitySeries::empty("B", "s", crate::Instant::from_micros(0)) };
        Clock::Thermal(Thermal::new(&series, &KineticsSettings::default(), 52.4).unwrap())
    }

    #[test]
    fn an_hour_at_the_reference_is_an_hour_and_ten_degrees_are_the_law() {
        let at_reference = thermal(|_| 20.0);
        assert!((at_reference.at(77.0).0 - 77.0).abs() < 1e-9);
        let cold = thermal(|_| 12.0);
        let pace = (-52.4 / 8.314_462_618e-3 * (1.0 / 285.15 - 1.0 / 293.15_f64)).exp();
        assert!((cold.at(100.0).0 - 100.0 * pace).abs() < 1e-9);
        assert!((cold.at(500.0).0 - 500.0 * pace).abs() < 1e-9, "after the log the last temperature stays");
        assert!((cold.range(0.0, 200.0) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn the_clock_can_be_read_both_ways() {
        let clock = thermal(|h| 18.0 + 3.0 * (h / 20.0).sin() + if h > 150.0 { -14.0 } else { 0.0 });
        for hours in [0.0, 0.3, 17.2, 99.9, 149.0, 180.0, 320.0] {
            let (time, pace) = clock.at(hours);
            assert!((clock.hours_at(time) - hours).abs() < 1e-6, "{hours}");
            let slope = (clock.at(hours + 1e-4).0 - time) / 1e-4;
            assert!((slope - pace).abs() < 1e-3 * pace.max(1e-3) + 1e-9, "{hours}: {slope} {pace}");
        }
        assert!(clock.at(190.0).0 - clock.at(160.0).0 < 1e-3, "below 10 C an ale's clock stands still");
    }

    #[test]
    fn too_few_temperatures_make_no_clock() {
        let series = GravitySeries {
            hours: vec![0.0, 1.0, 2.0],
            temp_c: vec![20.0, f64::NAN, 20.0],
            ..GravitySeries::empty("B", "s", crate::Instant::from_micros(0))
        };
        assert!(Thermal::new(&series, &KineticsSettings::default(), 52.4).is_none());
    }
}
