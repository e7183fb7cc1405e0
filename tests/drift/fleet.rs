//! Seasons with known drift: floats whose mass and sensor zero wander, checked by baths and samples with shared errors.
//!
//! The process is not the fitted model: a random walk of the sensor's zero and a steady turn (sideways, so larger at low gravity and
//! not linear in SG), growing and sudden deposits (proportional), hulls that no candidate curve equals. All
//! probes are calibrated in the same baths, by the hydrometer that reads the samples or by weighing.

use heelwort::Instant;
use heelwort::float::Hull;
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::{Probe, Season};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::blank;
use crate::calibration::floats::{Float, hull, normal};

/// How the gravity of a bath is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stated {
    /// By the hydrometer that reads the samples as well.
    Hydrometer,
    /// By mass, with an error of the scales that all baths of a session share.
    Weighed,
}

/// What the seasons are like.
#[derive(Debug, Clone)]
pub struct Fleet {
    pub probes: usize,
    pub days: f64,
    pub baths: Stated,
    /// Days from one sample of a probe to the next.
    pub sample_every_d: f64,
    /// Random walk of the sensor's zero, degrees after 30 days.
    pub walk_deg: f64,
    /// Sudden shifts a probe and day.
    pub shifts_per_d: f64,
    /// One sudden shift of this size (SG, at a random day, either way) on every second probe.
    pub planted_sg: f64,
    /// Mean and SD over probes of the proportional drift, per 30 days.
    pub mass_drift: (f64, f64),
    /// SD over probes of the zero's steady turn, degrees per 30 days.
    pub turn_deg: f64,
}

impl Default for Fleet {
    fn default() -> Self {
        Self {
            probes: 8,
            days: 200.0,
            baths: Stated::Hydrometer,
            sample_every_d: 10.0,
            walk_deg: 0.12,
            shifts_per_d: 0.0,
            planted_sg: 0.0,
            mass_drift: (-0.0004, 0.0004),
            turn_deg: 0.10,
        }
    }
}

/// A season and, by probe, the realised slope of the error at SG 1.020, with and without shifts; the change of the error since
/// the calibration in force at the season's end; the shifts by probe (day and size at SG 1.020); and the population's mean.
pub struct Known {
    pub season: Season,
    pub slopes: Vec<f64>,
    pub gradual: Vec<f64>,
    pub since_last: Vec<f64>,
    pub shifts: Vec<Vec<(f64, f64)>>,
    pub population_mean: f64,
}

struct Truth {
    hull: Hull,
    /// Proportional error and zero (degrees) by day.
    history: Vec<(f64, f64)>,
    /// The same without shifts.
    gradual: Vec<(f64, f64)>,
}

impl Truth {
    fn at(history: &[(f64, f64)], day: f64) -> (f64, f64) {
        let last = history.len() - 1;
        let left = (day as usize).min(last - 1);
        let x = (day - left as f64).clamp(0.0, 1.0);
        let (a, b) = (history[left], history[left + 1]);
        (a.0 + x * (b.0 - a.0), a.1 + x * (b.1 - a.1))
    }

    fn tilt(&self, history: &[(f64, f64)], sg: f64, day: f64) -> f64 {
        let (proportional, zero) = Self::at(history, day);
        self.hull.tilt_deg(sg * (1.0 + proportional) * WATER_20C_KG_M3).unwrap() + zero
    }

    /// Error at SG 1.020 against the probe's own first curve.
    fn error(&self, history: &[(f64, f64)], day: f64) -> f64 {
        self.hull.density_kg_m3(self.tilt(history, 1.020, day)).unwrap() / WATER_20C_KG_M3 - 1.020
    }

    fn slope_per_30d(&self, history: &[(f64, f64)], from: f64, to: f64) -> f64 {
        let weeks = ((to - from) / 7.0).floor() as usize;
        let days: Vec<f64> = (0..=weeks).map(|i| from + 7.0 * i as f64).collect();
        let mean = days.iter().sum::<f64>() / days.len() as f64;
        let square: f64 = days.iter().map(|d| (d - mean).powi(2)).sum();
        30.0 * days.iter().map(|d| (d - mean) * self.error(history, *d)).sum::<f64>() / square
    }
}

/// SDs of what the instruments do: the hydrometer's bias, one reading of it, a weighed bath, the scales of a session (a share
/// of SG - 1), beer against baths, a sample.
pub const HYDROMETER_SD: f64 = 0.0007;
pub const READ_SD: f64 = 0.0007;
pub const WEIGHED_SD: f64 = 0.0005;
pub const GAIN_SD: f64 = 0.003;
pub const BEER_SD: f64 = 0.0005;
pub const BATH_TILT_DEG: f64 = 0.2;

pub const START: &str = "2031-01-06T09:00:00Z";

