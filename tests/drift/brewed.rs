//! Seasons of probes in beer from a process that is neither the simulator's nor the fitted one: fermentations of several laws,
//! autoregressive noise, a lift by bubbles that follows the rate and comes in lots, foam for hours, knocks, warming, and cold
//! that the shells follow otherwise than assumed.

use heelwort::Instant;
use heelwort::liquid::{WATER_20C_KG_M3, beer_density_kg_m3};
use heelwort::season::{Batch, Flags, Probe, Readings, Season};
use rand::RngExt;
use rand_distr::{Distribution, Exp1, StudentT};

use crate::blank;
use crate::calibration::floats::{Float, hull, normal};
use crate::process::{PROCESSES, Truth, generator};

/// What the seasons are like: four probes, every second slot of 18 days with two of them in one batch.
#[derive(Debug, Clone)]
pub struct Brewed {
    pub slots: usize,
    /// A lasting change of this size, either way, of the first probe while it is out of the beer, once.
    pub moved_sg: f64,
    /// Whether the brewer states the original gravities.
    pub stated: bool,
    /// Probes that are checked in two baths, and when, days.
    pub checks: Vec<(usize, f64)>,
}

impl Default for Brewed {
    fn default() -> Self {
        Self { slots: 4, moved_sg: 0.0, stated: true, checks: Vec::new() }
    }
}

pub struct Known {
    pub season: Season,
    /// The change of the first probe: when, and by how much, SG.
    pub moved: (Instant, f64),
}

const PROBES: usize = 4;
const EVERY_H: f64 = 0.25;
/// Expansion of the shells in volume, per K.
const SHELL_PER_K: f64 = 1.2e-4;

/// Tilt by SG at 20 C in steps, for one float.
struct Tilts(Vec<f64>);

impl Tilts {
    const FROM: f64 = 0.970;
    const STEP: f64 = 0.0005;

    fn of(hull: &heelwort::float::Hull) -> Self {
        let at = |i: usize| hull.tilt_deg((Self::FROM + Self::STEP * i as f64) * WATER_20C_KG_M3).unwrap();
        Self((0..260).map(at).collect())
    }

    fn at(&self, ratio: f64) -> f64 {
        let x = ((ratio - Self::FROM) / Self::STEP).clamp(0.0, (self.0.len() - 2) as f64);
        let i = x as usize;
        self.0[i] + (x - i as f64) * (self.0[i + 1] - self.0[i])
    }
}

pub fn brewed(settings: &Brewed, seed: u64) -> Known {
    let mut rng = generator(seed);
    let start = Instant::parse(super::fleet::START).unwrap();
    let mut season = Season::default();
    let mut tilts = Vec::new();
    for p in 0..PROBES {
        let (hull, shape) = hull(if p % 2 == 0 { Float::Long } else { Float::Short }, &mut rng);
        season.probes.push(Probe {
            total_mass_g: Some(1000.0 * hull.mass_kg),
            diameter_mm: Some(2000.0 * shape.radius_m()),
            length_mm: Some(1000.0 * shape.length_m()),
            ..blank::probe(format!("p{p}"))
        });
        for b in 0..6 {
            let sg = 1.0 + 0.016 * f64::from(b);
            let tilt = hull.tilt_deg(sg * WATER_20C_KG_M3).unwrap() + normal(&mut rng, 0.1);
            let mut reference = blank::reference(start.plus_hours(f64::from(b)), sg, tilt, 0.1);
            reference.probe = Some(format!("p{p}"));
            reference.bath = Some(format!("b{b}"));
            reference.method = Some(if b == 0 { "water" } else { "weighed" }.into());
            season.references.push(reference);
        }
        tilts.push(Tilts::of(&hull));
    }
    // Draws of its own, so that all else is the same with and without.
    let mut aside = generator(seed ^ 0xbe51de);
    let moved_sg = if aside.random_bool(0.5) { settings.moved_sg } else { -settings.moved_sg };
    // After the batches of one slot and before those of the next.
    let moved_slot = aside.random_range(1..settings.slots.max(2) - usize::from(settings.slots > 2));
    let moved_at = start.plus_days(18.0 * moved_slot as f64 + 1.9);
    let moved = |p: usize, at: Instant| if p == 0 && at >= moved_at { moved_sg } else { 0.0 };
    for (n, &(p, day)) in settings.checks.iter().enumerate() {
        for sg in [1.000, 1.016] {
            let at = start.plus_days(day).plus_hours(50.0 * (sg - 1.0));
            let tilt = tilts[p].at(sg + moved(p, at)) + normal(&mut aside, 0.1);
            let mut reference = blank::reference(at, sg + normal(&mut aside, 0.0003), tilt, 0.1);
            reference.probe = Some(format!("p{p}"));
            reference.bath = Some(format!("check {n} {sg}"));
            reference.method = Some("weighed".into());
            reference.sg_sd = Some(0.0003);
            season.references.push(reference);
        }
    }
    let mut rows: Vec<(usize, Instant, f64, f64, usize)> = Vec::new();
    for slot in 0..settings.slots {
        let groups: &[&[usize]] = if slot % 2 == 0 { &[&[0, 1], &[2], &[3]] } else { &[&[0], &[1], &[2], &[3]] };
        for probes in groups {
            let number = season.batches.len();
            let original = 1.052 + normal(&mut rng, 0.008);
            let terminal = 1.0 + (original - 1.0) * (0.24 + normal(&mut rng, 0.03));
            let kind = PROCESSES[number % PROCESSES.len()];
            let truth = Truth::new(kind, original, terminal, normal(&mut rng, 0.2).exp(), &mut rng);
            let pitched_at = start.plus_days(2.0 + 18.0 * slot as f64 + 0.1 * number as f64);
            let until_h = rng.random_range(220.0..380.0);
            let cold_h = if rng.random_bool(0.5) { until_h - rng.random_range(60.0..90.0) } else { f64::INFINITY };
            let warm_h = rng.random_range(50.0..90.0);
            let batch = format!("b{number:02}");
            for &p in *probes {
                let noise = Noise::draw(&mut rng, until_h);
                let mut state = State::default();
                for i in 0..(until_h / EVERY_H) as usize {
                    let hours = 0.1 + EVERY_H * i as f64;
                    let rate = (truth.sg(hours - 0.5) - truth.sg(hours + 0.5)) * 24.0;
                    let mut temp_c = 19.0 + 0.3 * (hours / 3.8).sin() + (0.4 * (hours - warm_h)).clamp(0.0, 2.0);
                    temp_c = (temp_c - 1.1 * (hours - cold_h).max(0.0)).max(3.5);
                    let seen = truth.sg(hours) + moved(p, pitched_at) + state.next(&noise, hours, rate, &mut rng);
                    let density = beer_density_kg_m3(seen, original, temp_c).unwrap();
                    let tilt = tilts[p].at(density * (1.0 + SHELL_PER_K * (temp_c - 20.0)) / WATER_20C_KG_M3);
                    rows.push((p, pitched_at.plus_hours(hours), tilt, temp_c, number));
                }
            }
            season.batches.push(Batch {
                probes: probes.iter().map(|p| format!("p{p}")).collect(),
                original_sg: settings.stated.then(|| original + normal(&mut aside, 0.001)),
                original_sg_sd: Some(0.001),
                ended_at: Some(pitched_at.plus_hours(until_h)),
                ..blank::batch(batch, "cordgrass", pitched_at)
            });
        }
    }
    season.references.sort_by_key(|r| r.at);
    season.readings = readings(rows, season.batches.iter().map(|b| b.batch.clone()).collect());
    Known { season, moved: (moved_at, moved_sg) }
}

