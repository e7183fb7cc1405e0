//! All curves on one batch: how well each describes it, and how well it predicts its end from its beginning.

use crate::error::Result;
use crate::gravity::GravitySeries;

use super::batch_fit::BatchFit;
use super::bins::bins;
use super::candidate::Candidate;
use super::curve::FermentationCurve;
use super::estimate::{CurveFit, estimate, refine};
use super::nuisance::{Nuisance, nuisances};
use super::point::Point;
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
/// A criterion lower by this much tells two curves apart (Burnham and Anderson 2002, section 2.6).
pub(super) const TELLING: f64 = 2.0;

/// Akaike weights: `w_i = exp(-D_i/2) / sum_j exp(-D_j/2)`, where D is the criterion less the least one (Burnham and
/// Anderson 2002, section 2.9). A curve without a criterion has weight 0.
fn akaike_weights(aicc: &[Option<f64>]) -> Vec<f64> {
    let least = aicc.iter().copied().flatten().fold(f64::INFINITY, f64::min);
    let raw: Vec<f64> = aicc.iter().map(|own| own.map_or(0.0, |own| (-0.5 * (own - least)).exp())).collect();
    let sum: f64 = raw.iter().sum();
    raw.iter().map(|own| if sum > 0.0 { own / sum } else { 0.0 }).collect()
}

impl KineticsSettings {
    /// All candidates for a batch with a fitted curve, on its clock.
    pub(super) fn all_candidates(&self, fit: &BatchFit, series: &GravitySeries) -> Result<Vec<Candidate>> {
        let Some(fitted) = &fit.fitted else { return Ok(Vec::new()) };
        let mut binned = bins(series, self, MOST_POINTS);
        binned.set_clock(&fitted.clock);
        let effects = nuisances(series, &binned, self)?;
        let points = binned.points;
        let priors = weak_priors(first_gravity(&points));
        let fits: Vec<(FermentationCurve, Result<CurveFit>, Vec<Point>)> = FermentationCurve::ALL
            .iter()
            .map(|&kind| {
                let mut weighed = points.clone();
                (kind, estimate(&self.given(kind, &effects, &priors), &mut weighed), weighed)
            })
            .collect();
        // Which points are outliers says the curve in use, the same to all.
        let own = fits.iter().find(|(kind, whole, _)| *kind == fitted.curve.kind && whole.is_ok());
        let weighed = own.map_or(&points, |(_, _, weighed)| weighed);
        let weights: Vec<f64> = weighed.iter().map(|point| point.weight).collect();
        let mut all = Vec::with_capacity(fits.len());
        for (kind, whole, _) in fits {
            all.push(self.candidate(kind, whole, &points, &effects, &weights, fit.last_hours));
        }
        let weights = akaike_weights(&all.iter().map(|candidate| candidate.aicc).collect::<Vec<_>>());
        for (candidate, weight) in all.iter_mut().zip(weights) {
            candidate.akaike_weight = weight;
        }
        let closed = |c: &&Candidate| !matches!(c.curve, FermentationCurve::Inhibited | FermentationCurve::Smooth);
        let least = |of: &[&Candidate]| of.iter().filter_map(|c| c.aicc).fold(f64::INFINITY, f64::min);
        let best_closed = least(&all.iter().filter(closed).collect::<Vec<_>>());
        let best = least(&all.iter().collect::<Vec<_>>());
        for candidate in &mut all {
            candidate.chosen = candidate.curve == fitted.curve.kind;
            let own = candidate.aicc.unwrap_or(f64::INFINITY);
            let mut words = Vec::new();
            if !candidate.why.is_empty() {
                words.push(candidate.why.clone());
            }
            if candidate.chosen {
                words.push(self.reason().to_owned());
            }
            if own <= best && own.is_finite() {
                words.push("lowest AICc".to_owned());
            }
            if candidate.curve == FermentationCurve::Inhibited && own + TELLING < best_closed {
                words.push("preferred to every closed form".to_owned());
            }
            candidate.why = words.join("; ");
        }
        Ok(all)
    }

