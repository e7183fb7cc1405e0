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

use crate::fit::{Estimate, Finding, quantile};
use crate::gravity::GravitySeries;
use crate::units::kelvin_from_celsius;

use super::prepare::usable_until_h;
use super::settings::KineticsSettings;

/// The gas constant, kJ/(mol K).
const GAS_KJ_MOL_K: f64 = 8.314_462_618e-3;
/// Effective activation energy of the pace of a fermentation and its standard deviation, kJ/mol: 52.4 is derived from the
/// time of the middle of the drop between 10 and 15 C in the model of de Andres-Toro et al. (1998, Math. Comput. Simul.
/// 48, 65), a Q10 of 2.16; the spread covers those of the uptake of maltotriose, maltose and glucose in Gee and Ramirez
/// (1994, J. Inst. Brew. 100, 321): 30, 47 and 95.
pub const ACTIVATION_KJ_MOL: (f64, f64) =
    (crate::common::ActivationEnergy::PUBLISHED.kj_mol, crate::common::ActivationEnergy::PUBLISHED.sd_kj_mol);
/// What is left of the clock's pace when it stands still, so that times can be told from each other.
const STANDSTILL: f64 = 1e-6;
/// The temperature is a mean over this much on each side, hours.
const SMOOTH_H: f64 = 3.0;
/// Fewer hours with a temperature than this make no clock.
const LEAST_HOURS: usize = 6;

/// Which clock.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Clock {
    /// Hours as they pass.
    #[default]
    Real,
    /// Thermal time.
    Thermal(Thermal),
}