fn readings(mut rows: Vec<(usize, Instant, f64, f64, usize)>, batch_ids: Vec<String>) -> Readings {
    rows.sort_by_key(|row| (row.0, row.1));
    Readings {
        probe_ids: (0..PROBES).map(|p| format!("p{p}")).collect(),
        batch_ids,
        at: rows.iter().map(|r| r.1).collect(),
        probe: rows.iter().map(|r| r.0 as u32).collect(),
        tilt_deg: rows.iter().map(|r| (100.0 * r.2).round() / 100.0).collect(),
        temp_c: rows.iter().map(|r| (10.0 * r.3).round() / 10.0).collect(),
        batch: rows.iter().map(|r| Some(r.4 as u32)).collect(),
        batch_given: vec![true; rows.len()],
        supply_v: Vec::new(),
        flags: vec![Flags::NONE; rows.len()],
    }
}

/// How one probe is disturbed in one batch.
struct Noise {
    white: f64,
    slow: f64,
    slow_h: f64,
    lift: f64,
    knock_h: f64,
}

impl Noise {
    fn draw(rng: &mut rand_chacha::ChaCha8Rng, until_h: f64) -> Self {
        Self {
            white: rng.random_range(2e-4..5e-4),
            slow: rng.random_range(2e-4..5e-4),
            slow_h: rng.random_range(1.0..6.0),
            lift: rng.random_range(3e-4..9e-4),
            knock_h: rng.random_range(0.1..0.9) * until_h,
        }
    }
}

#[derive(Default)]
struct State {
    slow: f64,
    gas: f64,
    foam: (f64, f64),
}

impl State {
    fn next(&mut self, noise: &Noise, hours: f64, rate: f64, rng: &mut rand_chacha::ChaCha8Rng) -> f64 {
        let vigour = (rate / 0.015).max(0.0);
        let kept = (-EVERY_H / noise.slow_h).exp();
        self.slow = kept * self.slow + (1.0 - kept * kept).sqrt() * normal(rng, 1.0);
        let stays = (-EVERY_H / 1.5f64).exp();
        let lot: f64 = Exp1.sample(rng);
        self.gas = stays * self.gas + (1.0 - stays) * vigour * lot;
        if hours >= self.foam.1 && rng.random_bool((0.004 * vigour).min(1.0)) {
            let push: f64 = StudentT::<f64>::new(3.0).unwrap().sample(rng);
            self.foam = ((0.004 * push.abs()).min(0.05), hours + rng.random_range(0.25..3.0));
        }
        let foam = if hours < self.foam.1 { self.foam.0 } else { 0.0 };
        let knock = if (0.0..0.6).contains(&(hours - noise.knock_h)) { -0.012 } else { 0.0 };
        let white = noise.white * (1.0 + 0.5 * vigour) * normal(rng, 1.0);
        white + noise.slow * self.slow + noise.lift * self.gas + foam + knock
    }
}