    /// Why a curve was taken.
    fn reason(&self) -> &'static str {
        match self.curves.as_slice() {
            [FermentationCurve::Smooth] => "taken: its intervals hold where no closed form does",
            [_] => "taken: asked for",
            _ => "taken: lowest AICc",
        }
    }

    fn candidate(
        &self,
        kind: FermentationCurve,
        whole: Result<CurveFit>,
        points: &[Point],
        effects: &[Nuisance],
        weights: &[f64],
        last_hours: f64,
    ) -> Candidate {
        let mut found = Candidate {
            curve: kind,
            n: points.len(),
            parameters: None,
            aicc: None,
            akaike_weight: 0.0,
            rmse_sg: None,
            forward_n: 0,
            forward_rmse_sg: None,
            chosen: false,
            why: String::new(),
        };
        let whole = match whole {
            Ok(whole) => whole,
            Err(error) => {
                found.why = error.to_string();
                return found;
            }
        };
        found.rmse_sg = self.errors(kind, &whole, points, effects, weights, 0).ok().flatten();
        found.aicc = whole.aicc.is_finite().then_some(whole.aicc);
        found.parameters = Some(whole.parameters);
        if found.aicc.is_none() {
            found.why = "too few points for AICc".to_owned();
        }
        let first = points.partition_point(|p| p.hours <= FORWARD_SHARE * last_hours);
        let rest = points.len() - first;
        if first < LEAST_FORWARD.0 || rest < LEAST_FORWARD.1 {
            found.why = format!("{first} points before and {rest} after three fifths of the time foretell nothing");
            return found;
        }
        let cut: Vec<Nuisance> = effects
            .iter()
            .map(|of| Nuisance { column: of.column.iter().take(first).copied().collect(), ..of.clone() })
            .collect();
        // The error model is that of the whole, which says how far points may lie from a curve and nothing of where it goes;
        // the search starts at the whole's curve.
        let (early, _) = points.split_at(first);
        let priors = weak_priors(first_gravity(early));
        let early = refine(&whole.curve, whole.errors, &self.given(kind, &cut, &priors), early);
        match early.and_then(|early| self.errors(kind, &early, points, effects, weights, first)) {
            Ok(rmse_sg) => (found.forward_n, found.forward_rmse_sg) = (rest, rmse_sg),
            Err(error) => found.why = format!("forward: {error}"),
        }
        found
    }

    /// Root mean square of the errors at the points from `first` on, robust weights of the whole fit applied.
    fn errors(
        &self,
        kind: FermentationCurve,
        found: &CurveFit,
        points: &[Point],
        effects: &[Nuisance],
        weights: &[f64],
        first: usize,
    ) -> Result<Option<f64>> {
        let priors = weak_priors(found.curve.original_sg);
        let given = self.given(kind, effects, &priors);
        let column = foam(points, &given.problem(points, &[]).likelihood.relative_rate(&found.curve));
        let residual = given.problem(points, &column).residuals(&found.fit.values())?;
        let (mut square, mut sum) = (0.0, 0.0);
        for (r, weight) in residual.iter().zip(weights).skip(first) {
            square += weight * r * r;
            sum += weight;
        }
        Ok((sum > 0.0).then(|| (square / sum).sqrt()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: criteria 204, 202, 206, 206 have D = 2, 0, 4, 4 and exp(-D/2) = 0.367879, 1, 0.135335, 0.135335,
    /// which sum to 1.638550.
    #[test]
    fn weights_are_those_worked_by_hand() {
        let weights = akaike_weights(&[Some(204.0), Some(202.0), None, Some(206.0), Some(206.0)]);
        let wanted = [0.224_515, 0.610_296, 0.0, 0.082_594, 0.082_594];
        for (weight, wanted) in weights.iter().zip(wanted) {
            assert!((weight - wanted).abs() < 1e-6, "{weights:?}");
        }
    }
}
