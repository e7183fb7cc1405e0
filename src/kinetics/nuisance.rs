//! What a batch's gravities have wrong together: errors of its probes and lasting shifts of them within the batch, and
//! biases of the instruments of its samples.

use nalgebra::{Cholesky, DMatrix, DVector};

use crate::error::{Error, Result};
use crate::gravity::{ErrorStep, GravitySeries, KnownErrors};
use crate::season::each_once;

use super::bins::BinnedSeries;
use super::point::{BatchPoint, PointSource, median};
use super::settings::KineticsSettings;
use super::steps::{is_after, steps};

assumed! {
    /// Points on each side of a running median, at most.
    const MOST_SIDE: usize = 12, "points";
    /// Points of a probe for each of those, at least.
    const SIDES: usize = 8, "points";
}

/// SD that is added at every gravity of a probe by itself, SG: it tells nothing and keeps errors apart that go together.
const APART_SG: f64 = 2e-5;

/// A standardised nuisance effect: a column of what one standard deviation of it does to each point. Its prior is normal
/// with standard deviation 1.
#[derive(Debug, Clone)]
pub(crate) struct Nuisance {
    /// Mean of the prior.
    pub mean: f64,
    pub column: Vec<f64>,
    /// The shift of a probe that it is, if one.
    pub step: Option<ErrorStep>,
}

/// The nuisance effects of a batch: of each probe its offset and the error of its curve, or, where other times tell of
/// the probes and instruments, their errors at a few gravities as independent effects; lasting shifts within the batch; of each
/// other instrument its bias.
///
/// # Errors
/// [`Error::Numeric`] when what is known of the probes' errors is no covariance.
pub(crate) fn nuisances(
    series: &GravitySeries,
    binned: &BinnedSeries,
    settings: &KineticsSettings,
) -> Result<Vec<Nuisance>> {
    let points = &binned.points;
    let mut all = match &series.known {
        Some(known) => known_effects(known, binned)?,
        None => offsets(series, points),
    };
    all.extend(steps(series, points, settings.disturbed_sd_sg).into_iter().map(|step| shift(step, points)));
    for instrument in 0..binned.instruments.len() {
        let of = |p: &BatchPoint| if p.source == PointSource::Sample(instrument) { p.shared_sd } else { 0.0 };
        all.push(effect(points.iter().map(of).collect()));
    }
    all.retain(|nuisance| nuisance.column.iter().any(|value| *value != 0.0));
    Ok(all)
}

fn effect(column: Vec<f64>) -> Nuisance {
    Nuisance { mean: 0.0, column, step: None }
}

fn offsets(series: &GravitySeries, points: &[BatchPoint]) -> Vec<Nuisance> {
    let mut all = Vec::new();
    for (probe, part) in series.probes.iter().enumerate() {
        let of = |value: &dyn Fn(&BatchPoint) -> f64| {
            points.iter().map(|p| if p.source == PointSource::Probe(probe) { value(p) } else { 0.0 }).collect()
        };
        all.push(effect(of(&|_| part.offset_sd.max(0.0))));
        all.push(effect(of(&|p| p.shared_sd)));
    }
    all
}

/// Errors e ~ N(m, C) at the gravities as `e = L z` with `C = L L'`: independent effects z of unit variance with the means
/// `L^-1 m`.
fn known_effects(known: &KnownErrors, binned: &BinnedSeries) -> Result<Vec<Nuisance>> {
    let lower = root(known)?;
    let (points, n) = (&binned.points, known.mean_sg.len());
    let mut means = DVector::from_column_slice(&known.mean_sg);
    lower.solve_lower_triangular_mut(&mut means);
    let weights: Vec<Vec<(usize, f64)>> = points
        .iter()
        .zip(running_medians(points))
        .map(|(point, sg)| match point.source {
            PointSource::Probe(probe) => known.weights(probe as u32, sg),
            PointSource::Sample(of) => {
                let name = binned.instruments.get(of).and_then(Option::as_ref);
                name.and_then(|name| known.instrument(name)).map(|(place, _)| (place, 1.0)).into_iter().collect()
            }
        })
        .collect();
    let column = |k: usize| weights.iter().map(|of| of.iter().map(|(i, w)| w * lower[(*i, k)]).sum()).collect();
    Ok((0..n).map(|k| Nuisance { mean: means[k], ..effect(column(k)) }).collect())
}

/// The Cholesky factor of the covariance of the known errors, each with an error of its own besides. Eigenvalues below 0,
/// which rounding leaves of a covariance without full rank, count as 0; of any other covariance nothing changes.
fn root(known: &KnownErrors) -> Result<DMatrix<f64>> {
    let n = known.knots.len() + known.instruments.len();
    let covariance = &known.covariance;
    let square = covariance.len() == n && covariance.iter().all(|row| row.len() == n) && known.mean_sg.len() == n;
    let mut numbers = covariance.iter().flatten().chain(&known.mean_sg);
    if !square || !numbers.all(|number| number.is_finite()) {
        return Err(Error::numeric("reading the known errors of the probes", "they are no mean and covariance"));
    }
    let apart = DMatrix::identity(n, n) * (APART_SG * APART_SG);
    let given = DMatrix::from_fn(n, n, |i, j| covariance[i][j]);
    if let Some(factor) = Cholesky::new(&given + &apart) {
        return Ok(factor.l());
    }
    let parts = given.symmetric_eigen();
    let values = DMatrix::from_diagonal(&parts.eigenvalues.map(|value| value.max(0.0)));
    let factor = Cholesky::new(&parts.eigenvectors * values * parts.eigenvectors.transpose() + apart);
    factor.map(|factor| factor.l()).ok_or_else(|| Error::numeric("reading the known errors of the probes", "no root"))
}

/// The sudden shift of a probe: its readings from then on.
fn shift(step: ErrorStep, points: &[BatchPoint]) -> Nuisance {
    let after = |p: &BatchPoint| is_after(step.probe as usize, step.hours, p);
    let column = points.iter().map(|p| if after(p) { step.sd_sg } else { 0.0 }).collect();
    Nuisance { step: Some(step), ..effect(column) }
}

/// The gravity about each point of a probe: a running median. An effect of a reading's own gravity would have that reading's
/// noise in it, and a fit could make all noise less by making the whole fall less.
fn running_medians(points: &[BatchPoint]) -> Vec<f64> {
    let mut medians: Vec<f64> = points.iter().map(|point| point.sg).collect();
    for source in each_once(points.iter().map(|point| point.source)) {
        let mine: Vec<usize> = (0..points.len()).filter(|&i| points[i].source == source).collect();
        for (place, &i) in mine.iter().enumerate() {
            let side = (*MOST_SIDE).min(mine.len() / *SIDES).min(place).min(mine.len() - 1 - place);
            let about = mine.iter().skip(place - side).take(2 * side + 1);
            medians[i] = median(&mut about.map(|&j| points[j].sg).collect::<Vec<_>>());
        }
    }
    medians
}

#[cfg(test)]
#[path = "../../tests/inside/nuisance.rs"]
mod tests;
