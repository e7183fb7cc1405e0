//! Where a further unit's true value lies.

use super::between::{profile, weigh};
use super::maximum_modulus::quick_normal_upper_tail;
use crate::Result;
use crate::fit::quantile::student_t_two_sided;
use crate::fit::{Estimate, root};

/// Points of the confidence distribution of tau.
const POINTS: u32 = 60;

/// The interval of a further unit about `value`: a mixture of normals, one for each of equally likely tau. Given tau the
/// mean is normal about the weighted mean, and the unit about it with tau.
pub(super) fn new_unit(units: &[(f64, f64)], level: f64, value: f64) -> Result<Estimate> {
    let mut parts = Vec::with_capacity(POINTS as usize);
    for i in 0..POINTS {
        let tau2 = profile(units, (f64::from(i) + 0.5) / f64::from(POINTS))?;
        let sums = weigh(units, tau2);
        parts.push((sums.mean, (tau2 + 1.0 / sums.total).sqrt()));
    }
    let above = |x: f64| {
        parts.iter().map(|(mean, sd)| quick_normal_upper_tail((x - mean) / sd)).sum::<f64>() / f64::from(POINTS)
    };
    let widest = parts.iter().map(|(_, sd)| *sd).fold(0.0, f64::max);
    let reach = parts.iter().map(|(mean, _)| (mean - value).abs()).fold(10.0 * widest, f64::max);
    let tolerance = 1e-9 * parts.iter().map(|(_, sd)| *sd).fold(widest, f64::min);
    let end = |share: f64| {
        root::brent("the interval of a further unit", |x| above(x) - share, value - reach, value + reach, tolerance)
    };
    let (lower, upper) = (end(0.5 + 0.5 * level)?, end(0.5 - 0.5 * level)?);
    let factor = student_t_two_sided(level, units.len() as f64 - 1.0)?;
    let se = 0.5 * (upper - lower) / factor;
    Ok(Estimate { value, se, lower, upper, level, method: "new unit, averaged over the confidence of tau".into() })
}
