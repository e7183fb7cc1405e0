//! The answers averaged over what the variances may be.

use crate::error::{Error, Result};
use crate::fit::Estimate;

use super::equations::{BlockPrediction, DOING, MixedEquations, PredictionTarget};
use super::fleet_model::FleetModel;
use super::mixture::NormalMixture;
use super::variances::{Variances, ln_prior};

/// Standard deviations of the random walk after 30 days, SG, that are tried.
const WALK_SD: [f64; 12] = [0.0, 0.0002, 0.0004, 0.0007, 0.0011, 0.0016, 0.0024, 0.0036, 0.0055, 0.0085, 0.013, 0.02];
/// Standard deviations of a pair beyond all known errors, SG, that are tried.
const PAIR_SD: [f64; 9] = [0.0, 0.0003, 0.0006, 0.001, 0.0016, 0.0025, 0.004, 0.0065, 0.011];
/// Grid points whose weight is this many units of log-likelihood below the top end a row: one in 160 000.
const NEGLIGIBLE: f64 = 12.0;
/// Those below this are left out of the averages: one in 3000.
const LEFT_OUT: f64 = 8.0;
/// The method as it stands in the tables.
pub(in crate::drift) const METHOD: &str = "GLS with random walk, averaged over its likelihood";

/// The model solved at every pair of variances that matters, with weights that sum to 1.
pub(in crate::drift) struct Averaged<'m> {
    pub model: &'m FleetModel,
    pub solved: Vec<(f64, Variances, MixedEquations<'m>)>,
}

