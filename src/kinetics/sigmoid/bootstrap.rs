//! Parametric bootstrap of a fit on plain slices.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::fit::autocorrelation::Whitened;
use crate::fit::nonlinear::NonlinearSettings;
use crate::fit::robust::quantile_of;
use crate::{Error, Result};

use super::fit::{Points, SigmoidSettings};
use super::result::{SigmoidFit, SigmoidTrait};

/// Lower end, upper end and standard deviation of each trait over fits to data drawn from the fitted curve and its errors.
pub(super) fn percentiles(
    settings: &SigmoidSettings,
    fit: &SigmoidFit,
    points: &Points,
) -> Result<Vec<(f64, f64, f64)>> {
    let mut rng = ChaCha8Rng::seed_from_u64(settings.seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let values = fit.fit.values();
    let mut drawn: Vec<Vec<f64>> = vec![Vec::with_capacity(settings.repeats); SigmoidTrait::ALL.len()];
    for _ in 0..settings.repeats {
        let mut repeat = points.clone();
        let (mut state, mut before) = (normal(), f64::NEG_INFINITY);
        for (i, (x, y)) in points.x.iter().zip(repeat.y.iter_mut()).enumerate() {
            let error = match &fit.process {
                Some(process) => {
                    let kept = if before.is_finite() { process.phi.powf(x - before) } else { 0.0 };
                    state = kept * state + (1.0 - kept * kept).sqrt() * normal();
                    before = *x;
                    (1.0 - process.white_share).sqrt() * state + process.white_share.sqrt() * normal()
                }
                None => normal(),
            };
            *y = fit.value(*x) + fit.fit.sigma * points.sd(i) * error;
        }
        let problem = repeat.problem(&fit.kind)?;
        let parameters = settings.parameters(&repeat, &values);
        let solver = NonlinearSettings::default();
        let again = match &fit.process {
            Some(process) => solver.fit(&Whitened::new(&problem, process, &repeat.x)?, &parameters),
            None => solver.fit(&problem, &parameters),
        };
        if let Ok(again) = again
            && again.stop.is_converged()
        {
            for (values, which) in drawn.iter_mut().zip(SigmoidTrait::ALL) {
                values.push(which.at(fit.kind, &again.values()).0);
            }
        }
    }
    drawn.into_iter().map(|values| ends(values, settings)).collect()
}

fn ends(mut values: Vec<f64>, settings: &SigmoidSettings) -> Result<(f64, f64, f64)> {
    let n = values.len();
    if n < settings.repeats / 2 {
        let why = format!("{n} of {} repeats converged", settings.repeats);
        return Err(Error::not_estimable("a bootstrap", why));
    }
    values.sort_by(f64::total_cmp);
    let tail = 0.5 * (1.0 - settings.level);
    let mean = values.iter().sum::<f64>() / n as f64;
    let se = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt();
    match (quantile_of(&values, tail), quantile_of(&values, 1.0 - tail)) {
        (Some(lower), Some(upper)) => Ok((lower, upper, se)),
        _ => Err(Error::not_estimable("a bootstrap", "no repeat converged")),
    }
}
