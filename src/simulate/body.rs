//! The float of a probe: a hull with a neck and a taper, its mass, and the water line's pull.

use std::f64::consts::PI;

use crate::error::{Error, Result};
use crate::float::Profile;

use super::ageing::ProbeChange;
use super::hull_outline::{hull, lever_and_axis};
use super::stream::Stream;

/// Standard gravity, m/s2.
const GRAVITY: f64 = 9.806_65;
const TILTS: usize = 36;
const TILT_STEP_DEG: f64 = 2.5;
const VOLUMES: usize = 5;
/// Densities that the table spans, kg/m3.
const DENSITIES: (f64, f64) = (965.0, 1160.0);

/// What pulls at the water line and clings below it, in one liquid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Surroundings {
    /// Density at the liquid's temperature, kg/m3.
    pub density_kg_m3: f64,
    /// Temperature, C.
    pub temp_c: f64,
    /// Surface tension times the cosine of the contact angle, N/m.
    pub pull_n_m: f64,
    /// Gas that clings to the shell, mL.
    pub gas_ml: f64,
    /// Foam on the dry part, g.
    pub foam_g: f64,
}

impl Surroundings {
    /// A still liquid of 20 C that wets the shell as sugar baths do: 72 mN/m at a contact angle of 60 degrees.
    pub fn bath_at_20_c(density_kg_m3: f64) -> Self {
        Self { density_kg_m3, temp_c: 20.0, pull_n_m: 0.036, gas_ml: 0.0, foam_g: 0.0 }
    }
}

/// A float that no calibration curve describes in full.
///
/// Upright forces: weight at the centre of gravity, a pull of `2 pi r gamma cos(contact angle)` at the water line on the axis,
/// foam above it, against the lift of hull and clinging gas. With `M` the mass of the displaced liquid, `(e, z)` the
/// places of the masses `m` and `d` where the water plane cuts the axis, balance of moments (`float`'s notes) reads
///
/// ```text
/// M (x_B cos + z_B sin) = sum of m (e cos + z sin) ,   M = sum of m
/// ```
///
/// The bracket and `d` depend on the hull, the tilt and the volume alone: they are tabled once, and any mass, density or
/// surface then costs one root. Shell and contents grow with warmth: the shell in full, the contents by half.
#[derive(Debug, Clone)]
pub(super) struct Body {
    /// Outer radius, mm.
    pub radius_mm: f64,
    pub length_mm: f64,
    /// Height of the bottom's half ellipsoid, mm.
    pub bottom_mm: f64,
    /// Mass as built, g.
    pub mass_g: f64,
    /// Centre of gravity across the axis as built, mm.
    pub e_mm: f64,
    /// Centre of gravity above the nose as built, mm.
    pub z_g_mm: f64,
    /// Linear expansion of the shell, per K.
    pub expansion_per_k: f64,
    /// `x_B cos + z_B sin` and `d`, m, by tilt and then volume.
    table: Vec<[f64; 2]>,
    volumes_m3: (f64, f64),
}

/// Where the float's builder wants it: tilts in water and at SG 1.100.
#[derive(Debug, Clone, Copy)]
pub(super) struct WantedTilts {
    pub water_deg: f64,
    pub strong_deg: f64,
}

impl Body {
    /// A probe of random size that rests at the wanted tilts in water and at SG 1.100, 20 C.
    pub fn draw(draw: &mut Stream, expansion_per_k: f64) -> Result<Self> {
        for _ in 0..200 {
            let radius_mm = draw.uniform(16.5, 20.5);
            let length_mm = radius_mm * draw.uniform(7.0, 7.9);
            let bottom_mm = if draw.chance(0.6) { radius_mm } else { radius_mm * draw.uniform(0.4, 0.8) };
            let draught_mm = length_mm * draw.uniform(0.62, 0.72);
            let neck = draw.chance(0.7).then(|| (draw.uniform(0.6, 0.85), draw.uniform(9.0, 18.0)));
            let taper_mm = draw.uniform(-0.35, 0.35);
            let wanted = WantedTilts { water_deg: draw.uniform(21.5, 28.5), strong_deg: draw.uniform(59.0, 69.0) };
            let profile = hull(radius_mm, length_mm, bottom_mm, taper_mm, neck)?;
            let mass_g = 1e3 * profile.wet(draught_mm * 1e-3, 1e-3).volume * 1e3;
            let mut body = Self {
                radius_mm,
                length_mm,
                bottom_mm,
                mass_g,
                e_mm: 0.0,
                z_g_mm: 0.0,
                expansion_per_k,
                table: Vec::new(),
                volumes_m3: (1e-3 * mass_g / DENSITIES.1, 1e-3 * (mass_g + 3.0) / DENSITIES.0),
            };
            // The table is the dear part: it is made for floats that can be balanced.
            if body.weigh_out(&profile, wanted).is_some() {
                body.fill_table(&profile);
                if body.rises() {
                    return Ok(body);
                }
            }
        }
        Err(Error::numeric("building a probe", "no float of 200 rests as it should"))
    }

