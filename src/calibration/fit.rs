//! One candidate curve through the baths: errors in both variables.

use nalgebra::DMatrix;

use crate::error::{Error, Result};
use crate::fit::errors_in_variables::DistanceResiduals;
use crate::fit::linear::LinearSettings;
use crate::fit::nonlinear::{NonlinearSettings, Parameter};
use crate::fit::{Estimate, Scale, quantile};
use crate::float::{Hull, Profile, WallSided};

use super::curve::{Coefficient, Curve, CurveKind, FittedCurve, MOST_COEFFICIENTS, power_of_tilt};
use super::form::Form;

/// A bath as the fit sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FitPoint {
    /// Tilt, degrees.
    pub tilt_deg: f64,
    /// Its standard deviation.
    pub tilt_sd_deg: f64,
    /// Density, brought to the curve's shell temperature, kg/m3.
    pub density_kg_m3: f64,
    /// Its standard deviation.
    pub density_sd_kg_m3: f64,
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

/// Fits one kind of curve.
///
/// # Method
/// Minimises the squared distances of the baths from the curve in units of their errors
/// ([`crate::fit::errors_in_variables`]): for a straight line York's solution. The prior of ln K (of the hull: of ln mass) is a
/// further square.
///
/// The covariance is `(J'WJ/s^2 + P)^-1` with J the derivatives of the curve, W the weights at the end, P the precision
/// of the prior. The scale s^2 = (nu + S)/(nu + df) sets the residuals against the stated SDs, which count as nu =
/// `scale_df` degrees of freedom (a scaled-inverse-chi-squared prior with mode near 1); so lack of fit widens every
/// error. Where S says at 1 % that the SDs or the form are wrong, nu is 3 at most. Intervals use Student's t with nu + df
/// degrees of freedom.
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
    let what = || format!("the curve {kind}");
    let names = kind.coefficient_names();
    // What a prior nearly determines need not come from the baths.
    let free = names.len()
        - match kind {
            CurveKind::WallSided => 2,
            CurveKind::Hull | CurveKind::WallSidedFree => 1,
            CurveKind::Polynomial(_) => 0,
        };
    if points.len() < free {
        return Err(Error::not_estimable(what(), format!("{} baths for {free} free coefficients", points.len())));
    }
    let known = || prior.k_known.ok_or_else(|| Error::not_estimable(what(), "mass or diameter is not known"));
    let (parameters, size_prior) = match kind {
        CurveKind::Hull => {
            let hull = prior.hull.as_ref().ok_or_else(|| Error::not_estimable(what(), NO_HULL))?;
            (hull_start(points, hull)?, Some(hull.relative_sd))
        }
        CurveKind::WallSided => (wall_sided_start(points, prior.kappa, known()?)?, Some(known()?.1)),
        CurveKind::WallSidedFree => (wall_sided_start(points, prior.kappa, prior.k_weak)?, Some(prior.k_weak.1)),
        CurveKind::Polynomial(degree) => (polynomial_start(points, degree)?, None),
    };
    let column = |of: fn(&FitPoint) -> f64| points.iter().map(of).collect::<Vec<f64>>();
    let (tilts, densities) = (column(|p| p.tilt_deg), column(|p| p.density_kg_m3));
    let (tilt_sds, density_sds) = (column(|p| p.tilt_sd_deg), column(|p| p.density_sd_kg_m3));
    let form = Form::new(kind, prior, &tilts);
    let problem = DistanceResiduals::new(&form, &tilts, &densities, &tilt_sds, &density_sds)?;
    let settings = NonlinearSettings { scale: Scale::Known, tolerance: 1e-13, ..NonlinearSettings::default() };
    let fit = settings.fit(&problem, &parameters)?;
    if !fit.stop.is_converged() {
        return Err(Error::not_estimable(what(), fit.stop.to_string()));
    }
    finish(kind, form.curve(&fit.values())?, points, size_prior, rules)
}

/// Below this probability the residuals disagree with the stated SDs.
pub(crate) const DISAGREES_P: f64 = 0.01;
/// What the stated SDs then still count, degrees of freedom.
const DISAGREES_DF: f64 = 3.0;
/// Prior SD of what a wet top adds, kg/m3: from nothing on a long float to -1.7 on a short one.
const WET_TOP_SD_KG_M3: f64 = 1.5;
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
    point.density_sd_kg_m3.hypot(per_deg * point.tilt_sd_deg)
}

/// Covariance, scale and degrees of freedom of a curve at its minimum.
fn finish(
    kind: CurveKind,
    curve: Curve,
    points: &[FitPoint],
    size_prior: Option<f64>,
    rules: FitRules,
) -> Result<FittedCurve> {
    let names = kind.coefficient_names();
    let size = names.len();
    let mut information = DMatrix::<f64>::zeros(size, size);
    let mut squares = 0.0;
    for point in points {
        let at =
            curve.at(point.tilt_deg).ok_or_else(|| Error::not_estimable("a curve", "it does not rise at a bath"))?;
        let variance = sd_at(point, at.per_deg).powi(2);
        squares += (point.density_kg_m3 - at.density_kg_m3).powi(2) / variance;
        for (i, gi) in at.gradient.iter().take(size).enumerate() {
            for (j, gj) in at.gradient.iter().take(size).enumerate() {
                information[(i, j)] += gi * gj / variance;
            }
        }
    }
    let mut prior = DMatrix::<f64>::zeros(size, size);
    if let Some(relative) = size_prior {
        let [of_size, ..] = curve.coefficients();
        prior[(0, 0)] = (of_size * relative).powi(-2);
    }
    if matches!(kind, CurveKind::WallSided | CurveKind::WallSidedFree) {
        prior[(3, 3)] = WET_TOP_SD_KG_M3.powi(-2);
    }
    let singular =
        || Error::numeric("the covariance of a calibration curve", "the baths do not determine its coefficients");
    let data_share = (&information + &prior).try_inverse().ok_or_else(singular)? * &information;
    let used = data_share.trace();
    let df = (points.len() as f64 - used).max(0.0);
    let agreement_p = if df > 0.05 { quantile::chi_squared_upper_tail(squares, df)? } else { 1.0 };
    let prior_df = if agreement_p < DISAGREES_P { rules.scale_df.min(DISAGREES_DF) } else { rules.scale_df };
    let scale_squared = (prior_df + squares) / (prior_df + df);
    let inverse = (information / scale_squared + prior).try_inverse().ok_or_else(singular)?;
    let mut covariance = [[0.0; MOST_COEFFICIENTS]; MOST_COEFFICIENTS];
    for (i, row) in covariance.iter_mut().enumerate().take(size) {
        for (j, cell) in row.iter_mut().enumerate().take(size) {
            *cell = inverse[(i, j)];
        }
    }
    let df = prior_df + df;
    let coefficients = names
        .iter()
        .zip(curve.coefficients())
        .enumerate()
        .map(|(i, (&name, value))| {
            let se = inverse[(i, i)].max(0.0).sqrt();
            Ok(Coefficient {
                name,
                estimate: Estimate::student_t(value, se, df, rules.level, "errors in variables, t")?,
            })
        })
        .collect::<Result<_>>()?;
    Ok(FittedCurve { curve, coefficients, covariance, scale: scale_squared.sqrt(), df, used, agreement_p })
}