pub fn known(fleet: &Fleet, seed: u64) -> Known {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let start = Instant::parse(START).unwrap();
    let (mut truths, mut shifts) = (Vec::new(), Vec::new());
    let mut season = Season::default();
    for p in 0..fleet.probes {
        let (hull, shape) = hull(if p % 2 == 0 { Float::Long } else { Float::Short }, &mut rng);
        let rate = fleet.mass_drift.0 + normal(&mut rng, fleet.mass_drift.1);
        let turn = normal(&mut rng, fleet.turn_deg);
        let (mut proportional, mut zero) = (0.0, 0.0);
        let (mut history, mut gradual) = (vec![(0.0, 0.0)], vec![(0.0, 0.0)]);
        let (mut sudden, mut own) = (0.0, Vec::new());
        let planted = rng.random_range(0.1..0.9) * fleet.days;
        let upward = rng.random_bool(0.5);
        for day in 1..fleet.days as usize + 3 {
            proportional += rate / 30.0;
            zero += turn / 30.0 + normal(&mut rng, fleet.walk_deg / 30f64.sqrt());
            let mut shift = 0.0;
            if rng.random_bool(fleet.shifts_per_d) {
                shift += normal(&mut rng, 0.003);
            }
            if fleet.planted_sg > 0.0 && p % 2 == 0 && day == planted as usize {
                shift += if upward { fleet.planted_sg } else { -fleet.planted_sg };
            }
            if shift != 0.0 {
                own.push((day as f64, shift * 1.020));
            }
            sudden += shift;
            history.push((proportional + sudden, zero));
            gradual.push((proportional, zero));
        }
        shifts.push(own);
        season.probes.push(Probe {
            total_mass_g: Some(1000.0 * hull.mass_kg + normal(&mut rng, 0.1)),
            diameter_mm: Some(2000.0 * shape.radius_m() + normal(&mut rng, 0.1)),
            ..blank::probe(format!("p{p}"))
        });
        truths.push(Truth { hull, history, gradual });
    }
    // A relative error r of the density is r x 1.020 in SG; the zero's turn has mean 0 over the population.
    let population_mean = fleet.mass_drift.0 * 1.020;
    let hydrometer = normal(&mut rng, HYDROMETER_SD);
    let beer = normal(&mut rng, BEER_SD);
    let mut last = vec![0.0f64; fleet.probes];
    // Two full calibrations; the baths are shared by all probes. And water checks between.
    let sessions = [(0.0, 6), (60.0, 1), (120.0, 6), (170.0, 1)];
    for (s, &(day, baths)) in sessions.iter().enumerate().filter(|(_, session)| session.0 < fleet.days) {
        let gain = normal(&mut rng, GAIN_SD);
        for b in 0..baths {
            let made = 1.0 + 0.016 * f64::from(b);
            let (true_sg, stated, method) = match fleet.baths {
                _ if b == 0 => (1.0, 1.0, "water"),
                Stated::Weighed => (made - gain * (made - 1.0) + normal(&mut rng, WEIGHED_SD), made, "weighed"),
                Stated::Hydrometer => (made, made + hydrometer + normal(&mut rng, READ_SD), "hydrometer"),
            };
            for (p, truth) in truths.iter().enumerate() {
                let at = day + 0.04 * f64::from(b);
                let tilt = truth.tilt(&truth.history, true_sg, at) + normal(&mut rng, BATH_TILT_DEG);
                let mut reference = blank::reference(start.plus_days(at), stated, tilt, BATH_TILT_DEG);
                reference.probe = Some(format!("p{p}"));
                reference.bath = Some(format!("s{s}b{b}"));
                reference.method = Some(method.into());
                reference.instrument = (method == "hydrometer").then(|| "h1".into());
                season.references.push(reference);
                last[p] = last[p].max(at);
            }
        }
    }
    // Samples, each of its own batch.
    for (p, truth) in truths.iter().enumerate() {
        let mut day = 3.0 + 0.7 * p as f64;
        let mut k = 0;
        while day < fleet.days {
            let sg = if k % 3 == 0 { 1.035 } else { 1.011 } + normal(&mut rng, 0.004);
            let read = sg + hydrometer + normal(&mut rng, READ_SD);
            let tilt = truth.tilt(&truth.history, sg - beer, day) + normal(&mut rng, 0.1);
            let mut reference = blank::reference(start.plus_days(day), read, tilt, 0.1);
            reference.probe = Some(format!("p{p}"));
            reference.batch = Some(format!("b{p}-{k}"));
            reference.method = Some("hydrometer".into());
            reference.instrument = Some("h1".into());
            season.references.push(reference);
            last[p] = last[p].max(day);
            day += fleet.sample_every_d;
            k += 1;
        }
    }
    season.references.sort_by_key(|r| r.at);
    let from = 0.04 * 5.0;
    let slope = |of: fn(&Truth) -> &[(f64, f64)]| {
        truths.iter().zip(&last).map(|(t, &to)| t.slope_per_30d(of(t), from, to)).collect::<Vec<f64>>()
    };
    let (slopes, gradual) = (slope(|t| &t.history), slope(|t| &t.gradual));
    let latest = last.iter().copied().fold(0.0, f64::max);
    let in_force = from + if fleet.days > 120.0 { 120.0 } else { 0.0 };
    let since = |t: &Truth| t.error(&t.history, latest) - t.error(&t.history, in_force);
    let since_last = truths.iter().map(since).collect();
    Known { season, slopes, gradual, since_last, shifts, population_mean }
}