/// Thermal time of one batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Thermal {
    /// Activation energy, kJ/mol.
    pub activation_kj_mol: f64,
    /// Reference temperature, C.
    pub reference_c: f64,
    /// Hours from pitching, thermal hours, thermal hours per hour; rising in both times.
    knots: Arc<[(f64, f64, f64)]>,
    /// Pace after the last knot: that of the last temperature at which the clock ran.
    after: f64,
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

    /// Hours at which the pace was found: where the steepest fall in hours may be.
    pub(super) fn hours(&self) -> impl Iterator<Item = f64> {
        let knots = match self {
            Self::Real => None,
            Self::Thermal(thermal) => Some(thermal.knots.clone()),
        };
        (0..knots.as_ref().map_or(0, |knots| knots.len()))
            .filter_map(move |i| knots.as_ref().and_then(|knots| knots.get(i)).map(|knot| knot.0))
    }

    /// Greatest over least pace between two hours.
    pub fn range(&self, from_h: f64, to_h: f64) -> f64 {
        let paces = self.hours().filter(|h| (from_h..=to_h).contains(h)).map(|h| self.at(h).1.max(0.01));
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
        if temps.len() < LEAST_HOURS {
            return None;
        }
        let reference_c = settings.reference_c;
        let stop_c = settings.stop_c(mean(&temps));
        let pace = |temp_c: f64| {
            if temp_c < stop_c {
                return STANDSTILL;
            }
            let inverse = 1.0 / kelvin_from_celsius(temp_c) - 1.0 / kelvin_from_celsius(reference_c);
            (-activation_kj_mol / GAS_KJ_MOL_K * inverse).exp()
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
        Some(Self { activation_kj_mol, reference_c, knots: knots.into(), after })
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
        let from = temps.partition_point(|(h, _)| *h < hours - SMOOTH_H);
        let to = temps.partition_point(|(h, _)| *h <= hours + SMOOTH_H);
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

/// What one batch says of the activation energy.
#[derive(Debug, Clone)]
pub(super) struct Paced {
    pub strain: String,
    /// Logarithm of the time of the middle of the drop, hours as they pass.
    pub ln_mid: f64,
    /// Mean temperature up to then, C.
    pub temp_c: f64,
}

/// Mean temperature of a series up to an hour.
pub(super) fn mean_temp_c(series: &GravitySeries, until_h: f64) -> Option<f64> {
    let temps: Vec<_> = hourly(series).into_iter().filter(|(h, _)| *h <= until_h).collect();
    (temps.len() >= LEAST_HOURS).then(|| mean(&temps))
}

/// The activation energy from batches of the same strain at different temperatures: the slope of the logarithm of the
/// middle's time over 1/(R T) about the means of the strains, weighed with the published value by their precisions.
///
/// Held at the published value where temperatures within strains differ by less than 1 C (standard deviation) or fewer
/// than four batches are to spare.
pub(super) fn activation(batches: &[Paced], published: (f64, f64), level: f64) -> crate::Result<Finding> {
    let mut strains: Vec<&str> = batches.iter().map(|b| b.strain.as_str()).collect();
    strains.sort_unstable();
    strains.dedup();
    let (mut sxx, mut sxy, mut syy, mut temps) = (0.0, 0.0, 0.0, 0.0);
    let mut spare = -1.0;
    for strain in strains {
        let own: Vec<&Paced> = batches.iter().filter(|b| b.strain == strain).collect();
        let n = own.len() as f64;
        let x = |b: &Paced| 1.0 / (GAS_KJ_MOL_K * kelvin_from_celsius(b.temp_c));
        let mean = |of: &dyn Fn(&Paced) -> f64| own.iter().map(|b| of(b)).sum::<f64>() / n;
        let (mx, my, mt) = (mean(&x), mean(&|b| b.ln_mid), mean(&|b| b.temp_c));
        for b in &own {
            sxx += (x(b) - mx).powi(2);
            sxy += (x(b) - mx) * (b.ln_mid - my);
            syy += (b.ln_mid - my).powi(2);
            temps += (b.temp_c - mt).powi(2);
        }
        spare += n - 1.0;
    }
    let held = |why: String| Ok(Finding::Fixed { value: published.0, why });
    let spread = (temps / (spare + 1.0_f64).max(1.0)).sqrt();
    if spare < 4.0 {
        return held("published value: too few batches of one strain".to_owned());
    }
    if spread < 1.0 {
        return held(format!("published value: within strains the temperature varies by {spread:.1} \u{b0}C only"));
    }
    let slope = sxy / sxx;
    let variance = ((syy - slope * sxy) / spare).max(1e-6) / sxx;
    // A t's variance, as the normal prior sees it.
    let variance = variance * if spare > 2.0 { spare / (spare - 2.0) } else { 3.0 };
    let (a, b) = (1.0 / variance, 1.0 / (published.1 * published.1));
    let (value, se) = ((a * slope + b * published.0) / (a + b), (a + b).sqrt().recip());
    let factor = quantile::normal_two_sided(level)?;
    let method = "within strains, with the published value as prior, normal";
    Ok(Finding::Estimated(Estimate {
        value,
        se,
        lower: value - factor * se,
        upper: value + factor * se,
        level,
        method: method.into(),
    }))
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

    #[test]
    fn the_activation_energy_is_found_within_strains_only() {
        let batch = |strain: &str, temp_c: f64, own: f64| Paced {
            strain: strain.to_owned(),
            ln_mid: own + 70.0 / (GAS_KJ_MOL_K * kelvin_from_celsius(temp_c)) + 0.01 * (13.0 * temp_c).sin(),
            temp_c,
        };
        let varied: Vec<Paced> =
            (0..12).map(|i| batch(if i % 2 == 0 { "a" } else { "b" }, 14.0 + f64::from(i), f64::from(i % 2))).collect();
        let found = activation(&varied, ACTIVATION_KJ_MOL, 0.9).unwrap();
        assert!((found.value().unwrap() - 70.0).abs() < 2.0 && found.estimate().is_some(), "{found}");
        let constant: Vec<Paced> =
            (0..12).map(|i| if i % 2 == 0 { batch("a", 20.0, 0.0) } else { batch("b", 12.0, 0.0) }).collect();
        let held = activation(&constant, ACTIVATION_KJ_MOL, 0.9).unwrap();
        assert!(held.estimate().is_none() && held.value() == Some(52.4), "{held}");
    }
}