    fn fill_table(&mut self, profile: &Profile) {
        self.table.clear();
        for i in 0..TILTS {
            let mut axis = 0.6 * self.length_mm * 1e-3;
            for j in 0..VOLUMES {
                let entry = lever_and_axis(profile, TILT_STEP_DEG * i as f64, self.volume(j), axis);
                axis = entry[1];
                self.table.push(entry);
            }
        }
    }

    fn volume(&self, j: usize) -> f64 {
        let (low, high) = self.volumes_m3;
        low + (high - low) * j as f64 / (VOLUMES - 1) as f64
    }

    /// Table by cubic interpolation both ways: `x_B cos + z_B sin` and `d`, m.
    fn lookup(&self, tilt_deg: f64, volume_m3: f64) -> [f64; 2] {
        let (low, high) = self.volumes_m3;
        let (row, across) = cubic((tilt_deg / TILT_STEP_DEG).clamp(0.0, (TILTS - 1) as f64), TILTS);
        let place = (volume_m3 - low) / (high - low) * (VOLUMES - 1) as f64;
        let (column, along) = cubic(place.clamp(-0.2, VOLUMES as f64 - 0.8), VOLUMES);
        let mut sum = [0.0; 2];
        for (i, a) in across.iter().enumerate() {
            let start = (row + i) * VOLUMES + column;
            for (entry, b) in self.table.get(start..start + 4).unwrap_or_default().iter().zip(along) {
                sum[0] += a * b * entry[0];
                sum[1] += a * b * entry[1];
            }
        }
        sum
    }

    /// Moment by which the float is too upright (negative) or too far over at a tilt, kg m.
    fn moment(&self, tilt_deg: f64, change: &ProbeChange, around: &Surroundings) -> f64 {
        self.moment_by(tilt_deg, change, around, |volume_m3| self.lookup(tilt_deg, volume_m3))
    }

    /// The same with lever and axis from `geometry`.
    fn moment_by(
        &self,
        tilt_deg: f64,
        change: &ProbeChange,
        around: &Surroundings,
        geometry: impl Fn(f64) -> [f64; 2],
    ) -> f64 {
        let (sin, cos) = tilt_deg.to_radians().sin_cos();
        let shell = 1.0 + self.expansion_per_k * (around.temp_c - 20.0);
        let pull_kg = 2.0 * PI * self.radius_mm * 1e-3 * around.pull_n_m / GRAVITY;
        // Gas under water lifts as a mass of its volume below nothing, about half way down.
        let lift_kg = -around.gas_ml * 1e-6 * around.density_kg_m3;
        let foam_kg = around.foam_g * 1e-3;
        let own_kg = 1e-3 * (self.mass_g + change.mass_g);
        let mass_kg = own_kg + pull_kg + lift_kg + foam_kg;
        // Volume and places on the scale of the hull at 20 C.
        let [lever, axis] = geometry(mass_kg / (around.density_kg_m3 * shell.powi(3)));
        // Contents grow half as much as the shell.
        let contents = 0.5 * (1.0 + 1.0 / shell);
        let across = 1e-6 * (self.mass_g * self.e_mm + change.across_g_mm) * contents;
        let along = 1e-6 * (self.mass_g * self.z_g_mm + change.along_g_mm) * contents;
        // A ring of foam sits 8 mm above the water line and leans over the low side.
        let foam = foam_kg * (0.15 * 1e-3 * self.radius_mm * cos + (axis + 0.008) * sin);
        mass_kg * lever - (across * cos + along * sin) - pull_kg * axis * sin - lift_kg * 0.5 * axis * sin - foam
    }

