//! The clock of a fermentation: hours as they pass, or thermal time.
//!
//! Thermal time runs with the temperature by Arrhenius' law,
//!
//! `d tau = exp(-(Ea/R) (1/T - 1/T_ref)) dt`,
//!
//! so that an hour at the reference temperature is an hour, a rise of temperature mid-way is not mistaken for a change of
//! yeast, and batches of different cellars can be compared. Below a strain's stop temperature the clock stops: cold yeast
//! drops out. It runs on when the beer is warmed.

use std::sync::Arc;

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
    pub(super) knots: Arc<[(f64, f64, f64)]>,
    /// Pace after the last knot: that of the last temperature at which the clock ran.
    pub(super) after: f64,
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
