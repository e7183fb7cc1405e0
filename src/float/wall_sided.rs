//! The wall-sided float: the water plane cuts only the cylinder.

use crate::error::{Error, Result, inside};

/// Densities of a rest on the straight line: any liquid, with room for a fit that is under way.
const LOWEST_KG_M3: f64 = 1e-3;
const HIGHEST_KG_M3: f64 = 1e5;

/// A float whose water plane cuts only its cylindrical part: density from tilt and back in closed form.
///
/// With `t = tan(tilt)` and `U = K/rho` (equivalent draught over radius), Archimedes' principle and the balance of the centres of
/// buoyancy and gravity give `t [U/2 - h + (kappa + t^2/8)/U] = eps` (the "wall-sided" formula of naval architecture;
/// Rawson and Tupper, Basic Ship Theory, vol. 1, and Biran, Ship Hydrostatics and Stability; titles from memory).
/// `K = m/(pi r^3)`, `h = (z_g - c)/r`, `eps = e/r`, with mass m, radius r, centre of gravity at height z_g above the nose
/// and e off the axis; a bottom of height b has `c = b/3` and the `kappa` of [`super::End::kappa`].
///
/// The physical branch is the deeper root, on which density rises with tilt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WallSided {
    /// Mass over pi times the radius cubed, kg/m3.
    pub k_kg_m3: f64,
    /// Height of the centre of gravity above the bottom's reference `c`, in radii.
    pub h: f64,
    /// Distance of the centre of gravity from the axis, in radii; positive.
    pub eps: f64,
    /// Shape constant of the bottom: 1/4 flat, 2/9 hemisphere.
    pub kappa: f64,
}

/// Density at a tilt with its partial derivatives, for fits and for the propagation of errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WallGradient {
    pub density_kg_m3: f64,
    /// By `k_kg_m3`.
    pub by_k: f64,
    /// By `h`, kg/m3.
    pub by_h: f64,
    /// By `eps`, kg/m3.
    pub by_eps: f64,
    /// By tilt, kg/m3 per degree.
    pub by_tilt_deg: f64,
}

impl WallSided {
    /// Density of the liquid in which the float rests at this tilt, and its partial derivatives.
    ///
    /// `B = h + eps/t`, `U = B + sqrt(B^2 - 2 kappa - t^2/4)`, `rho = K/U`.
    ///
    /// # Errors
    /// [`Error::Domain`] for a tilt that is not between 0 and 90 degrees; [`Error::NotEstimable`] for one so high that the float
    /// turns over; [`Error::Setting`] for parameters that no float has.
    pub fn gradient(&self, tilt_deg: f64) -> Result<WallGradient> {
        let (t, s, u) = self.draught(tilt_deg)?;
        let by_u = -self.k_kg_m3 / (u * u);
        let t_by_deg = (1.0 + t * t).to_radians();
        Ok(WallGradient {
            density_kg_m3: self.k_kg_m3 / u,
            by_k: 1.0 / u,
            by_h: by_u * u / s,
            by_eps: by_u * u / (s * t),
            by_tilt_deg: by_u * (-self.eps * u / (t * t * s) - t / (4.0 * s)) * t_by_deg,
        })
    }

    /// The point `(t, y)` of one rest on the straight line `y = eps + h t`, for a known `K`: start values for a fit
    /// without iteration, and a sight of outliers.
    ///
    /// `y = t [U/2 + (kappa + t^2/8)/U]`.
    ///
    /// # Errors
    /// [`Error::Domain`] for a tilt outside 0 to 90 degrees or a density or `k_kg_m3` that is not positive.
    pub fn line_point(tilt_deg: f64, density_kg_m3: f64, k_kg_m3: f64, kappa: f64) -> Result<(f64, f64)> {
        let formula = "the wall-sided float";
        let t = tangent(formula, tilt_deg)?;
        let rho = Error::check_domain(formula, "density", "kg/m3", density_kg_m3, LOWEST_KG_M3, HIGHEST_KG_M3)?;
        let k = Error::check_domain(formula, "K", "kg/m3", k_kg_m3, LOWEST_KG_M3, 1e9)?;
        let u = k / rho;
        Ok((t, t * (0.5 * u + (kappa + 0.125 * t * t) / u)))
    }

    /// `t`, the square root and `U` at a tilt.
    fn draught(&self, tilt_deg: f64) -> Result<(f64, f64, f64)> {
        self.check()?;
        let t = tangent("the wall-sided float", tilt_deg)?;
        let b = self.h + self.eps / t;
        let square = b * b - 2.0 * self.kappa - 0.25 * t * t;
        if b > 0.0 && square > 0.0 {
            let s = square.sqrt();
            return Ok((t, s, b + s));
        }
        Err(Error::not_estimable("the density for a tilt", format!("at {tilt_deg:.2} degrees the float turns over")))
    }

    fn check(&self) -> Result<()> {
        inside("k_kg_m3", self.k_kg_m3, f64::MIN_POSITIVE..=1e9, "a positive mass over pi r^3")?;
        inside("eps", self.eps, f64::MIN_POSITIVE..=1e3, "a positive offset of the centre of gravity")?;
        inside("h", self.h, -1e3..=1e3, "a finite height of the centre of gravity")?;
        inside("kappa", self.kappa, f64::MIN_POSITIVE..=1e3, "a positive shape constant of the bottom")
    }
}

/// Tangent of a tilt strictly between 0 and 90 degrees.
pub(crate) fn tangent(formula: &'static str, tilt_deg: f64) -> Result<f64> {
    let unit = "degrees";
    if tilt_deg > 0.0 && tilt_deg < 90.0 {
        Ok(tilt_deg.to_radians().tan())
    } else {
        Err(Error::Domain { formula, quantity: "tilt", value: tilt_deg, low: 0.0, high: 90.0, unit })
    }
}

#[cfg(test)]
#[path = "../../tests/inside/wall_sided.rs"]
mod tests;
