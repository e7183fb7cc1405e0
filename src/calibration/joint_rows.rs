//! The probes of a joint fit, and their baths as rows of one least-squares problem.

use std::collections::BTreeMap;

use crate::error::{Error, Result};
use crate::fit::nonlinear::Parameter;

use super::fit_data::{FitPoint, FloatPrior};
use super::kinds::{CoefficientPrior, CurveKind};

assumed! {
    /// Least standard deviation of a bath's density about its shared errors: stirring and temperature (0.00001 SG).
    const LEAST_SD_KG_M3: f64 = 0.01, "kg/m3";
}

/// One probe of a joint fit.
pub(crate) struct Member<'a> {
    pub kind: CurveKind,
    pub points: &'a [FitPoint],
    pub prior: &'a FloatPrior,
    /// What its coefficients start from.
    pub start: Vec<Parameter>,
    /// What is known of its coefficients.
    pub priors: Vec<Option<CoefficientPrior>>,
}

impl<'a> Member<'a> {
    /// One probe with the starting values of a kind of curve.
    ///
    /// # Errors
    /// [`crate::Error::NotEstimable`] with the reason: too few baths, something that is not known of the probe, or tilts
    /// that do not rise with density.
    pub fn new(kind: CurveKind, points: &'a [FitPoint], prior: &'a FloatPrior) -> Result<Self> {
        let priors = kind.priors(prior)?;
        Ok(Self { kind, points, prior, start: kind.parameters(points, prior, &priors)?, priors })
    }
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
pub(super) fn rows_of(members: &[Member<'_>], loose: Option<usize>) -> (Vec<(usize, bool)>, Vec<Rows>) {
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
                sds.push(variance.sqrt().max(*LEAST_SD_KG_M3));
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
    pub fn freed(&self, effects: &[f64]) -> Result<Vec<f64>> {
        let of = |touch: &Vec<(usize, f64)>| -> Result<f64> {
            touch.iter().map(|(place, effect)| Ok(effect * of_place(effects.get(*place))?)).sum()
        };
        self.densities.iter().zip(&self.touches).map(|(density, touch)| Ok(density - of(touch)?)).collect()
    }
}

/// What stands at a place of a joint fit's numbers.
///
/// # Errors
/// [`Error::Numeric`] when nothing does: the numbers are not those of this fit.
pub(super) fn of_place<T>(found: Option<T>) -> Result<T> {
    found.ok_or_else(|| Error::numeric("a joint fit of calibrations", "its numbers do not belong to its baths"))
}
