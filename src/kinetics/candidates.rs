//! All curves on one batch: how well each describes it, and how well it foretells its end from its beginning.

use crate::error::Result;
use crate::fit::Finding;
use crate::gravity::GravitySeries;

use super::averaging::akaike_weights;
use super::batch_fit::{BatchFit, Point};
use super::curve::CurveKind;
use super::estimate::{Estimated, Given, estimate, values, weak_priors};
use super::misread::foam;
use super::nuisance::{Nuisance, nuisances};
use super::prepare::prepare;
use super::settings::KineticsSettings;
use super::traits;

/// Most points a probe gives to the comparison: every curve is fitted twice, and coarser points tell them apart as well.
const MOST_POINTS: f64 = 40.0;
/// Share of the time after which the rest is foretold.
const FORWARD_SHARE: f64 = 0.6;
/// Fewer points than this before, or after, foretell nothing.
const LEAST_FORWARD: (usize, usize) = (5, 3);
/// A criterion lower by this much tells two curves apart (Burnham and Anderson 2002, section 2.6).
pub(super) const TELLING: f64 = 2.0;

/// One curve on one batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The curve.
    pub curve: CurveKind,
    /// Points it was fitted to.
    pub n: usize,
    /// Parameters that the data determine, those of the error model included.
    pub parameters: Option<f64>,
    /// Akaike's criterion corrected for the number of points, on the correlated likelihood.
    pub aicc: Option<f64>,
    /// Akaike weight: 0 without a criterion.
    pub akaike_weight: f64,
    /// The traits of this curve in the order of `Trait::ALL`; empty where it could not be fitted, and where no averages
    /// are asked for.
    pub traits: Vec<Finding>,
    /// Root mean square of the residuals, SG.
    pub rmse_sg: Option<f64>,
    /// Points in the last two fifths of the time, foretold from the first three.
    pub forward_n: usize,
    /// Root mean square of the errors of what was foretold, SG.
    pub forward_rmse_sg: Option<f64>,
    /// True for the curve that was taken.
    pub chosen: bool,
    /// Why something is missing, or why this curve was taken.
    pub why: String,
}

impl KineticsSettings {
    /// All candidates for a batch with a fitted curve, on its clock.
    pub(super) fn all_candidates(&self, fit: &BatchFit, series: &GravitySeries) -> Result<Vec<Candidate>> {
        let Some(fitted) = &fit.fitted else { return Ok(Vec::new()) };
        let mut prepared = prepare(series, self, MOST_POINTS);
        prepared.set_clock(&fitted.clock);
        let effects = nuisances(series, &prepared, self);
        let points = prepared.points;
        let priors = weak_priors(super::begin::first_level(&points));
        let fits: Vec<(CurveKind, Result<Estimated>, Vec<Point>)> = CurveKind::ALL
            .into_iter()
            .map(|kind| {
                let mut weighed = points.clone();
                (kind, estimate(&self.given(kind, &effects, &priors), &mut weighed), weighed)
            })
            .collect();
        // Which points are outliers says the curve in use, the same to all.
        let own = fits.iter().find(|(kind, whole, _)| *kind == fitted.kind && whole.is_ok());
        let weighed = own.map_or(&points, |(_, _, weighed)| weighed);
        let weights: Vec<f64> = weighed.iter().map(|point| point.weight).collect();
        let mut all = Vec::with_capacity(fits.len());
        for (kind, whole, _) in fits {
            let traits = match &whole {
                Ok(whole) if self.averaged => {
                    traits::all(&whole.fitted(fitted.clock.clone()), self.common.level, self.common.at_rest.within_sg)?
                        .into()
                }
                _ => Vec::new(),
            };
            let found = self.candidate(kind, whole, &points, &effects, &weights, fit.last_hours)?;
            all.push(Candidate { traits, ..found });
        }
        let weights = akaike_weights(&all.iter().map(|candidate| candidate.aicc).collect::<Vec<_>>());
        for (candidate, weight) in all.iter_mut().zip(weights) {
            candidate.akaike_weight = weight;
        }
        let closed = |c: &&Candidate| !matches!(c.curve, CurveKind::Inhibited | CurveKind::Smooth);
        let least = |of: &[&Candidate]| of.iter().filter_map(|c| c.aicc).fold(f64::INFINITY, f64::min);
        let best_closed = least(&all.iter().filter(closed).collect::<Vec<_>>());
        let best = least(&all.iter().collect::<Vec<_>>());
        for candidate in &mut all {
            candidate.chosen = candidate.curve == fitted.kind;
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
            if candidate.curve == CurveKind::Inhibited && own + TELLING < best_closed {
                words.push("preferred to every closed form".to_owned());
            }
            candidate.why = words.join("; ");
        }
        Ok(all)
    }

