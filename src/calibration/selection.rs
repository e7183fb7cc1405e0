//! Which candidate curve: leave-one-bath-out, refusals, the choice.

use crate::error::{Error, Result};
use crate::fit::quantile;
use crate::liquid::WATER_20C_KG_M3;

use super::curve::CurvePoint;
use super::fit_data::{AGREES_P, DISAGREES_P, FitPoint, FloatPrior};
use super::fitted_curve::FittedCalibration;
use super::joint::fit_curve;
use super::kinds::CurveKind;
use super::result::CurveCandidate;

assumed! {
    /// A curve must rise this far beyond its outermost baths.
    const MARGIN_DEG: f64 = 3.0, "degrees";
    /// A candidate must predict better than an earlier one by this factor to be taken instead.
    const CLEARLY_BETTER: f64 = 0.75, "times";
}

/// A bath left out and predicted by the others.
#[derive(Clone)]
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

/// The chosen curve among the candidates.
#[derive(Clone)]
pub(crate) struct Choice {
    pub kind: CurveKind,
    pub fitted: FittedCalibration,
    pub rmse_sg: Option<f64>,
    /// What the fits without one bath gave, by bath.
    pub left_out: Vec<Option<LeftOut>>,
    pub candidates: Vec<CurveCandidate>,
}

/// Fits and scores every candidate and chooses one.
///
/// # Errors
/// [`Error::NotEstimable`] when every candidate is refused: the reasons are in the text.
pub(crate) fn choose(points: &[FitPoint], prior: &FloatPrior, level: f64) -> Result<Choice> {
    let (mut candidates, mut left_out): (Vec<_>, Vec<_>) =
        CurveKind::ALL.into_iter().map(|kind| score(kind, points, prior, level)).unzip();
    let Some((place, fitted)) = pick(&candidates, &left_out, points) else {
        let reason = |c: &CurveCandidate| Some(format!("{}: {}", c.kind, c.refused.as_ref()?));
        let reasons: Vec<String> = candidates.iter().filter_map(reason).collect();
        return Err(Error::not_estimable("a calibration curve", reasons.join("; ")));
    };
    let (fitted, left_out) = (fitted.clone(), left_out.swap_remove(place));
    let chosen = &mut candidates[place];
    chosen.chosen = true;
    Ok(Choice { kind: chosen.kind, rmse_sg: chosen.rmse_sg, fitted, left_out, candidates })
}

/// The first float ([`CurveKind::is_float`]) whose residuals agree with the stated SDs at 1 %. A float's
/// shape has reasons, and a score from half a dozen baths is a weak judge of it. Where none agrees, the first float with
/// which all baths but one agree, when that one lies between others: a wrong bath is likelier than a float of another
/// shape, which would show at the ends. Else the earliest candidate that no other beats clearly when baths are left out;
/// without any such score the earliest allowed one.
fn pick<'a>(
    candidates: &'a [CurveCandidate],
    left_out: &[Vec<Option<LeftOut>>],
    points: &[FitPoint],
) -> Option<(usize, &'a FittedCalibration)> {
    let all = candidates.iter().zip(left_out).enumerate().filter(|(_, (c, _))| c.refused.is_none());
    let allowed: Vec<_> = all.filter_map(|(i, (c, left))| Some((i, c.fitted.as_ref()?, c.kind, left))).collect();
    let wrong = |(i, left): (usize, &Option<LeftOut>)| {
        let n = points.len() as f64;
        let wrong = |left: &LeftOut| n * left.p < *DISAGREES_P && left.without.agreement_p >= *AGREES_P;
        !is_end(points, i) && left.as_ref().is_some_and(wrong)
    };
    let floats = || allowed.iter().filter(|(_, _, kind, _)| kind.is_float());
    let agrees = floats().find(|(_, fitted, ..)| fitted.agreement_p >= *DISAGREES_P);
    let float = agrees.or_else(|| floats().find(|(.., left)| left.iter().enumerate().any(wrong)));
    let foretold = || {
        let scored = allowed.iter().filter_map(|one| Some((one, rms(one.3.iter().map(error_of))?)));
        scored.reduce(|best, next| if next.1 < *CLEARLY_BETTER * best.1 { next } else { best }).map(|(one, _)| one)
    };
    let one = float.or_else(foretold).or(allowed.first());
    one.map(|(i, fitted, ..)| (*i, *fitted))
}

