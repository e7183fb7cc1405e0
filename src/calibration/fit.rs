//! One candidate curve through the baths: errors in both variables.

use crate::error::{Error, Result};
use crate::fit::Scale;
use crate::fit::linear::LinearSettings;
use crate::fit::nonlinear::Parameter;
use crate::float::{Hull, Profile, WallSided};

use super::curve::{CurveKind, power_of_tilt};
use super::errors::BathError;
use super::fitted_curve::FittedCurve;
use super::joint::{Member, fit_together};

/// A bath as the fit sees it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FitPoint {
    /// Tilt, degrees.
    pub tilt_deg: f64,
    /// Its standard deviation.
    pub tilt_sd_deg: f64,
    /// Density, brought to the curve's shell temperature, kg/m3.
    pub density_kg_m3: f64,
    /// Its standard deviation by what only this probe in this bath has (the shell).
    pub density_sd_kg_m3: f64,
    /// Errors of the stated gravity, kg/m3: the bath's own first, then those that it shares with other baths.
    pub errors: Vec<BathError>,
}

impl FitPoint {
    /// Standard deviation of the density, all errors of the bath together, kg/m3.
    pub fn total_sd_kg_m3(&self) -> f64 {
        self.errors.iter().fold(self.density_sd_kg_m3, |sd, error| sd.hypot(error.effect))
    }
}

/// What is known of a probe before its baths.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FloatPrior {
    /// The hull, if mass, diameter and length are known.
    pub hull: Option<HullPrior>,
    /// Shape constant of the bottom.
    pub kappa: f64,
    /// K by balance and calliper with its relative standard deviation, if both are known.
    pub k_known: Option<(f64, f64)>,
    /// The weak prior of K, the same.
    pub k_weak: (f64, f64),
    /// Number of the source of the error of mass and diameter.
    pub size_source: Option<usize>,
}

/// A hull before its centre of gravity is known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HullPrior {
    pub profile: Profile,
    pub mass_kg: f64,
    /// Relative standard deviation of mass over radius cubed: an error of the radius acts nearly as one of the mass.
    pub relative_sd: f64,
}

/// How residuals and stated SDs are weighed against one another, and the level of the intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FitRules {
    pub scale_df: f64,
    pub level: f64,
}

/// Fits one kind of curve to the baths of one probe: [`fit_together`] with one member.
///
/// # Errors
/// [`Error::NotEstimable`] with the reason: too few baths, tilts that do not rise with density, a fit that did not
/// settle.
pub(crate) fn fit_curve(
    kind: CurveKind,
    points: &[FitPoint],
    prior: &FloatPrior,
    rules: FitRules,
) -> Result<FittedCurve> {
    let mut together = fit_together(&[member(kind, points, prior)?], rules, None)?;
    together.curves.pop().ok_or_else(|| Error::not_estimable(format!("the curve {kind}"), "no curve was fitted"))
}

/// One probe for a fit, with start values.
///
/// # Errors
/// As [`fit_curve`].
pub(crate) fn member<'a>(kind: CurveKind, points: &'a [FitPoint], prior: &'a FloatPrior) -> Result<Member<'a>> {
    let what = || format!("the curve {kind}");
    // What a prior nearly determines need not come from the baths.
    let free = kind.coefficient_names().len()
        - match kind {
            CurveKind::WallSided => 2,
            CurveKind::Hull | CurveKind::WallSidedFree => 1,
            CurveKind::Polynomial(_) => 0,
        };
    if points.len() < free {
        return Err(Error::not_estimable(what(), format!("{} baths for {free} free coefficients", points.len())));
    }
    let known = || prior.k_known.ok_or_else(|| Error::not_estimable(what(), "mass or diameter is not known"));
    let (start, size_prior) = match kind {
        CurveKind::Hull => {
            let hull = prior.hull.as_ref().ok_or_else(|| Error::not_estimable(what(), NO_HULL))?;
            (hull_start(points, hull)?, Some(hull.relative_sd))
        }
        CurveKind::WallSided => (wall_sided_start(points, prior.kappa, known()?)?, Some(known()?.1)),
        CurveKind::WallSidedFree => (wall_sided_start(points, prior.kappa, prior.k_weak)?, Some(prior.k_weak.1)),
        CurveKind::Polynomial(degree) => (polynomial_start(points, degree)?, None),
    };
    Ok(Member { kind, points, prior, start, size_prior })
}

