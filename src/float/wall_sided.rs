//! The wall-sided float: the water plane cuts only the cylinder.

use crate::error::{Error, Result, within};

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
    /// Density, kg/m3.
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
        within("k_kg_m3", self.k_kg_m3, f64::MIN_POSITIVE, 1e9, "a positive mass over pi r^3")?;
        within("eps", self.eps, f64::MIN_POSITIVE, 1e3, "a positive offset of the centre of gravity")?;
        within("h", self.h, -1e3, 1e3, "a finite height of the centre of gravity")?;
        within("kappa", self.kappa, f64::MIN_POSITIVE, 1e3, "a positive shape constant of the bottom")
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
mod tests {
    use super::*;

    const FLOAT: WallSided = WallSided { k_kg_m3: 5458.0, h: 2.609, eps: 0.0797, kappa: 2.0 / 9.0 };

    fn density(float: &WallSided, tilt_deg: f64) -> Result<f64> {
        float.gradient(tilt_deg).map(|at| at.density_kg_m3)
    }

    #[test]
    fn the_gradient_is_that_of_finite_differences() {
        for tilt in [10.0, 25.0, 50.0, 70.0] {
            let g = FLOAT.gradient(tilt).unwrap();
            let by = |step: f64, plus: WallSided, minus: WallSided| {
                (density(&plus, tilt).unwrap() - density(&minus, tilt).unwrap()) / (2.0 * step)
            };
            let moved =
                |k, h, eps| WallSided { k_kg_m3: FLOAT.k_kg_m3 + k, h: FLOAT.h + h, eps: FLOAT.eps + eps, ..FLOAT };
            let s = 1e-6;
            let tilted = (density(&FLOAT, tilt + s).unwrap() - density(&FLOAT, tilt - s).unwrap()) / (2.0 * s);
            for (name, got, wanted) in [
                ("k", g.by_k, by(1e-3, moved(1e-3, 0.0, 0.0), moved(-1e-3, 0.0, 0.0))),
                ("h", g.by_h, by(s, moved(0.0, s, 0.0), moved(0.0, -s, 0.0))),
                ("eps", g.by_eps, by(s, moved(0.0, 0.0, s), moved(0.0, 0.0, -s))),
                ("tilt", g.by_tilt_deg, tilted),
            ] {
                assert!((got / wanted - 1.0).abs() < 1e-6, "{name} at {tilt}: {got} {wanted}");
            }
        }
    }

    #[test]
    fn what_cannot_rest_is_refused() {
        for tilt in [-5.0, 0.0, 90.0, f64::NAN] {
            assert!(matches!(density(&FLOAT, tilt), Err(Error::Domain { .. })), "{tilt}");
        }
        assert!(density(&FLOAT, 89.9).unwrap_err().to_string().contains("turns over"));
        for wrong in [
            WallSided { eps: 0.0, ..FLOAT },
            WallSided { k_kg_m3: f64::NAN, ..FLOAT },
            WallSided { h: f64::INFINITY, ..FLOAT },
            WallSided { kappa: -1.0, ..FLOAT },
        ] {
            assert!(matches!(density(&wrong, 25.0), Err(Error::Setting { .. })));
        }
    }

    #[test]
    fn the_line_through_two_rests_gives_the_centre_of_gravity() {
        let at =
            |tilt| WallSided::line_point(tilt, density(&FLOAT, tilt).unwrap(), FLOAT.k_kg_m3, FLOAT.kappa).unwrap();
        let ((t1, y1), (t2, y2)) = (at(25.0), at(65.0));
        let h = (y2 - y1) / (t2 - t1);
        assert!((h - FLOAT.h).abs() < 1e-12 && (y1 - h * t1 - FLOAT.eps).abs() < 1e-12);
    }
}
