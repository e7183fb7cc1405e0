//! Covariance, scale and degrees of freedom of curves at their common minimum.

use nalgebra::{DMatrix, DVector, Matrix4};

use crate::error::{Error, Result};
use crate::fit::{Estimate, quantile};

use super::curve::CalibrationCurve;
use super::fit_data::{DISAGREES_P, FitRules};
use super::fitted_curve::{Coefficient, FittedCalibration, SharedError};
use super::joint_rows::{Member, Rows, of_place};

/// What the stated SDs count where the residuals disagree with them, degrees of freedom.
const DISAGREES_DF: f64 = 3.0;

/// A source of error that several rows share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SharedEffect {
    /// Its number.
    pub source: usize,
    /// Estimate in units of its stated standard deviation.
    pub value: f64,
    /// Variance of the estimate's error, same unit.
    pub variance: f64,
}

/// Curves that were fitted together.
pub(crate) struct JointFit {
    pub curves: Vec<FittedCalibration>,
    pub effects: Vec<SharedEffect>,
}

/// The minimum of a joint fit.
pub(super) struct JointSolution<'a> {
    pub members: &'a [Member<'a>],
    pub rows: &'a [Rows],
    /// Numbers of the shared sources; true for a bath's own error.
    pub sources: &'a [(usize, bool)],
    pub curves: Vec<CalibrationCurve>,
    /// By member and row: the tilt of the curve's nearest point.
    pub adjusted: Vec<Vec<f64>>,
    /// Distances in units of the own errors, member after member.
    pub residuals: &'a [f64],
    /// The shared errors in units of their standard deviations.
    pub effects: &'a [f64],
}

/// How a member's residuals agree with its stated errors.
struct Agreement {
    scale_squared: f64,
    p: f64,
    df: f64,
    used: f64,
}