/// Below this probability the residuals disagree with the stated SDs.
pub(crate) const DISAGREES_P: f64 = 0.01;
/// Prior SD of what a wet top adds, kg/m3: from nothing on a long float to -1.7 on a short one.
pub(super) const WET_TOP_SD_KG_M3: f64 = 1.5;
const NO_HULL: &str = "mass, diameter or length is not known, or the ends do not fit the length";

fn polynomial_start(points: &[FitPoint], degree: u8) -> Result<Vec<Parameter>> {
    let powers: Vec<Vec<f64>> = (1..=i32::from(degree))
        .map(|power| points.iter().map(|p| power_of_tilt(p.tilt_deg, power)).collect())
        .collect();
    let names = CurveKind::Polynomial(degree).coefficient_names();
    let columns: Vec<(&str, &[f64])> = names.iter().skip(1).copied().zip(powers.iter().map(Vec::as_slice)).collect();
    let density: Vec<f64> = points.iter().map(|p| p.density_kg_m3).collect();
    let line = LinearSettings { intercept: true, scale: Scale::Known }.fit(&columns, &density, None)?;
    Ok(names.iter().zip(&line.coefficients).map(|(name, start)| Parameter::new(*name, *start)).collect())
}

/// Start values by the straight line `y = eps + h t` that a known K gives; K starts at its prior.
fn wall_sided_start(points: &[FitPoint], kappa: f64, k: (f64, f64)) -> Result<Vec<Parameter>> {
    let line: Vec<(f64, f64)> =
        points.iter().map(|p| WallSided::line_point(p.tilt_deg, p.density_kg_m3, k.0, kappa)).collect::<Result<_>>()?;
    let (t, y): (Vec<f64>, Vec<f64>) = line.into_iter().unzip();
    let start = LinearSettings { intercept: true, scale: Scale::Known }.fit(&[("h", &t)], &y, None)?;
    let (h, eps) = (start.value("h")?, start.value("intercept")?);
    if eps.is_nan() || eps <= 0.0 {
        return Err(Error::not_estimable(
            "the wall-sided curve",
            "the tilts do not rise with density as a float's do (its centre of gravity would lie on the light side)",
        ));
    }
    Ok(vec![
        Parameter::new("ln_k", k.0.ln()).with_prior(k.0.ln(), k.1),
        Parameter::new("h", h),
        Parameter::new("eps", eps).within(1e-6, 10.0),
        Parameter::new("wet_top", 0.0).with_prior(0.0, WET_TOP_SD_KG_M3),
    ])
}

/// Start values for a known hull: its centre of gravity lies on the straight line `y = e + z_g t`.
fn hull_start(points: &[FitPoint], hull: &HullPrior) -> Result<Vec<Parameter>> {
    let line: Vec<(f64, f64)> = points
        .iter()
        .map(|p| Hull::line_point(&hull.profile, hull.mass_kg, p.tilt_deg, p.density_kg_m3))
        .collect::<Result<_>>()?;
    let (t, y): (Vec<f64>, Vec<f64>) = line.into_iter().unzip();
    let start = LinearSettings { intercept: true, scale: Scale::Known }.fit(&[("height", &t)], &y, None)?;
    let (height, offset) = (1000.0 * start.value("height")?, 1000.0 * start.value("intercept")?);
    if offset.is_nan() || offset <= 0.0 {
        return Err(Error::not_estimable("the hull's curve", "its centre of gravity would lie on the light side"));
    }
    let ln_mass = (1000.0 * hull.mass_kg).ln();
    Ok(vec![
        Parameter::new("ln_mass_g", ln_mass).with_prior(ln_mass, hull.relative_sd),
        Parameter::new("cg_offset_mm", offset).within(1e-4, 1e3),
        Parameter::new("cg_height_mm", height),
    ])
}

/// Standard deviation of a bath about the curve, kg/m3: that of its density, and of its tilt by the slope there.
pub(crate) fn sd_at(point: &FitPoint, per_deg: f64) -> f64 {
    point.total_sd_kg_m3().hypot(per_deg * point.tilt_sd_deg)
}
