//! One candidate curve through the baths: errors in both variables.

use nalgebra::DMatrix;

use crate::error::{Error, Result};
use crate::fit::errors_in_variables::{DistanceResiduals, SlopedCurve};
use crate::fit::linear::LinearSettings;
use crate::fit::nonlinear::{NonlinearSettings, Parameter};
use crate::fit::{self, Estimate, Scale};
use crate::float::WallSided;

use super::curve::{Coefficient, Curve, CurveKind, CurvePoint, FittedCurve, MOST_COEFFICIENTS, power_of_tilt};

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
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FloatPrior {
    /// Shape constant of the bottom.
    pub kappa: f64,
    /// K by balance and calliper with its relative standard deviation, if both are known.
    pub k_known: Option<(f64, f64)>,
    /// The weak prior of K, the same.
    pub k_weak: (f64, f64),
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
/// ([`crate::fit::errors_in_variables`]): for a straight line York's solution. The prior of ln K is a further square.
///
/// The covariance is `(J'WJ/s^2 + P)^-1` with J the derivatives of the curve, W the weights at the end, P the precision
/// of the prior. The scale s^2 = (nu + S)/(nu + df) sets the residuals against the stated SDs, which count as nu =
/// `scale_df` degrees of freedom (a scaled-inverse-chi-squared prior with mode near 1); so lack of fit widens every
/// error. Intervals use Student's t with nu + df degrees of freedom.
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
    let free = names.len() - usize::from(kind == CurveKind::WallSided);
    if points.len() < free {
        return Err(Error::not_estimable(what(), format!("{} baths for {free} free coefficients", points.len())));
    }
    let k_prior = match kind {
        CurveKind::WallSided => {
            Some(prior.k_known.ok_or_else(|| Error::not_estimable(what(), "mass or diameter is not known"))?)
        }
        CurveKind::WallSidedFree => Some(prior.k_weak),
        CurveKind::Polynomial(_) => None,
    };
    let parameters = match (kind, k_prior) {
        (CurveKind::Polynomial(degree), _) => polynomial_start(points, degree)?,
        (_, Some(k)) => wall_sided_start(points, prior.kappa, k)?,
        (_, None) => return Err(Error::not_estimable(what(), "no prior of K")),
    };
    let column = |of: fn(&FitPoint) -> f64| points.iter().map(of).collect::<Vec<f64>>();
    let (tilts, densities) = (column(|p| p.tilt_deg), column(|p| p.density_kg_m3));
    let (tilt_sds, density_sds) = (column(|p| p.tilt_sd_deg), column(|p| p.density_sd_kg_m3));
    let curve = KindCurve { kind, kappa: prior.kappa };
    let problem = DistanceResiduals::new(&curve, &tilts, &densities, &tilt_sds, &density_sds)?;
    let settings = NonlinearSettings { scale: Scale::Known, tolerance: 1e-13, ..NonlinearSettings::default() };
    let fit = settings.fit(&problem, &parameters)?;
    if !fit.stop.is_converged() {
        return Err(Error::not_estimable(what(), fit.stop.to_string()));
    }
    let curve = curve_of(kind, prior.kappa, &fit.values());
    finish(kind, curve, points, k_prior, rules)
}

fn curve_of(kind: CurveKind, kappa: f64, values: &[f64]) -> Curve {
    let value = |i: usize| values.get(i).copied().unwrap_or(0.0);
    match kind {
        CurveKind::Polynomial(_) => Curve::Polynomial(std::array::from_fn(value)),
        _ => Curve::WallSided(WallSided { k_kg_m3: value(0).exp(), h: value(1), eps: value(2), kappa }),
    }
}

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
    ])
}

/// A kind of curve as `fit` sees it. Where it has no value it is infinite, which only makes a step shorter.
struct KindCurve {
    kind: CurveKind,
    kappa: f64,
}

impl KindCurve {
    fn at(&self, tilt_deg: f64, parameters: &[f64]) -> Option<CurvePoint> {
        curve_of(self.kind, self.kappa, parameters).at(tilt_deg)
    }
}

impl fit::nonlinear::Curve for KindCurve {
    fn value(&self, x: f64, parameters: &[f64]) -> f64 {
        self.at(x, parameters).map_or(f64::INFINITY, |at| at.density_kg_m3)
    }

    fn gradient(&self, x: f64, parameters: &[f64], out: &mut [f64]) {
        let gradient = self.at(x, parameters).map_or([0.0; MOST_COEFFICIENTS], |at| at.gradient);
        for (cell, slope) in out.iter_mut().zip(gradient) {
            *cell = slope;
        }
        if let (CurveKind::WallSided | CurveKind::WallSidedFree, Some(by_ln_k), Some(ln_k)) =
            (self.kind, out.first_mut(), parameters.first())
        {
            *by_ln_k *= ln_k.exp();
        }
    }
}

impl SlopedCurve for KindCurve {
    fn slope(&self, x: f64, parameters: &[f64]) -> f64 {
        self.at(x, parameters).map_or(0.0, |at| at.per_deg)
    }
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
    k_prior: Option<(f64, f64)>,
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
    if let (Some((_, relative)), Curve::WallSided(float)) = (k_prior, curve) {
        prior[(0, 0)] = (float.k_kg_m3 * relative).powi(-2);
    }
    let singular =
        || Error::numeric("the covariance of a calibration curve", "the baths do not determine its coefficients");
    let data_share = (&information + &prior).try_inverse().ok_or_else(singular)? * &information;
    let used = data_share.trace();
    let df = (points.len() as f64 - used).max(0.0);
    let scale_squared = (rules.scale_df + squares) / (rules.scale_df + df);
    let inverse = (information / scale_squared + prior).try_inverse().ok_or_else(singular)?;
    let mut covariance = [[0.0; MOST_COEFFICIENTS]; MOST_COEFFICIENTS];
    for (i, row) in covariance.iter_mut().enumerate().take(size) {
        for (j, cell) in row.iter_mut().enumerate().take(size) {
            *cell = inverse[(i, j)];
        }
    }
    let df = rules.scale_df + df;
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
    Ok(FittedCurve { curve, coefficients, covariance, scale: scale_squared.sqrt(), df, used })
}