fn error_of(left: &Option<LeftOut>) -> Option<f64> {
    left.as_ref().map(|left| left.error_sg)
}

/// Root mean square of left-out errors; none unless every bath could be left out.
fn rms(errors: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let errors: Vec<f64> = errors.collect::<Option<_>>()?;
    (!errors.is_empty()).then(|| (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt())
}

fn score(
    kind: CurveKind,
    points: &[FitPoint],
    prior: &FloatPrior,
    level: f64,
) -> (CurveCandidate, Vec<Option<LeftOut>>) {
    let (fitted, refused) = match fit_curve(kind, points, prior, level) {
        Ok(fitted) => (Some(fitted), None),
        Err(Error::NotEstimable { why, .. }) => (None, Some(why)),
        Err(other) => (None, Some(other.to_string())),
    };
    let left_out: Vec<Option<LeftOut>> = match &fitted {
        Some(_) => (0..points.len()).map(|i| leave_out(kind, points, i, prior, level)).collect(),
        None => points.iter().map(|_| None).collect(),
    };
    let of = |ends: bool| {
        let some = left_out.iter().enumerate().filter(|(i, _)| is_end(points, *i) == ends);
        rms(some.map(|(_, left)| error_of(left)))
    };
    let candidate = CurveCandidate {
        kind,
        rmse_sg: fitted.as_ref().and_then(|fitted| rmse_sg(fitted, points)),
        left_out_inner_sg: of(false),
        left_out_end_sg: of(true),
        refused: refused.or_else(|| not_rising(fitted.as_ref()?, points)),
        fitted,
        chosen: false,
    };
    (candidate, left_out)
}

fn rmse_sg(fitted: &FittedCalibration, points: &[FitPoint]) -> Option<f64> {
    let free = points.len() as f64 - fitted.used;
    let miss = |p: &FitPoint| Some((p.density_kg_m3 - fitted.curve.at(p.tilt_deg)?.density_kg_m3) / WATER_20C_KG_M3);
    let squares: f64 = points.iter().filter_map(miss).map(|miss| miss * miss).sum();
    (free > 0.1).then(|| (squares / free).sqrt())
}

/// Why the curve does not rise through its working range: the baths' tilts and three degrees beyond.
fn not_rising(fitted: &FittedCalibration, points: &[FitPoint]) -> Option<String> {
    let low = points.iter().map(|p| p.tilt_deg).fold(f64::INFINITY, f64::min) - *MARGIN_DEG;
    let high = points.iter().map(|p| p.tilt_deg).fold(f64::NEG_INFINITY, f64::max) + *MARGIN_DEG;
    let (low, high) = (low.max(1.0), high.min(85.0));
    let steps = ((high - low) / 0.25).ceil().max(1.0) as u32;
    (0..=steps)
        .map(|i| low + (high - low) * f64::from(i) / f64::from(steps))
        .find(|&tilt| fitted.curve.at(tilt).is_none())
        .map(|tilt| format!("density does not rise with tilt at {tilt:.1} degrees, within the working range"))
}

/// The lightest and the heaviest bath; the baths stand by rising density.
fn is_end(points: &[FitPoint], index: usize) -> bool {
    let density = |point: Option<&FitPoint>| point.map(|p| p.density_kg_m3);
    let own = density(points.get(index));
    own == density(points.first()) || own == density(points.last())
}

fn leave_out(kind: CurveKind, points: &[FitPoint], index: usize, prior: &FloatPrior, level: f64) -> Option<LeftOut> {
    let own = points.get(index)?;
    let others: Vec<FitPoint> =
        points.iter().enumerate().filter(|(i, _)| *i != index).map(|(_, point)| point.clone()).collect();
    let without = fit_curve(kind, &others, prior, level).ok()?;
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
