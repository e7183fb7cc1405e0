//! Covariance, scale and degrees of freedom of curves at their common minimum.

use nalgebra::{DMatrix, DVector, Matrix4};

use crate::error::{Error, Result};
use crate::fit::{Estimate, quantile};

use super::curve::CalibrationCurve;
use super::fit_data::{DISAGREES_P, SCALE_DF};
use super::fitted_curve::{Coefficient, FittedCalibration, SharedError};
use super::joint_rows::{Member, Rows, of_place};

assumed! {
    /// What the stated SDs count where the residuals disagree with them.
    const DISAGREES_DF: f64 = 3.0, "degrees of freedom";
}

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
    /// By member: the place of its first coefficient among all unknowns; then that of the first shared error.
    pub places: Vec<usize>,
    pub first_effect: usize,
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
    /// priors. The scale s_m^2 = (nu + S)/(nu + df) sets residuals against stated errors, which count as nu = 12
    /// degrees of freedom (a scaled-inverse-chi-squared prior with mode near 1), so that lack of fit widens every error.
    /// Where S says at 1 % that errors or form are wrong, nu is 3 at most. A bath's error and its degree of freedom belong
    /// in equal parts to the rows that share it, and its stated SD is scaled as theirs; the bias of an instrument and
    /// the like do not show in residuals and are taken at their word. Intervals use Student's t with nu + df degrees of
    /// freedom.
    pub fn judged(self, level: f64) -> Result<JointFit> {
        let designs = self.designs()?;
        let mut precision = self.precisions();
        let unscaled = inverse(&designs, &DVector::repeat(designs.len(), 1.0), &precision)?;
        let shares = self.shares();
        let agreements = self.agreements(&designs, &unscaled, &shares)?;
        let scales = DVector::from_iterator(agreements.len(), agreements.iter().map(|a| a.scale_squared));
        let bath_scales = shares * &scales;
        for (k, (_, is_bath)) in self.sources.iter().enumerate() {
            if *is_bath {
                precision[self.first_effect + k] /= bath_scales[k];
            }
        }
        let covariance = inverse(&designs, &scales, &precision)?;
        let curves = agreements
            .iter()
            .enumerate()
            .map(|(m, agreement)| self.curve(m, agreement, &covariance, &precision, level))
            .collect::<Result<_>>()?;
        let effect = |(k, ((source, _), value)): (usize, (&(usize, bool), &f64))| SharedEffect {
            source: *source,
            value: *value,
            variance: covariance[(self.first_effect + k, self.first_effect + k)],
        };
        Ok(JointFit { curves, effects: self.sources.iter().zip(self.effects).enumerate().map(effect).collect() })
    }

    /// A member's curve with its covariance, and what of it other curves share.
    fn curve(
        &self,
        member: usize,
        agreement: &Agreement,
        covariance: &DMatrix<f64>,
        precision: &DVector<f64>,
        level: f64,
    ) -> Result<FittedCalibration> {
        let (place, curve, member) = (self.places[member], &self.curves[member], &self.members[member]);
        let used = member.start.len();
        let mut own = Matrix4::zeros();
        own.view_mut((0, 0), (used, used)).copy_from(&covariance.view((place, place), (used, used)));
        // The response of the estimates to one standard deviation of a source with a prior.
        let response = |column: usize, sign: f64| {
            let weight = sign * precision[column].sqrt();
            std::array::from_fn(|i| if i < used { covariance[(place + i, column)] * weight } else { 0.0 })
        };
        let shared = self.sources.iter().enumerate().map(|(k, (source, _))| SharedError {
            source: *source,
            by_coefficient: response(self.first_effect + k, -1.0),
        });
        // An assumed or weak prior stands for all probes there are, not for a measurement of this one.
        let measured = member.priors.first().copied().flatten().filter(|p| p.measured);
        let size = measured.and(member.prior.size_source);
        let size = size.map(|source| SharedError { source, by_coefficient: response(place, 1.0) });
        let estimate = |(i, (name, value)): (usize, (&'static str, f64))| {
            let se = own[(i, i)].max(0.0).sqrt();
            let estimate = Estimate::student_t(value, se, agreement.df, level, "errors in variables, t")?;
            Ok(Coefficient { name, estimate })
        };
        let named = member.kind.coefficient_names().zip(curve.coefficients());
        Ok(FittedCalibration {
            curve: curve.clone(),
            coefficients: named.enumerate().map(estimate).collect::<Result<_>>()?,
            covariance: own,
            shared: shared.chain(size).filter(|error| error.by_coefficient.iter().any(|x| *x != 0.0)).collect(),
            scale: agreement.scale_squared.sqrt(),
            df: agreement.df,
            agreement_p: agreement.p,
            used: agreement.used,
        })
    }

    /// Derivatives of each member's distances by all unknowns, taken at the adjusted tilts.
    fn designs(&self) -> Result<Vec<DMatrix<f64>>> {
        let size = self.first_effect + self.sources.len();
        let design = |m: usize| {
            let (rows, place, used) = (&self.rows[m], self.places[m], self.members[m].start.len());
            let mut design = DMatrix::zeros(rows.tilts.len(), size);
            let errors = rows.sds.iter().zip(&rows.tilt_sds).zip(&rows.touches);
            for (i, (tilt, ((sd, tilt_sd), touches))) in self.adjusted[m].iter().zip(errors).enumerate() {
                let none = || Error::not_estimable("a curve", "it does not rise at a bath");
                let at = self.curves[m].at(*tilt).ok_or_else(none)?;
                let width = sd.hypot(at.per_deg * tilt_sd);
                for (j, slope) in at.gradient.iter().take(used).enumerate() {
                    design[(i, place + j)] = slope / width;
                }
                for (source, effect) in touches {
                    design[(i, self.first_effect + source)] = effect / width;
                }
            }
            Ok(design)
        };
        (0..self.members.len()).map(design).collect()
    }

    /// Precisions of the priors: of coefficients, and of the shared errors.
    fn precisions(&self) -> DVector<f64> {
        let of_coefficients = self.members.iter().zip(&self.curves).flat_map(|(member, curve)| {
            member.kind.precisions(&member.priors, curve.coefficients()).into_iter().take(member.start.len())
        });
        let of_effects = self.sources.iter().map(|_| 1.0);
        DVector::from_vec(of_coefficients.chain(of_effects).collect())
    }

    /// The share of each member (column) in the rows that a source (row) touches.
    fn shares(&self) -> DMatrix<f64> {
        let mut shares = DMatrix::<f64>::zeros(self.sources.len(), self.rows.len());
        for (m, rows) in self.rows.iter().enumerate() {
            rows.touches.iter().flatten().for_each(|(k, _)| shares[(*k, m)] += 1.0);
        }
        for mut row in shares.row_iter_mut() {
            row /= row.sum();
        }
        shares
    }

    fn agreements(
        &self,
        designs: &[DMatrix<f64>],
        unscaled: &DMatrix<f64>,
        shares: &DMatrix<f64>,
    ) -> Result<Vec<Agreement>> {
        let mut first = 0;
        let agree = |(m, design): (usize, &DMatrix<f64>)| {
            let n = design.nrows();
            let leverage: f64 = (design * unscaled).component_mul(design).sum();
            let own = of_place(self.residuals.get(first..first + n))?;
            first += n;
            // Squares and degrees of freedom of the rows, and the member's share of those of the shared errors.
            let (mut squares, mut df) = (own.iter().map(|r| r * r).sum::<f64>(), n as f64 - leverage);
            for (k, value) in self.effects.iter().enumerate() {
                let place = self.first_effect + k;
                squares += value * value * shares[(k, m)];
                df += (1.0 - unscaled[(place, place)]) * shares[(k, m)];
            }
            let used = n as f64 - df;
            let df = df.max(0.0);
            let p = if df > 0.05 { quantile::chi_squared_upper_tail(squares, df)? } else { 1.0 };
            let prior_df = if p < *DISAGREES_P { SCALE_DF.min(*DISAGREES_DF) } else { *SCALE_DF };
            Ok(Agreement { scale_squared: (prior_df + squares) / (prior_df + df), p, df: prior_df + df, used })
        };
        designs.iter().enumerate().map(agree).collect()
    }
}

fn inverse(designs: &[DMatrix<f64>], scales_squared: &DVector<f64>, precision: &DVector<f64>) -> Result<DMatrix<f64>> {
    let mut information = DMatrix::from_diagonal(precision);
    for (design, scale) in designs.iter().zip(scales_squared.iter()) {
        information += design.tr_mul(design) / *scale;
    }
    information.try_inverse().ok_or_else(|| {
        Error::numeric("the covariance of a calibration curve", "the baths do not determine its coefficients")
    })
}
