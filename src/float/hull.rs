//! Any body of revolution, at any tilt.

use crate::error::{Error, Result, inside};
use crate::liquid::solve::root;

use super::profile::{Profile, Wet};
use super::tilt_cuts::TiltCuts;
use super::wall_sided::tangent;

const FORMULA: &str = "the floating hull";
/// Step of the search for the first tilt of rest, degrees.
const SEARCH_STEP_DEG: f64 = 2.0;
const LOWEST_TILT_DEG: f64 = 1e-3;
const HIGHEST_TILT_DEG: f64 = 89.0;

/// A float of any profile with its mass and centre of gravity.
///
/// The water plane is `z = d + x t`, z up the axis from the nose, x across it to the heavy side, `t = tan(tilt)`. Displaced
/// mass equals mass, and the centre of buoyancy lies on one vertical with the centre of gravity:
/// `rho V = m`, `(x_B - e) + t (z_B - z_g) = 0`. Volume and moments are integrals over circular segments (plane geometry)
/// by quadrature; the top and the bottom may be cut by the plane.
///
/// The rest given is the one reached from above as the liquid gets denser: deepest, stable, density rising with tilt.
#[derive(Debug, Clone, PartialEq)]
pub struct Hull {
    /// The outline.
    pub profile: Profile,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Distance of the centre of gravity from the axis (e), m; positive.
    pub cg_offset_m: f64,
    /// Height of the centre of gravity above the nose (z_g), m.
    pub cg_height_m: f64,
    /// Pull of the meniscus downward along the water line, as a mass, kg; zero to leave it out. Its line of action meets the
    /// axis in the water plane (so `rho V = m + m_s`), as it does where the plane cuts a cylinder.
    pub meniscus_kg: f64,
}

/// Density at a tilt with its partial derivatives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct HullGradient {
    pub density_kg_m3: f64,
    /// By the mass, 1/m3.
    pub by_mass_kg: f64,
    /// By the offset of the centre of gravity, kg/m4.
    pub by_cg_offset_m: f64,
    /// By its height, kg/m4.
    pub by_cg_height_m: f64,
    /// By tilt, kg/m3 per degree.
    pub by_tilt_deg: f64,
}

/// Where a float rests: what a picture of it needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// Density of the liquid, kg/m3.
    pub density_kg_m3: f64,
    /// Tilt, degrees.
    pub tilt_deg: f64,
    /// Height above the nose where the water plane cuts the axis, m.
    pub waterline_m: f64,
    /// Displaced volume, m3.
    pub volume_m3: f64,
    /// Centre of buoyancy, off the axis, m.
    pub buoyancy_offset_m: f64,
    /// Centre of buoyancy, above the nose, m.
    pub buoyancy_height_m: f64,
}

impl Hull {
    /// A hull without a meniscus.
    pub fn new(profile: Profile, mass_kg: f64, cg_offset_m: f64, cg_height_m: f64) -> Self {
        Self { profile, mass_kg, cg_offset_m, cg_height_m, meniscus_kg: 0.0 }
    }

    /// Density of the liquid in which the float rests at this tilt, kg/m3.
    ///
    /// # Errors
    /// [`Error::Domain`] for a tilt outside 0 to 89 degrees; [`Error::NotEstimable`] where the float cannot rest at it (it would
    /// be under water, or unstable); [`Error::Setting`] for a mass, offset or meniscus that no float has.
    pub fn density_kg_m3(&self, tilt_deg: f64) -> Result<f64> {
        self.gradient(tilt_deg).map(|gradient| gradient.density_kg_m3)
    }

    /// Density at this tilt and its partial derivatives, from the slopes of the volume and the moments.
    pub(crate) fn gradient(&self, tilt_deg: f64) -> Result<HullGradient> {
        self.gradient_by(&TiltCuts::new(&self.profile, tilt_deg))
    }

    /// The same at the tilt of cuts of this profile.
    pub(crate) fn gradient_by(&self, cuts: &TiltCuts) -> Result<HullGradient> {
        self.at_tilt(cuts).map(|(_, gradient)| gradient)
    }

    /// Where the float rests at this tilt.
    ///
    /// # Errors
    /// As [`Hull::density_kg_m3`].
    pub fn rest(&self, tilt_deg: f64) -> Result<Rest> {
        let (waterline_m, gradient) = self.at_tilt(&TiltCuts::new(&self.profile, tilt_deg))?;
        let wet = self.profile.wet(waterline_m, tangent(FORMULA, tilt_deg)?);
        Ok(Rest {
            density_kg_m3: gradient.density_kg_m3,
            tilt_deg,
            waterline_m,
            volume_m3: wet.volume,
            buoyancy_offset_m: wet.moment_x / wet.volume,
            buoyancy_height_m: wet.moment_z / wet.volume,
        })
    }