impl JointSolution<'_> {
    /// Covariance `(sum_m X_m' X_m / s_m^2 + P)^-1`: X_m the derivatives of the member's distances, P the precisions of the
    /// priors. The scale s_m^2 = (nu + S)/(nu + df) sets residuals against stated errors, which count as nu = `scale_df`
    /// degrees of freedom (a scaled-inverse-chi-squared prior with mode near 1), so that lack of fit widens every error.
    /// Where S says at 1 % that errors or form are wrong, nu is 3 at most. A bath's error and its degree of freedom belong
    /// in equal parts to the rows that share it, and its stated SD is scaled as theirs; the bias of an instrument and
    /// the like do not show in residuals and are taken at their word. Intervals use Student's t with nu + df degrees of
    /// freedom.
    pub fn judged(self, rules: FitRules) -> Result<JointFit> {
        let places: Vec<usize> = self
            .members
            .iter()
            .scan(0, |next, member| {
                let own = *next;
                *next += member.start.len();
                Some(own)
            })
            .collect();
        let coefficients: usize = self.members.iter().map(|m| m.start.len()).sum();
        let size = coefficients + self.sources.len();
        let designs = self.designs(&places, coefficients, size)?;
        let mut precision = self.precisions(&places, coefficients, size);
        let unscaled = inverse(&designs, &vec![1.0; designs.len()], &precision)?;
        let agreements = self.agreements(&designs, &unscaled, coefficients, rules)?;
        let touches = self.touches();
        for (k, ((_, is_bath), by_member)) in self.sources.iter().zip(&touches).enumerate() {
            if *is_bath {
                let all: f64 = by_member.iter().sum();
                let scale: f64 = by_member.iter().zip(&agreements).map(|(n, a)| n / all * a.scale_squared).sum();
                precision[coefficients + k] /= scale;
            }
        }
        let scales: Vec<f64> = agreements.iter().map(|a| a.scale_squared).collect();
        let covariance = inverse(&designs, &scales, &precision)?;
        let mut curves = Vec::with_capacity(self.members.len());
        for (((member, curve), agreement), place) in self.members.iter().zip(self.curves).zip(&agreements).zip(&places)
        {
            let used = member.start.len();
            let mut own = Matrix4::zeros();
            own.view_mut((0, 0), (used, used)).copy_from(&covariance.view((*place, *place), (used, used)));
            // The response of the estimates to one standard deviation of a source whose prior is at 0.
            let shared = self.sources.iter().enumerate().map(|(k, (source, _))| {
                let column = coefficients + k;
                let weight = precision[column].sqrt();
                let response = |i: usize| if i < used { -covariance[(place + i, column)] * weight } else { 0.0 };
                SharedError { source: *source, by_coefficient: std::array::from_fn(response) }
            });
            // An assumed or weak prior stands for all probes there are, not for a measurement of this one.
            let measured = member.priors.first().copied().flatten().filter(|p| p.measured);
            let size = measured.and(member.prior.size_source).map(|source| {
                let weight = precision[*place].sqrt();
                let response = |i: usize| if i < used { covariance[(place + i, *place)] * weight } else { 0.0 };
                SharedError { source, by_coefficient: std::array::from_fn(response) }
            });
            let shared = shared.chain(size).filter(|error| error.by_coefficient.iter().any(|x| *x != 0.0)).collect();
            let df = agreement.df;
            let estimate = |(i, (name, value)): (usize, (&'static str, f64))| {
                let se = covariance[(place + i, place + i)].max(0.0).sqrt();
                let estimate = Estimate::student_t(value, se, df, rules.level, "errors in variables, t")?;
                Ok(Coefficient { name, estimate })
            };
            let coefficients = member
                .kind
                .coefficient_names()
                .zip(curve.coefficients())
                .enumerate()
                .map(estimate)
                .collect::<Result<_>>()?;
            curves.push(FittedCalibration {
                curve,
                coefficients,
                covariance: own,
                shared,
                scale: agreement.scale_squared.sqrt(),
                df,
                agreement_p: agreement.p,
                used: agreement.used,
            });
        }
        let effect = |(k, ((source, _), value)): (usize, (&(usize, bool), &f64))| SharedEffect {
            source: *source,
            value: *value,
            variance: covariance[(coefficients + k, coefficients + k)],
        };
        let effects = self.sources.iter().zip(self.effects).enumerate().map(effect).collect();
        Ok(JointFit { curves, effects })
    }

    /// Derivatives of each member's distances by all unknowns, taken at the adjusted tilts.
    fn designs(&self, places: &[usize], coefficients: usize, size: usize) -> Result<Vec<DMatrix<f64>>> {
        let mut designs = Vec::with_capacity(self.members.len());
        let solved = self.curves.iter().zip(self.rows).zip(&self.adjusted).zip(places).zip(self.members);
        for ((((curve, rows), adjusted), place), member) in solved {
            let mut design = DMatrix::zeros(rows.tilts.len(), size);
            let errors = rows.sds.iter().zip(&rows.tilt_sds).zip(&rows.touches);
            for (i, (tilt, ((sd, tilt_sd), touches))) in adjusted.iter().zip(errors).enumerate() {
                let at =
                    curve.at(*tilt).ok_or_else(|| Error::not_estimable("a curve", "it does not rise at a bath"))?;
                let width = sd.hypot(at.per_deg * tilt_sd);
                for (j, slope) in at.gradient.iter().take(member.start.len()).enumerate() {
                    design[(i, place + j)] = slope / width;
                }
                for (source, effect) in touches {
                    design[(i, coefficients + source)] = effect / width;
                }
            }
            designs.push(design);
        }
        Ok(designs)
    }

    /// Precisions of the priors: of coefficients, and of the shared errors.
    fn precisions(&self, places: &[usize], coefficients: usize, size: usize) -> DVector<f64> {
        let mut precision = DVector::from_fn(size, |i, _| if i < coefficients { 0.0 } else { 1.0 });
        for ((member, curve), place) in self.members.iter().zip(&self.curves).zip(places) {
            let own = member.kind.precisions(&member.priors, curve.coefficients());
            for (i, value) in own.iter().take(member.start.len()).enumerate() {
                precision[place + i] = *value;
            }
        }
        precision
    }

    /// How many of each member's rows each source touches.
    fn touches(&self) -> Vec<Vec<f64>> {
        let mut touches = vec![vec![0.0; self.rows.len()]; self.sources.len()];
        for (m, rows) in self.rows.iter().enumerate() {
            for (k, _) in rows.touches.iter().flatten() {
                if let Some(cell) = touches.get_mut(*k).and_then(|by_member| by_member.get_mut(m)) {
                    *cell += 1.0;
                }
            }
        }
        touches
    }

    fn agreements(
        &self,
        designs: &[DMatrix<f64>],
        unscaled: &DMatrix<f64>,
        coefficients: usize,
        rules: FitRules,
    ) -> Result<Vec<Agreement>> {
        // (squares, degrees of freedom) of the rows, then those of the shared errors.
        let mut parts = Vec::with_capacity(designs.len());
        let mut first = 0;
        for design in designs {
            let n = design.nrows();
            let leverage: f64 = (design * unscaled).component_mul(design).sum();
            let own = of_place(self.residuals.get(first..first + n))?;
            parts.push((own.iter().map(|r| r * r).sum::<f64>(), n as f64 - leverage));
            first += n;
        }
        for (k, (value, by_member)) in self.effects.iter().zip(self.touches()).enumerate() {
            let all: f64 = by_member.iter().sum();
            let place = coefficients + k;
            for ((squares, df), touched) in parts.iter_mut().zip(&by_member) {
                *squares += value * value * touched / all;
                *df += (1.0 - unscaled[(place, place)]) * touched / all;
            }
        }
        let agree = |((squares, df), design): (&(f64, f64), &DMatrix<f64>)| {
            let used = design.nrows() as f64 - df;
            let df = df.max(0.0);
            let p = if df > 0.05 { quantile::chi_squared_upper_tail(*squares, df)? } else { 1.0 };
            let prior_df = if p < DISAGREES_P { rules.scale_df.min(DISAGREES_DF) } else { rules.scale_df };
            Ok(Agreement { scale_squared: (prior_df + squares) / (prior_df + df), p, df: prior_df + df, used })
        };
        parts.iter().zip(designs).map(agree).collect()
    }
}

fn inverse(designs: &[DMatrix<f64>], scales_squared: &[f64], precision: &DVector<f64>) -> Result<DMatrix<f64>> {
    let mut information = DMatrix::from_diagonal(precision);
    for (design, scale) in designs.iter().zip(scales_squared) {
        information += design.tr_mul(design) / *scale;
    }
    information.try_inverse().ok_or_else(|| {
        Error::numeric("the covariance of a calibration curve", "the baths do not determine its coefficients")
    })
}