    /// Resting tilt, degrees from vertical: the root of the moments, starting from a guess.
    pub fn tilt_deg(&self, change: &ProbeChange, around: &Surroundings, guess_deg: f64) -> f64 {
        let moment = |tilt| self.moment(tilt, change, around);
        let (mut low, mut high) = (0.0, TILT_STEP_DEG * (TILTS - 1) as f64);
        let mut at = guess_deg.clamp(1.0, high - 1.0);
        let mut width = 0.5;
        // Newton's steps with a difference for the slope, inside a bracket that only shrinks.
        for _ in 0..60 {
            let here = moment(at);
            if here < 0.0 {
                low = at
            } else {
                high = at
            }
            let slope = (moment(at + 0.02) - here) / 0.02;
            let mut next = at - here / slope;
            if !(slope > 0.0 && next > low && next < high) {
                next = 0.5 * (low + high);
            }
            width = (next - at).abs();
            at = next;
            if width < 1e-7 || high - low < 1e-9 {
                break;
            }
        }
        debug_assert!(width < 1e-3);
        at
    }

    /// Tilt in a still bath of this density at 20 C, degrees.
    pub fn bath_tilt_deg(&self, change: &ProbeChange, density_kg_m3: f64) -> f64 {
        self.tilt_deg(change, &Surroundings::bath_at_20_c(density_kg_m3), 40.0)
    }

    /// Sets the centre of gravity for the wanted tilts: two linear equations.
    fn weigh_out(&mut self, profile: &Profile, wanted: WantedTilts) -> Option<()> {
        // With e = z = 0 the moment is all that weight has to balance.
        let need = |tilt_deg: f64, density| {
            let around = Surroundings::bath_at_20_c(density);
            let geometry = |volume| lever_and_axis(profile, tilt_deg, volume, 0.6e-3 * self.length_mm);
            self.moment_by(tilt_deg, &ProbeChange::default(), &around, geometry) * 1e6
        };
        let (first, second) = (need(wanted.water_deg, 998.2), need(wanted.strong_deg, 1098.0));
        let (s1, c1) = wanted.water_deg.to_radians().sin_cos();
        let (s2, c2) = wanted.strong_deg.to_radians().sin_cos();
        let determinant = c1 * s2 - s1 * c2;
        self.e_mm = (first * s2 - s1 * second) / determinant / self.mass_g;
        self.z_g_mm = (c1 * second - c2 * first) / determinant / self.mass_g;
        (self.e_mm > 0.8 && self.z_g_mm > 0.25 * self.length_mm && self.z_g_mm < 0.6 * self.length_mm).then_some(())
    }

    /// True when tilt rises with density from 0.985 to 1.12, by at least 0.1 degree per 0.001 at the weak end.
    fn rises(&self) -> bool {
        let tilts: Vec<f64> =
            (0..=27).map(|i| self.bath_tilt_deg(&ProbeChange::default(), 985.0 + 5.0 * f64::from(i))).collect();
        tilts.windows(2).all(|pair| matches!(pair, [a, b] if b - a > 0.2)) && tilts.last().is_some_and(|&t| t < 80.0)
    }

    /// Density that a still bath of 20 C must have for this tilt, kg/m3.
    pub fn bath_density_kg_m3(&self, change: &ProbeChange, tilt_deg: f64) -> f64 {
        let moment = |density: f64| self.moment(tilt_deg, change, &Surroundings::bath_at_20_c(density));
        // At a given tilt the moment is nearly straight in the density: secant steps.
        let (mut before, mut at) = (1000.0, 1050.0);
        let mut there = moment(before);
        for _ in 0..20 {
            let here = moment(at);
            if (here - there).abs() < 1e-15 || (at - before).abs() < 1e-8 {
                break;
            }
            let next = at - here * (at - before) / (here - there);
            (before, there, at) = (at, here, next.clamp(950.0, 1180.0));
        }
        at
    }
}

/// First index and weights of four-point Lagrange interpolation at `place` in `count` even nodes.
fn cubic(place: f64, count: usize) -> (usize, [f64; 4]) {
    let left = (place.max(0.0) as usize).clamp(1, count - 3);
    let x = place - left as f64;
    let (m, p, q) = (x + 1.0, x - 1.0, x - 2.0);
    (left - 1, [-x * p * q / 6.0, m * p * q / 2.0, -m * x * q / 2.0, m * x * p / 6.0])
}

#[cfg(test)]
#[path = "../../tests/inside/body.rs"]
mod tests;