    /// Tilt at which the float rests in a liquid of this density, degrees: the first, from upright.
    ///
    /// # Errors
    /// [`Error::Domain`] for a density in which it sinks; [`Error::NotEstimable`] where it lies down beyond 89 degrees;
    /// [`Error::Setting`] for a mass, offset or meniscus that no float has.
    pub fn tilt_deg(&self, density_kg_m3: f64) -> Result<f64> {
        self.check()?;
        let load = self.mass_kg + self.meniscus_kg;
        let lowest = load / self.profile.volume_m3() * (1.0 + 1e-9);
        Error::check_domain(FORMULA, "density", "kg/m3", density_kg_m3, lowest, 1e5)?;
        let volume = load / density_kg_m3;
        let mut waterline = None;
        // Torque and its slope in tilt at this volume; not a number where no water line is found, which `root` reports.
        let mut torque = |tilt_deg: f64| {
            let t = tilt_deg.to_radians().tan();
            let Ok(d) = self.waterline_m(volume, t, waterline) else { return (f64::NAN, f64::NAN) };
            waterline = Some(d);
            let wet = self.profile.wet(d, t);
            let (torque, by_d, by_t) = self.torque(&wet, d, t);
            (torque, (by_t - by_d * wet.chord_s / wet.chord) * (1.0 + t * t).to_radians())
        };
        let (mut low, mut high) = (LOWEST_TILT_DEG, SEARCH_STEP_DEG);
        // The heavy side turns the float down (a negative torque) until the buoyancy has moved out under it.
        while torque(high).0 < 0.0 {
            low = high;
            high += SEARCH_STEP_DEG;
            if high > HIGHEST_TILT_DEG {
                return Err(Error::not_estimable("the tilt of a float", "it lies flat in a liquid so dense"));
            }
        }
        root("the tilt of a float", (low, high), 0.5 * (low + high), torque)
    }

    /// The point `(t, y)` of one rest on the straight line `y = e + z_g t`, for a known mass without a meniscus: the
    /// centre of gravity follows by linear regression for any hull. `y = x_B + t z_B` of the volume `m/rho`.
    ///
    /// # Errors
    /// [`Error::Domain`] for a tilt outside 0 to 90 degrees or a density in which the hull sinks.
    pub fn line_point(profile: &Profile, mass_kg: f64, tilt_deg: f64, density_kg_m3: f64) -> Result<(f64, f64)> {
        let t = tangent(FORMULA, tilt_deg)?;
        let hull = Self::new(profile.clone(), mass_kg, 1.0, 0.0);
        hull.check()?;
        let lowest = mass_kg / profile.volume_m3() * (1.0 + 1e-9);
        let rho = Error::check_domain(FORMULA, "density", "kg/m3", density_kg_m3, lowest, 1e5)?;
        let d = hull.waterline_m(mass_kg / rho, t, None)?;
        let wet = profile.wet(d, t);
        Ok((t, (wet.moment_x + t * wet.moment_z) / wet.volume))
    }

    /// The hull of this profile and mass that rests at the first tilt in the first density and at the second in the second:
    /// two linear equations for the centre of gravity.
    ///
    /// # Errors
    /// As [`Hull::line_point`]; [`Error::NotEstimable`] for two equal tilts, or when the heavy side would have to be the other.
    pub fn through(profile: Profile, mass_kg: f64, rests: [(f64, f64); 2]) -> Result<Self> {
        let [(tilt_1, rho_1), (tilt_2, rho_2)] = rests;
        let (t1, y1) = Self::line_point(&profile, mass_kg, tilt_1, rho_1)?;
        let (t2, y2) = Self::line_point(&profile, mass_kg, tilt_2, rho_2)?;
        let height = (y2 - y1) / (t2 - t1);
        let offset = y1 - height * t1;
        if !(height.is_finite() && offset > 0.0) {
            return Err(Error::not_estimable("the centre of gravity", "no float of this hull and mass rests so"));
        }
        Ok(Self::new(profile, mass_kg, offset, height))
    }

