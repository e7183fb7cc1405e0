//! Traits of a fitted curve as functionals of the fitted curve, with errors by the delta method.

use crate::common::ActivationEnergy;
use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding, quantile};

use super::batch_fit::{AtReference, BatchFit, FittedFermentation};
use super::clock::{Clock, Thermal};
use super::curve::{GravityCurve, PARAMETERS};
use super::probe_bias::FITTED;
use super::timed::Timed;
use super::traits::Trait;

assumed! {
    /// Relative standard deviation of alcohol by formula: yeasts differ in what they make of the same extract.
    const ABV_FORMULA: f64 = 0.015, "share";
}

/// How numbers read off a curve are found, and those at the reference temperature.
const METHOD: &str = "generalised least squares, delta method";
const THERMAL_METHOD: &str = "thermal time, with the error of its activation energy";

impl FittedFermentation {
    /// The standard error of a number with this gradient in the parameters.
    fn standard_error(&self, gradient: &[f64; PARAMETERS]) -> f64 {
        let row = |(g, row): (&f64, &[f64; FITTED])| g * row.iter().zip(gradient).map(|(c, h)| c * h).sum::<f64>();
        gradient.iter().zip(&self.covariance).map(row).sum::<f64>().max(0.0).sqrt()
    }
}

impl BatchFit {
    /// The curve at hours from pitching with its confidence band, pointwise, by the delta method.
    ///
    /// # Errors
    /// [`Error::Setting`] for a bad level; [`Error::NotEstimable`] without a curve.
    pub fn band(&self, hours: &[f64], level: f64) -> Result<Vec<Estimate>> {
        let missing = || Error::not_estimable("a band", format!("no curve: {}", self.why));
        let fitted = self.fitted.as_ref().ok_or_else(missing)?;
        let (factor, timed) = (quantile::normal_two_sided(level)?, fitted.timed());
        let one = |hours: &f64| {
            let (sg, gradient) = timed.gradient(*hours);
            Estimate::with_factor(sg, fitted.standard_error(&gradient), factor, level, "delta")
        };
        Ok(hours.iter().map(one).collect())
    }
}

