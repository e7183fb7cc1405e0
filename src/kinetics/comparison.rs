//! All curves on one batch: how well each describes it, and how well it foretells its end from its beginning.

use crate::error::{Error, Result};
use crate::gravity::GravitySeries;

use super::batch_fit::{BatchFit, CandidateFit};
use super::bins::bins;
use super::curve::FermentationCurve;
use super::estimate::{CurveFit, estimate, refine};
use super::nuisance::{Nuisance, nuisances};
use super::point::{BatchPoint, weighted_rms};
use super::probe_bias::foam;
use super::settings::KineticsSettings;
use super::unfitted::first_gravity;
use super::weak_priors::weak_priors;

/// Most points a probe gives to the comparison: every curve is fitted twice, and coarser points tell them apart as well.
const MOST_POINTS: f64 = 40.0;
/// Share of the time after which the rest is foretold.
const FORWARD_SHARE: f64 = 0.6;
/// Fewer points than this before, or after, predict nothing.
const LEAST_FORWARD: (usize, usize) = (5, 3);

impl KineticsSettings {
    /// All candidates for a batch with a fitted curve, on its clock.
    pub(super) fn all_candidates(&self, fit: &BatchFit, series: &GravitySeries) -> Result<Vec<CandidateFit>> {
        let Some(fitted) = &fit.fitted else { return Ok(Vec::new()) };
        let mut binned = bins(series, self, MOST_POINTS);
        binned.set_clock(&fitted.clock);
        let effects = nuisances(series, &binned, self)?;
        let points = binned.points;
        let priors = weak_priors(first_gravity(&points));
        let own = |kind| {
            let mut weighed = points.clone();
            (kind, estimate(&self.given(kind, &effects, &priors), &mut weighed), weighed)
        };
        let fits: Vec<_> = FermentationCurve::ALL.iter().copied().map(own).collect();
        // Which points are outliers says the curve in use, the same to all.
        let chosen = fits.iter().find(|(kind, whole, _)| *kind == fitted.curve.kind && whole.is_ok());
        let weights: Vec<f64> = chosen.map_or(&points, |(.., weighed)| weighed).iter().map(|p| p.weight).collect();
        let first = points.partition_point(|p| p.hours <= FORWARD_SHARE * fit.last_hours);
        let candidate = |(kind, whole, _): (FermentationCurve, Result<CurveFit>, _)| {
            let n = points.len();
            let mut found = CandidateFit { chosen: kind == fitted.curve.kind, ..CandidateFit::new(kind, n) };
            let looked = whole.and_then(|whole| {
                found.parameters = Some(whole.parameters);
                found.aicc = whole.aicc.is_finite().then_some(whole.aicc);
                found.rmse_sg = self.root_mean_square(&whole, &points, &effects, &weights, 0)?;
                if first < LEAST_FORWARD.0 || n - first < LEAST_FORWARD.1 {
                    let why = format!("{first} points before and {} after three fifths of the time", n - first);
                    return Err(Error::not_estimable("the rest foretold", why));
                }
                // The error model is that of the whole, which says how far points may lie from a curve and nothing of
                // where it goes; the search starts at the whole's curve.
                let (early, _) = points.split_at(first);
                let cut: Vec<Nuisance> = effects.iter().map(|of| of.first(first)).collect();
                let priors = weak_priors(first_gravity(early));
                let early = refine(&whole.curve, whole.errors, &self.given(kind, &cut, &priors), early)?;
                found.forward_rmse_sg = self.root_mean_square(&early, &points, &effects, &weights, first)?;
                found.forward_n = n - first;
                Ok(())
            });
            found.why = match looked {
                Err(error) => error.to_string(),
                Ok(()) if found.aicc.is_none() => "too few points for AICc".to_owned(),
                Ok(()) => String::new(),
            };
            found
        };
        Ok(fits.into_iter().map(candidate).collect())
    }

    /// Root mean square of the errors at the points from `first` on, robust weights of the whole fit applied.
    fn root_mean_square(
        &self,
        found: &CurveFit,
        points: &[BatchPoint],
        effects: &[Nuisance],
        weights: &[f64],
        first: usize,
    ) -> Result<Option<f64>> {
        let priors = weak_priors(found.curve.original_sg);
        let given = self.given(found.curve.kind, effects, &priors);
        let column = foam(points, &given.of(points, &[]).likelihood.relative_rate(&found.curve));
        let residual = given.of(points, &column).residuals(&found.fit.values())?;
        Ok(weighted_rms(residual.iter().copied().zip(weights.iter().copied()).skip(first)))
    }
}