    /// Water line and gradient at a tilt.
    fn at_tilt(&self, cuts: &TiltCuts) -> Result<(f64, HullGradient)> {
        self.check()?;
        let tilt_deg = cuts.tilt_deg;
        Error::check_domain(FORMULA, "tilt", "degrees", tilt_deg, LOWEST_TILT_DEG, HIGHEST_TILT_DEG)?;
        let t = tangent(FORMULA, tilt_deg)?;
        let torque = |wet: &Wet, d: f64| {
            let (torque, by_d, _) = self.torque(wet, d, t);
            (torque, by_d)
        };
        let why = |why: String| Error::not_estimable("the density for a tilt", why);
        let mut above = None;
        for (low, wet) in cuts.of(&self.profile) {
            let at_low = torque(&wet, low);
            if at_low.0 < 0.0 {
                let (high, at_high) =
                    above.ok_or_else(|| why(format!("at {tilt_deg:.2} degrees the float is under water")))?;
                let ends = [(low, at_low), (high, at_high)];
                let value = |d: f64| {
                    let end = ends.iter().find(|(at, _)| at.total_cmp(&d).is_eq());
                    end.map_or_else(|| torque(&self.profile.wet(d, t), d), |(_, torque)| *torque)
                };
                let d = root("the water line of a float", (low, high), 0.5 * (low + high), value)?;
                return Ok((d, self.gradient_at(d, t, tilt_deg)?));
            }
            above = Some((low, at_low));
        }
        Err(why(format!("the float cannot rest at {tilt_deg:.2} degrees")))
    }

    fn gradient_at(&self, d: f64, t: f64, tilt_deg: f64) -> Result<HullGradient> {
        let wet = self.profile.wet(d, t);
        let (_, by_d, by_t) = self.torque(&wet, d, t);
        let rho = (self.mass_kg + self.meniscus_kg) / wet.volume;
        // Along the rests the water line moves by -(torque's slope in p)/(its slope in d) with a parameter p, and
        // rho = (m + m_s)/V(d, t). The torque is taken times V.
        let by_line = -rho * wet.chord / by_d;
        let by_mass = (wet.moment_x + t * wet.moment_z) / wet.volume - self.cg_offset_m - t * self.cg_height_m;
        let by_t = (-by_line * by_t - rho * wet.chord_s) / wet.volume;
        let gradient = HullGradient {
            density_kg_m3: rho,
            by_mass_kg: 1.0 / wet.volume - by_line * by_mass,
            by_cg_offset_m: by_line * self.mass_kg,
            by_cg_height_m: by_line * self.mass_kg * t,
            by_tilt_deg: by_t * (1.0 + t * t).to_radians(),
        };
        if gradient.by_tilt_deg > 0.0 {
            Ok(gradient)
        } else {
            let why = format!("at {tilt_deg:.2} degrees the float does not rest, it turns over");
            Err(Error::not_estimable("the density for a tilt", why))
        }
    }

    /// Righting torque over the acceleration of gravity and the cosine of the tilt, times the volume so that an empty cut
    /// divides by nothing; with its slopes in d and t.
    fn torque(&self, wet: &Wet, d: f64, t: f64) -> (f64, f64, f64) {
        let load = self.mass_kg + self.meniscus_kg;
        let pull = self.mass_kg * (self.cg_offset_m + t * self.cg_height_m) + self.meniscus_kg * t * d;
        let value = load * (wet.moment_x + t * wet.moment_z) - pull * wet.volume;
        let by_d = load * (wet.chord_s + t * wet.chord_z) - pull * wet.chord - self.meniscus_kg * t * wet.volume;
        let by_t = load * (wet.chord_ss + t * wet.chord_zs + wet.moment_z)
            - pull * wet.chord_s
            - (self.mass_kg * self.cg_height_m + self.meniscus_kg * d) * wet.volume;
        (value, by_d, by_t)
    }

    /// Height where a plane of this slope that cuts off this volume meets the axis.
    fn waterline_m(&self, volume: f64, t: f64, start: Option<f64>) -> Result<f64> {
        let reach = self.profile.widest_m() * t;
        let bracket = (-reach, self.profile.length_m() + reach);
        root("the water line of a float", bracket, start.unwrap_or(0.5 * (bracket.0 + bracket.1)), |d| {
            let wet = self.profile.wet(d, t);
            (wet.volume - volume, wet.chord)
        })
    }

    fn check(&self) -> Result<()> {
        let (least, most) = (f64::MIN_POSITIVE, f64::MAX);
        inside("mass_kg", self.mass_kg, least..=most, "a positive mass")?;
        inside("cg_offset_m", self.cg_offset_m, least..=most, "a positive offset of the centre of gravity")?;
        inside("cg_height_m", self.cg_height_m, f64::MIN..=most, "a finite height of the centre of gravity")?;
        inside("meniscus_kg", self.meniscus_kg, 0.0..=most, "zero or a positive mass")
    }
}
