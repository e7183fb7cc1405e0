//! What a probe's curve learns from a bath.

use nalgebra::{Matrix4, Vector4};

use crate::calibration::Calibration;
use crate::calibration::fit_data::FloatPrior;
use crate::liquid::WATER_20C_KG_M3;
use crate::season::WATER_SD_SG;

use super::design::DesignModel;

/// The model of a probe by its last calibration, or why there is none.
///
/// A bath at SG s has the information `g g'/v` on the coefficients of the curve, with g the derivatives of the density at the
/// tilt that the curve has there and v the variance of the bath about it: that of its density, and of the tilt by the slope,
/// each with the scale that the last residuals showed. What mass and diameter tell is information before any bath, as in
/// the fit. The plan is best where the curve is as last fitted (a locally optimal design; H. Chernoff, Ann. Math. Stat. 24
/// (1953) 586, from memory).
pub(super) fn model(
    calibration: &Calibration,
    prior: &FloatPrior,
    bath_sd_sg: f64,
    tilt_sd_deg: f64,
    grid: &[f64],
    range: &[f64],
) -> std::result::Result<DesignModel, String> {
    let curve = &calibration.fitted.curve;
    let point = |sg: f64| curve.tilt_deg(sg * WATER_20C_KG_M3).and_then(|tilt| curve.at(tilt));
    let rows: Vec<Option<Vector4<f64>>> = grid
        .iter()
        .map(|&sg| {
            let at = point(sg)?;
            let bath = if sg <= 1.0 { *WATER_SD_SG } else { bath_sd_sg } * WATER_20C_KG_M3;
            let sd = calibration.fitted.scale * bath.hypot(at.per_deg * tilt_sd_deg);
            Some(Vector4::from(at.gradient) / sd)
        })
        .collect();
    let wanted: Option<Vec<Vector4<f64>>> =
        range.iter().map(|&sg| point(sg).map(|at| Vector4::from(at.gradient) / WATER_20C_KG_M3)).collect();
    let Some(wanted) = wanted else {
        let beyond = range.iter().find(|&&sg| point(sg).is_none()).copied().unwrap_or(f64::NAN);
        return Err(format!("its curve has no tilt at SG {beyond:.3}, which the beers use"));
    };
    // Information on the coefficients before any bath; 1 in places that the curve does not use.
    let priors = calibration.kind.priors(prior).map_err(|why| why.to_string())?;
    let mut known = calibration.kind.precisions(&priors, curve.coefficients());
    known.iter_mut().skip(priors.len()).for_each(|unused| *unused = 1.0);
    Ok(scaled(DesignModel { rows, prior: Matrix4::from_diagonal(&Vector4::from(known)), range: wanted }))
}

/// The same model with each coefficient in units of what a bath tells of it, so that no matrix is badly scaled.
fn scaled(mut model: DesignModel) -> DesignModel {
    let largest = |i: usize| model.rows.iter().flatten().map(|row| row[i].abs()).fold(0.0, f64::max);
    let units = Vector4::from_fn(|i, _| if largest(i) > 0.0 { 1.0 / largest(i) } else { 1.0 });
    for row in model.rows.iter_mut().flatten().chain(&mut model.range) {
        row.component_mul_assign(&units);
    }
    let outer = units * units.transpose();
    model.prior.component_mul_assign(&outer);
    model
}
