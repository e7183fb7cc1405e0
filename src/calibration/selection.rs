//! Which candidate curve: leave-one-bath-out, refusals, the choice.

use crate::error::{Error, Result};
use crate::fit::quantile;
use crate::liquid::WATER_20C_KG_M3;

use super::curve::CurvePoint;
use super::fit_data::{DISAGREES_P, FitPoint, FitRules, FloatPrior};
use super::fitted_curve::FittedCalibration;
use super::joint::fit_curve;
use super::kinds::CurveKind;
use super::result::CurveCandidate;

/// A curve must rise this far beyond its outermost baths, degrees.
const MARGIN_DEG: f64 = 3.0;
/// A candidate must predict better than an earlier one by this factor to be taken instead.
const CLEARLY_BETTER: f64 = 0.75;

/// A bath is wrong, and not the curve, when its probability over all baths is below the first and that of the others'
/// residuals above the second.
const WRONG_BATH_P: f64 = 0.01;
const OTHERS_AGREE_P: f64 = 0.05;

/// A bath left out and predicted by the others.
pub(crate) struct LeftOut {
    /// The curve without it.
    pub without: FittedCalibration,
    /// Predicted minus known, SG.
    pub error_sg: f64,
    /// That over its standard error.
    pub studentised: f64,
    /// Two-sided probability of so large a value.
    pub p: f64,
}

/// A candidate with what its leave-one-out fits gave, by bath.
pub(crate) struct ScoredCandidate {
    pub candidate: CurveCandidate,
    pub left_out: Vec<Option<LeftOut>>,
}

/// Fits and scores every candidate and marks the chosen one.
///
/// # Errors
/// [`Error::NotEstimable`] when every candidate is refused: the reasons are in the text.
pub(crate) fn choose(points: &[FitPoint], prior: &FloatPrior, rules: FitRules) -> Result<Vec<ScoredCandidate>> {
    let mut scored: Vec<ScoredCandidate> =
        CurveKind::ALL.into_iter().map(|kind| score(kind, points, prior, rules)).collect();
    let Some(best) = pick(&scored, points) else {
        let reasons: Vec<String> = scored
            .iter()
            .filter_map(|s| s.candidate.refused.as_ref().map(|why| format!("{}: {why}", s.candidate.kind)))
            .collect();
        return Err(Error::not_estimable("a calibration curve", reasons.join("; ")));
    };
    if let Some(best) = scored.get_mut(best) {
        best.candidate.chosen = true;
    }
    Ok(scored)
}

/// The first float (hull, wall-sided, wall-sided with free K) whose residuals agree with the stated SDs at 1 %. A float's
/// shape has reasons, and a score from half a dozen baths is a weak judge of it. Where none agrees, the first float with
/// which all baths but one agree, when that one lies between others: a wrong bath is likelier than a float of another
/// shape, which would show at the ends. Else the earliest candidate that no other beats clearly when baths are left out;
/// without any such score the earliest allowed one.
fn pick(scored: &[ScoredCandidate], points: &[FitPoint]) -> Option<usize> {
    let allowed = |s: &ScoredCandidate| s.candidate.refused.is_none() && s.candidate.fitted.is_some();
    let float = |s: &&ScoredCandidate| s.candidate.kind.is_float() && allowed(s);
    let agrees =
        |s: &ScoredCandidate| s.candidate.fitted.as_ref().is_some_and(|fitted| fitted.agreement_p >= DISAGREES_P);
    let but_one = |s: &ScoredCandidate| {
        let n = s.left_out.len() as f64;
        s.left_out.iter().enumerate().filter(|(i, _)| !is_end(points, *i)).any(|(_, left)| {
            left.as_ref().is_some_and(|left| n * left.p < WRONG_BATH_P && left.without.agreement_p >= OTHERS_AGREE_P)
        })
    };
    if let Some(first) = scored.iter().position(|s| float(&s) && agrees(s)) {
        return Some(first);
    }
    if let Some(first) = scored.iter().position(|s| float(&s) && but_one(s)) {
        return Some(first);
    }
    let mut best: Option<(usize, f64)> = None;
    for (i, s) in scored.iter().enumerate().filter(|(_, s)| allowed(s)) {
        let Some(error) = overall(s) else { continue };
        if best.is_none_or(|(_, least)| error < CLEARLY_BETTER * least) {
            best = Some((i, error));
        }
    }
    best.map(|(i, _)| i).or_else(|| scored.iter().position(allowed))
}

/// Root mean square of all left-out errors; none unless every bath could be left out.
fn overall(scored: &ScoredCandidate) -> Option<f64> {
    let errors: Vec<f64> = scored.left_out.iter().map(|l| l.as_ref().map(|l| l.error_sg)).collect::<Option<_>>()?;
    rms(&errors)
}

