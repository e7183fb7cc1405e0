//! Curves of several probes through baths that they share: one least-squares problem.

use ndarray::{ArrayViewMut2, Axis, Slice};

use crate::error::{Error, Result};
use crate::fit::errors_in_variables::{DistanceResiduals, SlopedCurve};
use crate::fit::nonlinear::{NonlinearSettings, Parameter, Residuals};

use super::fit_data::{FitPoint, FloatPrior};
use super::fitted_curve::FittedCalibration;
use super::joint_rows::{Member, Rows, of_place, rows_of};
use super::joint_solution::{JointFit, JointSolution};
use super::kinds::{CurveKind, TrialCurve};

/// Fits one kind of curve to the baths of one probe: [`fit_jointly`] with one member.
///
/// # Errors
/// [`Error::NotEstimable`] with the reason: too few baths, tilts that do not rise with density, a fit that did not
/// settle.
pub(crate) fn fit_curve(
    kind: CurveKind,
    points: &[FitPoint],
    prior: &FloatPrior,
    level: f64,
) -> Result<FittedCalibration> {
    let mut joint = fit_jointly(&[Member::new(kind, points, prior)?], level, None)?;
    joint.curves.pop().ok_or_else(|| Error::not_estimable(format!("the curve {kind}"), "no curve was fitted"))
}

/// Distances of all members' baths from their curves, with the shared errors as parameters after all coefficients.
struct Distances<'a> {
    members: Vec<(Trial<'a>, &'a Rows, std::ops::Range<usize>)>,
    coefficients: usize,
}

impl Distances<'_> {
    /// Each member's distances with its first row, its coefficients' places and the coefficients.
    fn each(
        &self,
        parameters: &[f64],
        mut take: impl FnMut(usize, &std::ops::Range<usize>, &[f64], &Rows, &DistanceResiduals<'_, Trial<'_>>) -> Result<()>,
    ) -> Result<()> {
        let effects = of_place(parameters.get(self.coefficients..))?;
        let mut first = 0;
        for (trial, rows, places) in &self.members {
            let own = of_place(parameters.get(places.clone()))?;
            let freed = rows.freed(effects)?;
            let distances = DistanceResiduals::new(trial, &rows.tilts, &freed, &rows.tilt_sds, &rows.sds)?;
            take(first, places, own, rows, &distances)?;
            first += rows.tilts.len();
        }
        Ok(())
    }
}

impl Residuals for Distances<'_> {
    fn count(&self) -> usize {
        self.members.iter().map(|(_, rows, _)| rows.tilts.len()).sum()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        self.each(parameters, |first, _, own, rows, distances| {
            distances.residuals(own, of_place(out.get_mut(first..first + rows.tilts.len()))?)
        })
    }

    fn jacobian(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        out.fill(0.0);
        self.each(parameters, |first, places, own, rows, distances| {
            let mut of_member = out.slice_axis_mut(Axis(0), Slice::from(first..first + rows.tilts.len()));
            let widths =
                distances.jacobian_and_widths(own, of_member.slice_axis_mut(Axis(1), Slice::from(places.clone())));
            // As with the coefficients, the nearest point's own change does not change the distance.
            for (i, (width, touch)) in widths.into_iter().zip(&rows.touches).enumerate() {
                for (place, effect) in touch {
                    out[[first + i, self.coefficients + place]] = -effect / width;
                }
            }
            Ok(())
        })
    }
}

/// Fits the curves of all members together.
///
/// # Method
/// Minimises the squared distances of the baths from the curves in units of their own errors
/// ([`crate::fit::errors_in_variables`]; for a straight line York's solution), with each error that several baths share
/// (a bath that several probes were in, an instrument's bias, a weighing's gain) as a further unknown, normal about 0 with
/// its stated standard deviation, and the prior of each probe's size as a further square. The fit of one probe is that of
/// a fleet of one. `loose` names a source that is left free: its baths then say nothing of the level.
///
/// # Errors
/// [`Error::NotEstimable`] with the reason when the fit does not settle or the baths do not determine a curve.
pub(crate) fn fit_jointly(members: &[Member<'_>], level: f64, loose: Option<usize>) -> Result<JointFit> {
    let (sources, rows) = rows_of(members, loose);
    let mut parameters = Vec::new();
    let mut all = Vec::new();
    for (number, (member, rows)) in members.iter().zip(&rows).enumerate() {
        let first = parameters.len();
        let named = |p: &Parameter| Parameter { name: format!("{} {number}", p.name), ..p.clone() };
        parameters.extend(member.start.iter().map(named));
        all.push((Trial::new(member.kind, member.prior, &rows.tilts), rows, first..parameters.len()));
    }
    let coefficients = parameters.len();
    parameters
        .extend(sources.iter().map(|(source, _)| Parameter::new(format!("error {source}"), 0.0).with_prior(0.0, 1.0)));
    let problem = Distances { members: all, coefficients };
    let settings = NonlinearSettings { tolerance: 1e-13, ..NonlinearSettings::default() };
    let fit = settings.fit(&problem, &parameters)?;
    if !fit.stop.is_converged() {
        return Err(Error::not_estimable("a calibration curve", fit.stop.to_string()));
    }
    let values = fit.values();
    let (mut curves, mut adjusted) = (Vec::new(), Vec::new());
    problem.each(&values, |_, _, own, _, distances| {
        adjusted.push(distances.adjusted_x(own));
        Ok(())
    })?;
    for (trial, _, places) in &problem.members {
        let (coefficients, _) = trial.kind.coefficients(of_place(values.get(places.clone()))?);
        curves.push(trial.kind.curve(coefficients, trial.known)?);
    }
    let solution = JointSolution {
        members,
        rows: &rows,
        sources: &sources,
        places: problem.members.iter().map(|(_, _, places)| places.start).collect(),
        first_effect: coefficients,
        curves,
        adjusted,
        residuals: &fit.residuals,
        effects: of_place(values.get(coefficients..))?,
    };
    solution.judged(level)
}

/// A kind of curve with what is held of it.
///
/// Where a curve has no value it is infinite, which only makes a step of the fit shorter.
pub(super) struct Trial<'a> {
    pub kind: CurveKind,
    pub known: &'a FloatPrior,
    curve: TrialCurve<'a>,
}

impl<'a> Trial<'a> {
    pub fn new(kind: CurveKind, known: &'a FloatPrior, tilts_deg: &'a [f64]) -> Self {
        Self { kind, known, curve: kind.trial(known, tilts_deg) }
    }
}

impl SlopedCurve for Trial<'_> {
    fn at(&self, x: f64, parameters: &[f64]) -> (f64, f64) {
        let at = (self.curve)(x, self.kind.coefficients(parameters).0);
        at.map_or((f64::INFINITY, 0.0), |at| (at.density_kg_m3, at.per_deg))
    }

    fn gradient(&self, x: f64, parameters: &[f64], out: &mut [f64]) {
        let (coefficients, by_parameter) = self.kind.coefficients(parameters);
        match (self.curve)(x, coefficients) {
            Some(at) => {
                for (cell, (slope, by)) in out.iter_mut().zip(at.gradient.iter().zip(by_parameter)) {
                    *cell = slope * by;
                }
            }
            None => out.fill(0.0),
        }
    }
}

#[cfg(test)]
#[path = "../../tests/inside/york_line.rs"]
mod tests;