impl<'m> Averaged<'m> {
    /// Solves the model on a grid of both SDs. Weight of a grid point: the restricted likelihood times half-Cauchy priors
    /// of scale 0.001 SG (A. Gelman, Bayesian Anal. 1 (2006) 515) times the width of its cell. So the doubt about the
    /// variances is in every interval, and a variance near zero is no special case.
    ///
    /// # Errors
    /// [`Error::Numeric`] when no grid point can be solved.
    pub fn over(model: &'m FleetModel) -> Result<Self> {
        let mut solved: Vec<(f64, Variances, MixedEquations<'m>)> = Vec::new();
        let mut failure = None;
        let mut top = f64::NEG_INFINITY;
        let mut last_row = f64::NEG_INFINITY;
        for (i, &walk_sd) in WALK_SD.iter().enumerate() {
            let (mut row, mut last) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
            for (j, &pair_sd) in PAIR_SD.iter().enumerate() {
                let variances = Variances { walk_sd, pair_sd };
                match model.solved(variances) {
                    Ok(at) if at.ln_likelihood.is_finite() => {
                        let cell = (width(&WALK_SD, i) * width(&PAIR_SD, j)).ln();
                        let ln = at.ln_likelihood + ln_prior(&variances) + cell;
                        (row, top) = (row.max(ln), top.max(ln));
                        solved.push((ln, variances, at));
                        // Past its top the likelihood only falls.
                        if ln < last && ln < top - NEGLIGIBLE {
                            break;
                        }
                        last = ln;
                    }
                    Ok(_) => {}
                    Err(why) => failure = Some(why),
                }
            }
            solved.retain(|(ln, ..)| *ln > top - LEFT_OUT);
            if row < last_row && row < top - NEGLIGIBLE {
                break;
            }
            last_row = row;
        }
        if !top.is_finite() {
            return Err(failure.unwrap_or_else(|| Error::numeric(DOING, "no likelihood")));
        }
        let total: f64 = solved.iter().map(|(ln, ..)| (ln - top).exp()).sum();
        for (weight, ..) in &mut solved {
            *weight = (*weight - top).exp() / total;
        }
        Ok(Self { model, solved })
    }

    /// Another model of the same pairs on the heaviest points of the same grid, with the same weights: predictions do not
    /// move when points that make up a hundredth are left out.
    ///
    /// # Errors
    /// [`Error::Numeric`] when it cannot be solved there.
    pub fn again<'n>(&self, model: &'n FleetModel) -> Result<Averaged<'n>> {
        let mut points: Vec<(f64, Variances)> = self.solved.iter().map(|(weight, at, _)| (*weight, *at)).collect();
        points.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut sum = 0.0;
        points.retain(|(weight, _)| {
            let keep = sum < 0.99;
            sum += weight * f64::from(u8::from(keep));
            keep
        });
        let solve = |(weight, at): (f64, Variances)| Ok((weight / sum, at, model.solved(at)?));
        Ok(Averaged { model, solved: points.into_iter().map(solve).collect::<Result<_>>()? })
    }

    /// A target of block `p` over the grid; `of` makes it for given variances.
    pub fn mixture(&self, p: usize, of: impl Fn(Variances) -> PredictionTarget) -> NormalMixture {
        let mean = self.model.slope_mean;
        let parts = self.solved.iter().filter_map(|(weight, variances, system)| {
            let target = of(*variances);
            let (value, variance) = system.predict(p, &target)?;
            Some((*weight, value + mean * target.load, variance.sqrt()))
        });
        NormalMixture(parts.collect())
    }

    /// The slope of probe `p` through its observed span, with or without sudden steps.
    ///
    /// # Errors
    /// [`Error::Numeric`] when no interval can be found.
    pub fn slope(&self, p: usize, steps: bool, level: f64) -> Result<Estimate> {
        let part = self.model.probes.get(p).ok_or_else(|| Error::not_estimable("drift", "no such probe"))?;
        self.mixture(p, |variances| part.slope_target(variances, steps)).estimate(level, METHOD)
    }

    /// Mean over the grid, and over pairs of different probes among `probes`, of the covariance of the errors of their
    /// slopes.
    pub fn shared_variance(&self, probes: &[usize]) -> f64 {
        let pairs = (probes.len() * probes.len().saturating_sub(1)) as f64;
        let of = |variances: Variances, system: &MixedEquations| -> f64 {
            let sought: Vec<BlockPrediction> = probes
                .iter()
                .filter_map(|&p| system.seek(p, &self.model.probes.get(p)?.slope_target(variances, true)))
                .collect();
            let mut sum = 0.0;
            for (i, a) in sought.iter().enumerate() {
                for b in sought.iter().skip(i + 1) {
                    sum += 2.0 * system.covariance(a, b);
                }
            }
            sum / pairs
        };
        self.solved.iter().map(|(weight, variances, system)| weight * of(*variances, system)).sum()
    }

    /// An effect that pairs share.
    ///
    /// # Errors
    /// [`Error::Numeric`] when there is no such effect.
    pub fn effect(&self, j: usize, level: f64, method: &'static str) -> Result<Estimate> {
        let parts = self
            .solved
            .iter()
            .filter_map(|(weight, _, s)| Some((*weight, *s.effects.get(j)?, s.inverse().get((j, j)).copied()?.sqrt())));
        NormalMixture(parts.collect()).estimate(level, method)
    }

    /// Logarithm of the likelihood of another model of the same pairs, averaged over the variances, against this one's.
    ///
    /// # Errors
    /// [`Error::Numeric`] when it cannot be solved.
    pub fn ln_evidence(&self, other: &FleetModel) -> Result<f64> {
        let mut sum = 0.0;
        for (weight, variances, system) in &self.solved {
            let ln = other.solved(*variances)?.ln_likelihood - system.ln_likelihood;
            sum += weight * ln.clamp(-600.0, 600.0).exp();
        }
        Ok(sum.ln())
    }

    /// Mean and SD over the grid of one of the two standard deviations.
    pub fn variance_sd(&self, of: fn(&Variances) -> f64) -> (f64, f64) {
        let mean = self.mean(of);
        let square = self.mean(|v| (of(v) - mean).powi(2));
        (mean, square.sqrt())
    }

    fn mean(&self, of: impl Fn(&Variances) -> f64) -> f64 {
        self.solved.iter().map(|(weight, variances, _)| weight * of(variances)).sum()
    }
}

/// Width of the cell of grid value `i`: to the middles of its neighbours, at an end to the value itself.
fn width(grid: &[f64], i: usize) -> f64 {
    let at = |i: usize| grid.get(i).copied();
    let own = at(i).unwrap_or_default();
    let low = i.checked_sub(1).and_then(at).map_or(own, |before| 0.5 * (before + own));
    let high = at(i + 1).map_or(own, |after| 0.5 * (own + after));
    high - low
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cells_of_a_grid_fill_it() {
        let total: f64 = (0..WALK_SD.len()).map(|i| width(&WALK_SD, i)).sum();
        assert!((total - 0.02).abs() < 1e-12);
    }
}