    /// Why a curve was taken.
    fn reason(&self) -> &'static str {
        match self.curve {
            super::CurveChoice::Best => "taken: lowest AICc",
            super::CurveChoice::Smooth => "taken: its intervals hold where no closed form does",
            _ => "taken: asked for",
        }
    }

    fn candidate(
        &self,
        kind: CurveKind,
        whole: Result<Estimated>,
        points: &[Point],
        effects: &[Nuisance],
        weights: &[f64],
        last_hours: f64,
    ) -> Result<Candidate> {
        let none = Candidate {
            curve: kind,
            n: points.len(),
            parameters: None,
            aicc: None,
            akaike_weight: 0.0,
            traits: Vec::new(),
            rmse_sg: None,
            forward_n: 0,
            forward_rmse_sg: None,
            chosen: false,
            why: String::new(),
        };
        let whole = match whole {
            Ok(found) => found,
            Err(error) if error.is_not_estimable() => return Ok(Candidate { why: error.to_string(), ..none }),
            Err(error) => return Err(error),
        };
        let rmse_sg = self.errors(kind, &whole, points, effects, weights, 0)?;
        let aicc = whole.aicc.is_finite().then_some(whole.aicc);
        let mut found = Candidate { parameters: Some(whole.parameters), aicc, rmse_sg, ..none };
        if aicc.is_none() {
            found.why = "too few points for AICc".to_owned();
        }
        let first = points.partition_point(|p| p.hours <= FORWARD_SHARE * last_hours);
        let rest = points.len() - first;
        if first < LEAST_FORWARD.0 || rest < LEAST_FORWARD.1 {
            let why = format!("{first} points before and {rest} after three fifths of the time foretell nothing");
            return Ok(Candidate { why, ..found });
        }
        let cut: Vec<Nuisance> = effects
            .iter()
            .map(|of| Nuisance { column: of.column.iter().take(first).copied().collect(), ..of.clone() })
            .collect();
        match self.early(&whole, points.get(..first).unwrap_or_default(), &cut) {
            Ok(early) => {
                found.forward_n = rest;
                found.forward_rmse_sg = self.errors(kind, &early, points, effects, weights, first)?;
            }
            Err(error) if error.is_not_estimable() => found.why = format!("forward: {error}"),
            Err(error) => return Err(error),
        }
        Ok(found)
    }

    /// The curve fitted to the beginning alone. Its error model is that of the whole, which says how far points may lie from a
    /// curve and nothing of where it goes; its search starts at the whole's curve.
    fn early(&self, whole: &Estimated, points: &[Point], effects: &[Nuisance]) -> Result<Estimated> {
        let priors = weak_priors(super::begin::first_level(points));
        let given = self.given(whole.kind, effects, &priors);
        let vigour = given.problem(points, &[]).vigour(&whole.curve);
        let column = foam(points, &vigour);
        let problem = given.problem(points, &column);
        let whitener = problem.whitener(&vigour, &whole.errors)?;
        let fit = problem.fit(whole.kind, &whole.curve, &whitener, whole.errors.bend_sd)?;
        let curve = problem.curve_of(&values(&fit))?;
        Ok(Estimated {
            kind: whole.kind,
            curve,
            fit,
            errors: whole.errors,
            vigour,
            foam: column,
            aicc: f64::NAN,
            parameters: f64::NAN,
        })
    }

    /// Root mean square of the errors at the points from `first` on, robust weights of the whole fit applied.
    fn errors(
        &self,
        kind: CurveKind,
        found: &Estimated,
        points: &[Point],
        effects: &[Nuisance],
        weights: &[f64],
        first: usize,
    ) -> Result<Option<f64>> {
        let priors = weak_priors(found.curve.original_sg);
        let given: Given<'_> = self.given(kind, effects, &priors);
        let column = foam(points, &given.problem(points, &[]).vigour(&found.curve));
        let mut residual = vec![0.0; points.len()];
        given.problem(points, &column).departures(&values(&found.fit), &mut residual)?;
        let (mut square, mut sum) = (0.0, 0.0);
        for (r, weight) in residual.iter().zip(weights).skip(first) {
            square += weight * r * r;
            sum += weight;
        }
        Ok((sum > 0.0).then(|| (square / sum).sqrt()))
    }
}
