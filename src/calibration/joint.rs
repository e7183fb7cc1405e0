//! Curves of several probes through baths that they share: one least-squares problem.

use std::collections::BTreeMap;

use ndarray::{ArrayViewMut2, Axis, Slice};

use crate::error::{Error, Result};
use crate::fit::Scale;
use crate::fit::errors_in_variables::DistanceResiduals;
use crate::fit::nonlinear::{NonlinearSettings, Parameter, Residuals};

use super::curve::CurveKind;
use super::finish::Ended;
use super::fit::{FitPoint, FitRules, FloatPrior};
use super::fitted_curve::FittedCurve;
use super::form::Form;

/// Least standard deviation of a bath's density about its shared errors, kg/m3: stirring and temperature (0.00001 SG).
const LEAST_SD_KG_M3: f64 = 0.01;

/// One probe of a joint fit.
pub(crate) struct Member<'a> {
    pub kind: CurveKind,
    pub points: &'a [FitPoint],
    pub prior: &'a FloatPrior,
    /// Where its coefficients start.
    pub start: Vec<Parameter>,
    /// Relative standard deviation of the prior of its size (K or mass), if it has one.
    pub size_prior: Option<f64>,
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

/// Curves that were fitted together.
pub(crate) struct Together {
    pub curves: Vec<FittedCurve>,
    pub effects: Vec<SharedEffect>,
}

/// A member's rows as the fit sees them.
pub(super) struct Rows {
    pub tilts: Vec<f64>,
    pub tilt_sds: Vec<f64>,
    pub densities: Vec<f64>,
    /// Own errors, those of sources that nothing else shares included.
    pub sds: Vec<f64>,
    /// By row: place of the shared source among the effects, and the effect of one standard deviation.
    pub touches: Vec<Vec<(usize, f64)>>,
}

/// The baths' own errors that at least two rows share and all others (an instrument may have measured other things as well),
/// and the rows with the rest put into their own errors.
fn rows_of(members: &[Member<'_>], loose: Option<usize>) -> (Vec<(usize, bool)>, Vec<Rows>) {
    let mut count: BTreeMap<usize, (usize, bool)> = BTreeMap::new();
    for point in members.iter().flat_map(|m| m.points) {
        for (i, error) in point.errors.iter().enumerate() {
            let (n, is_bath) = count.entry(error.source).or_insert((0, i == 0));
            *n += 1;
            *is_bath &= i == 0;
        }
    }
    let shared: Vec<(usize, bool)> = count
        .iter()
        .filter(|(_, (n, is_bath))| *n > 1 || !is_bath)
        .map(|(source, (_, is_bath))| (*source, *is_bath))
        .collect();
    let rows = members
        .iter()
        .map(|member| {
            let column = |of: fn(&FitPoint) -> f64| member.points.iter().map(of).collect::<Vec<f64>>();
            let (mut sds, mut touches) = (Vec::new(), Vec::new());
            for point in member.points {
                let mut variance = point.density_sd_kg_m3.powi(2);
                let mut touch = Vec::new();
                for error in &point.errors {
                    let effect = if loose == Some(error.source) { LOOSE * error.effect } else { error.effect };
                    match shared.binary_search_by_key(&error.source, |(source, _)| *source) {
                        Ok(place) => touch.push((place, effect)),
                        Err(_) => variance += effect * effect,
                    }
                }
                sds.push(variance.sqrt().max(LEAST_SD_KG_M3));
                touches.push(touch);
            }
            Rows {
                tilts: column(|p| p.tilt_deg),
                tilt_sds: column(|p| p.tilt_sd_deg),
                densities: column(|p| p.density_kg_m3),
                sds,
                touches,
            }
        })
        .collect();
    (shared, rows)
}

/// A source whose standard deviation is multiplied by this says nothing any more.
pub(crate) const LOOSE: f64 = 100.0;

impl Rows {
    /// Densities freed of shared errors of these sizes.
    pub fn freed(&self, effects: &[f64]) -> Vec<f64> {
        let of = |touch: &Vec<(usize, f64)>| -> f64 {
            touch.iter().map(|(place, effect)| effect * effects.get(*place).copied().unwrap_or_default()).sum()
        };
        self.densities.iter().zip(&self.touches).map(|(density, touch)| density - of(touch)).collect()
    }
}

/// Distances of all members' baths from their curves, with the shared errors as parameters after all coefficients.
struct Distances<'a> {
    members: Vec<(Form<'a>, &'a Rows, std::ops::Range<usize>)>,
    coefficients: usize,
}

impl Distances<'_> {
    /// Each member's distances with its first row, its coefficients' places and the coefficients.
    fn each(
        &self,
        parameters: &[f64],
        mut take: impl FnMut(usize, &std::ops::Range<usize>, &[f64], &Rows, &DistanceResiduals<'_, Form<'_>>) -> Result<()>,
    ) -> Result<()> {
        let effects = parameters.get(self.coefficients..).unwrap_or_default();
        let mut first = 0;
        for (form, rows, places) in &self.members {
            let own = parameters.get(places.clone()).unwrap_or_default();
            let freed = rows.freed(effects);
            let distances = DistanceResiduals::new(form, &rows.tilts, &freed, &rows.tilt_sds, &rows.sds)?;
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
            let cells = out.get_mut(first..first + rows.tilts.len()).unwrap_or_default();
            distances.residuals(own, cells)
        })
    }

    fn jacobian(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        out.fill(0.0);
        self.each(parameters, |first, places, own, rows, distances| {
            let mut of_member = out.slice_axis_mut(Axis(0), Slice::from(first..first + rows.tilts.len()));
            distances.jacobian(own, of_member.slice_axis_mut(Axis(1), Slice::from(places.clone())))?;
            // As with the coefficients, the nearest point's own change does not change the distance.
            for (i, (width, touch)) in distances.widths(own).into_iter().zip(&rows.touches).enumerate() {
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
pub(crate) fn fit_together(members: &[Member<'_>], rules: FitRules, loose: Option<usize>) -> Result<Together> {
    let (sources, rows) = rows_of(members, loose);
    let mut parameters = Vec::new();
    let mut all = Vec::new();
    for (number, (member, rows)) in members.iter().zip(&rows).enumerate() {
        let first = parameters.len();
        let named = |p: &Parameter| Parameter { name: format!("{} {number}", p.name), ..p.clone() };
        parameters.extend(member.start.iter().map(named));
        all.push((Form::new(member.kind, member.prior, &rows.tilts), rows, first..parameters.len()));
    }
    let coefficients = parameters.len();
    parameters
        .extend(sources.iter().map(|(source, _)| Parameter::new(format!("error {source}"), 0.0).with_prior(0.0, 1.0)));
    let problem = Distances { members: all, coefficients };
    let settings = NonlinearSettings { scale: Scale::Known, tolerance: 1e-13, ..NonlinearSettings::default() };
    let fit = settings.fit(&problem, &parameters)?;
    if !fit.stop.is_converged() {
        return Err(Error::not_estimable("a calibration curve", fit.stop.to_string()));
    }
    let values = fit.values();
    let mut curves = Vec::new();
    let mut adjusted = Vec::new();
    problem.each(&values, |_, _, own, _, distances| {
        adjusted.push(distances.adjusted_x(own));
        Ok(())
    })?;
    for (form, _, places) in &problem.members {
        curves.push(form.curve(values.get(places.clone()).unwrap_or_default())?);
    }
    let effects = values.get(coefficients..).unwrap_or_default();
    let ended = Ended { members, rows: &rows, sources: &sources, curves, adjusted, residuals: &fit.residuals, effects };
    ended.finish(rules)
}