fn rms(errors: &[f64]) -> Option<f64> {
    (!errors.is_empty()).then(|| (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt())
}

fn score(kind: CurveKind, points: &[FitPoint], prior: &FloatPrior, rules: FitRules) -> ScoredCandidate {
    let mut candidate = CurveCandidate {
        kind,
        fitted: None,
        rmse_sg: None,
        left_out_inner_sg: None,
        left_out_end_sg: None,
        refused: None,
        chosen: false,
    };
    let fitted = match fit_curve(kind, points, prior, rules) {
        Ok(fitted) => fitted,
        Err(why) => {
            candidate.refused = Some(reason(why));
            return ScoredCandidate { candidate, left_out: points.iter().map(|_| None).collect() };
        }
    };
    candidate.refused = not_rising(&fitted, points);
    let free = points.len() as f64 - fitted.used;
    let residual = |point: &FitPoint| Some(point.density_kg_m3 - fitted.curve.at(point.tilt_deg)?.density_kg_m3);
    let squares: f64 = points.iter().filter_map(residual).map(|miss| (miss / WATER_20C_KG_M3).powi(2)).sum();
    candidate.rmse_sg = (free > 0.1).then(|| (squares / free).sqrt());
    let left_out: Vec<Option<LeftOut>> = (0..points.len()).map(|i| leave_out(kind, points, i, prior, rules)).collect();
    let (ends, inner): (Vec<_>, Vec<_>) = left_out.iter().enumerate().partition(|(i, _)| is_end(points, *i));
    let errors = |some: Vec<(usize, &Option<LeftOut>)>| -> Option<Vec<f64>> {
        some.into_iter().map(|(_, l)| l.as_ref().map(|l| l.error_sg)).collect()
    };
    candidate.left_out_inner_sg = errors(inner).and_then(|e| rms(&e));
    candidate.left_out_end_sg = errors(ends).and_then(|e| rms(&e));
    candidate.fitted = Some(fitted);
    ScoredCandidate { candidate, left_out }
}

fn reason(why: Error) -> String {
    match why {
        Error::NotEstimable { why, .. } => why,
        other => other.to_string(),
    }
}

/// Why the curve does not rise through its working range: the baths' tilts and three degrees beyond.
pub(super) fn not_rising(fitted: &FittedCalibration, points: &[FitPoint]) -> Option<String> {
    let low = points.iter().map(|p| p.tilt_deg).fold(f64::INFINITY, f64::min) - MARGIN_DEG;
    let high = points.iter().map(|p| p.tilt_deg).fold(f64::NEG_INFINITY, f64::max) + MARGIN_DEG;
    let (low, high) = (low.max(1.0), high.min(85.0));
    let steps = ((high - low) / 0.25).ceil().max(1.0) as u32;
    (0..=steps)
        .map(|i| low + (high - low) * f64::from(i) / f64::from(steps))
        .find(|&tilt| fitted.curve.at(tilt).is_none())
        .map(|tilt| format!("density does not rise with tilt at {tilt:.1} degrees, within the working range"))
}

/// The lightest and the heaviest bath.
fn is_end(points: &[FitPoint], index: usize) -> bool {
    let Some(own) = points.get(index).map(|p| p.density_kg_m3) else { return false };
    let beyond =
        |sign: f64| !points.iter().enumerate().any(|(i, p)| i != index && sign * (p.density_kg_m3 - own) > 0.0);
    beyond(1.0) || beyond(-1.0)
}

fn leave_out(
    kind: CurveKind,
    points: &[FitPoint],
    index: usize,
    prior: &FloatPrior,
    rules: FitRules,
) -> Option<LeftOut> {
    let own = points.get(index)?;
    let others: Vec<FitPoint> =
        points.iter().enumerate().filter(|(i, _)| *i != index).map(|(_, point)| point.clone()).collect();
    let without = fit_curve(kind, &others, prior, rules).ok()?;
    let at = without.curve.at(own.tilt_deg)?;
    let error = at.density_kg_m3 - own.density_kg_m3;
    let se = variance_against(&without, &at, own).sqrt();
    let studentised = error / se;
    let p = 2.0 * quantile::student_t_upper_tail(studentised.abs(), without.df).ok()?;
    Some(LeftOut { error_sg: error / WATER_20C_KG_M3, studentised, p, without })
}

/// Variance of the curve minus the stated density of a bath that is not in it, (kg/m3)^2: what both share (the bias of
/// an instrument, a weighing) counts once, with its sign.
fn variance_against(fitted: &FittedCalibration, at: &CurvePoint, bath: &FitPoint) -> f64 {
    let own = fitted.scale * bath.density_sd_kg_m3.hypot(at.per_deg * bath.tilt_sd_deg);
    let mut variance = fitted.variance(at) + own * own;
    for (i, error) in bath.errors.iter().enumerate() {
        let effect = if i == 0 { fitted.scale * error.effect } else { error.effect };
        let shared = fitted.shared.iter().find(|s| s.source == error.source).map_or(0.0, |s| s.at(at));
        variance += effect * effect - 2.0 * effect * shared;
    }
    variance.max(own * own)
}