/// Estimates of any functions of the curve: their values, and delta-method errors from the parameters' covariance, with
/// derivatives by central differences of a hundredth of each parameter's standard error. A function that has no value
/// gives no estimate.
pub(crate) fn estimates<const N: usize>(
    fitted: &FittedFermentation,
    level: f64,
    functions: impl Fn(&Timed<'_>) -> [Result<f64>; N],
) -> Result<[Finding; N]> {
    let at = fitted.curve.to_vector();
    let centre = fitted.timed();
    let mut slopes = [[0.0; PARAMETERS]; N];
    for i in 0..PARAMETERS {
        let step = 0.01 * fitted.covariance[i][i].max(0.0).sqrt();
        if !(step > 0.0 && step.is_finite()) {
            continue;
        }
        let moved = |by: f64| {
            let mut vector = at;
            vector[i] += by;
            functions(&Timed::beside(&GravityCurve::from_vector(fitted.curve.kind, &vector), &centre))
                .map(|value| value.unwrap_or(f64::NAN))
        };
        for (slope, (up, down)) in slopes.iter_mut().zip(moved(step).into_iter().zip(moved(-step))) {
            slope[i] = (up - down) / (2.0 * step);
        }
    }
    let factor = quantile::normal_two_sided(level)?;
    let mut all = [const { Finding::NotEstimable { why: String::new() } }; N];
    for ((finding, value), slope) in all.iter_mut().zip(functions(&fitted.timed())).zip(&slopes) {
        let se = fitted.standard_error(slope);
        *finding = match value {
            Ok(value) if value.is_finite() && se.is_finite() => {
                Finding::Estimated(Estimate::with_factor(value, se, factor, level, METHOD))
            }
            Ok(_) => Finding::missing("the curve does not determine it"),
            Err(error) => Finding::missing(error.to_string()),
        };
    }
    Ok(all)
}

/// All traits.
///
/// The intervals of the times after the middle are symmetric in the logarithm of the time from the middle: a finish may be
/// much later, but not earlier than the middle. A lag is never negative. Alcohol has the error of its formula besides.
pub(super) fn trait_estimates(
    fitted: &FittedFermentation,
    level: f64,
    tolerance_sg: f64,
) -> Result<[Finding; Trait::ALL.len()]> {
    let mut all = estimates(fitted, level, |curve| Trait::ALL.map(|which| which.value(curve, tolerance_sg)))?;
    let factor = quantile::normal_two_sided(level)?;
    let mid_h = all[Trait::MidH as usize].value();
    for (which, finding) in Trait::ALL.into_iter().zip(&mut all) {
        let Finding::Estimated(estimate) = finding else { continue };
        match (which, mid_h) {
            (_, Some(mid)) if which.is_time() && estimate.value > mid => {
                let after = estimate.value - mid;
                let ratio = (factor * estimate.se / after).exp();
                (estimate.lower, estimate.upper) = (mid + after / ratio, mid + after * ratio);
            }
            (Trait::LagH, _) => estimate.lower = estimate.lower.max(0.0),
            (Trait::AbvPercent, _) => {
                let se = estimate.se.hypot(*ABV_FORMULA * estimate.value);
                *estimate = Estimate::with_factor(estimate.value, se, factor, level, METHOD);
            }
            _ => {}
        }
    }
    Ok(all)
}

/// Lag, middle and rate at the reference temperature, for an activation energy with its error.
///
/// On thermal time they are the curve's own; on real time the thermal hours that had passed, and the rate over the pace.
pub(crate) fn at_reference(
    fitted: &FittedFermentation,
    level: f64,
    thermal: impl Fn(f64) -> Option<Thermal>,
    energy: &ActivationEnergy,
) -> Result<AtReference> {
    let (Some(here), Some(more)) = (thermal(energy.kj_mol), thermal(energy.kj_mol + 1.0)) else {
        return Ok(AtReference::missing("no temperatures for thermal time"));
    };
    let (here, more) = (Clock::Thermal(here), Clock::Thermal(more));
    let timed = fitted.timed();
    let steepest = timed.steepest_h();
    // How the clock's error moves each: by a kJ/mol, at the hours that were found.
    let by = [
        more.at(timed.lag_h()).0 - here.at(timed.lag_h()).0,
        more.at(timed.mid_h()).0 - here.at(timed.mid_h()).0,
        24.0 * timed.fall_sg_per_h(steepest) * (1.0 / more.at(steepest).1 - 1.0 / here.at(steepest).1),
    ];
    let factor = quantile::normal_two_sided(level)?;
    let mut found = match &fitted.clock {
        Clock::Thermal(_) => {
            let on_clock = FittedFermentation { clock: Clock::Real, ..fitted.clone() };
            estimates(&on_clock, level, |curve| {
                [curve.lag_h(), curve.mid_h(), 24.0 * curve.fall_sg_per_h(curve.steepest_h())].map(Ok)
            })?
        }
        Clock::Real => estimates(fitted, level, |curve| {
            let steepest = curve.steepest_h();
            let rate = 24.0 * curve.fall_sg_per_h(steepest) / here.at(steepest).1;
            [here.at(curve.lag_h()).0, here.at(curve.mid_h()).0, rate].map(Ok)
        })?,
    };
    for (finding, by) in found.iter_mut().zip(by) {
        if let Finding::Estimated(estimate) = finding {
            let (se, method) = (estimate.se.hypot(by * energy.sd_kj_mol), THERMAL_METHOD);
            *estimate = Estimate::with_factor(estimate.value, se, factor, level, method);
        }
    }
    let [lag_h, mid_h, max_rate_sg_per_day] = found;
    Ok(AtReference { lag_h, mid_h, max_rate_sg_per_day })
}
