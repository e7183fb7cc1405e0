//! The answers averaged over what the variances may be.

use crate::error::{Error, Result};
use crate::fit::{Estimate, quantile, root};

use super::blocks::{Solved, solve};
use super::model::{Model, Variances};

/// Standard deviations of the random walk after 30 days, SG, that are tried.
const WALK_SD: [f64; 12] = [0.0, 0.0002, 0.0004, 0.0007, 0.0011, 0.0016, 0.0024, 0.0036, 0.0055, 0.0085, 0.013, 0.02];
/// Standard deviations of a pair beyond all known errors, SG, that are tried.
const PAIR_SD: [f64; 9] = [0.0, 0.0003, 0.0006, 0.001, 0.0016, 0.0025, 0.004, 0.0065, 0.011];
/// Scale of the half-Cauchy priors of both, SG.
const PRIOR_SCALE: f64 = 0.001;
/// Grid points whose weight is this many units of log-likelihood below the top are left out: one in 160 000.
const NEGLIGIBLE: f64 = 12.0;
/// The method as it stands in the tables.
pub(super) const METHOD: &str = "GLS with random walk, averaged over its likelihood";

/// The model solved at every pair of variances, with weights.
pub(super) struct Averaged {
    solved: Vec<(f64, Variances, Solved)>,
}

impl Averaged {
    /// Solves the model on a grid of both SDs. Weight of a grid point: the restricted likelihood times half-Cauchy priors
    /// of scale 0.001 SG (A. Gelman, Bayesian Anal. 1 (2006) 515) times the width of its cell. So the doubt about the
    /// variances is in every interval, and a variance near zero is no special case.
    ///
    /// # Errors
    /// [`Error::Numeric`] when no grid point can be solved.
    pub fn over(model: &Model) -> Result<Self> {
        let mut solved: Vec<(f64, Variances, Solved)> = Vec::new();
        let mut failure = None;
        let mut top = f64::NEG_INFINITY;
        let mut last_row = f64::NEG_INFINITY;
        for (i, &walk_sd) in WALK_SD.iter().enumerate() {
            let (mut row, mut last) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
            for (j, &pair_sd) in PAIR_SD.iter().enumerate() {
                let variances = Variances { walk_sd, pair_sd };
                match solve(&model.blocks(variances), &model.prior_sd, model.beer) {
                    Ok(at) if at.ln_likelihood.is_finite() => {
                        let prior = |sd: f64| -(1.0 + (sd / PRIOR_SCALE).powi(2)).ln();
                        let cell = (width(&WALK_SD, i) * width(&PAIR_SD, j)).ln();
                        let ln = at.ln_likelihood + prior(walk_sd) + prior(pair_sd) + cell;
                        solved.push((ln, variances, at));
                        (row, top) = (row.max(ln), top.max(ln));
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
            if row < last_row && row < top - NEGLIGIBLE {
                break;
            }
            last_row = row;
        }
        if !top.is_finite() {
            return Err(failure.unwrap_or_else(|| Error::numeric("the drift of all probes together", "no likelihood")));
        }
        let total: f64 = solved.iter().map(|(ln, ..)| (ln - top).exp()).sum();
        for (weight, ..) in &mut solved {
            *weight = (*weight - top).exp() / total;
        }
        Ok(Self { solved })
    }

    /// The target of block `p`.
    ///
    /// # Errors
    /// [`Error::Numeric`] when no interval can be found.
    pub fn target(&self, p: usize, level: f64) -> Result<Estimate> {
        let parts: Vec<(f64, f64, f64)> = self
            .solved
            .iter()
            .filter_map(|(weight, _, s)| Some((*weight, *s.targets.get(p)?, s.covariance.get((p, p))?.sqrt())))
            .collect();
        mixture(&parts, level)
    }

    /// Mean over the grid of the covariance of the errors of two targets.
    pub fn covariance(&self, p: usize, q: usize) -> f64 {
        self.mean(|_, s| s.covariance.get((p, q)).copied().unwrap_or_default())
    }

    /// The effect that the model watches.
    ///
    /// # Errors
    /// [`Error::Numeric`] when it watches none.
    pub fn watched(&self, level: f64) -> Result<Estimate> {
        let parts: Vec<(f64, f64, f64)> = self
            .solved
            .iter()
            .filter_map(|(weight, _, s)| s.watched.map(|(value, variance)| (*weight, value, variance.sqrt())))
            .collect();
        mixture(&parts, level)
    }

    /// Mean and SD over the grid of one of the two standard deviations.
    pub fn variance_sd(&self, of: fn(&Variances) -> f64) -> (f64, f64) {
        let mean = self.mean(|v, _| of(v));
        let square = self.mean(|v, _| (of(v) - mean).powi(2));
        (mean, square.sqrt())
    }

    fn mean(&self, of: impl Fn(&Variances, &Solved) -> f64) -> f64 {
        self.solved.iter().map(|(weight, variances, solved)| weight * of(variances, solved)).sum()
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

/// Mean, standard deviation and central interval of a mixture of normals (weight, mean, SD).
fn mixture(parts: &[(f64, f64, f64)], level: f64) -> Result<Estimate> {
    let mean: f64 = parts.iter().map(|(w, m, _)| w * m).sum();
    let variance: f64 = parts.iter().map(|(w, m, s)| w * (s * s + (m - mean).powi(2))).sum();
    let se = variance.sqrt();
    let doing = "the interval of a mixture";
    if !(se > 0.0 && se.is_finite()) {
        return Err(Error::numeric(doing, "its standard deviation is not a positive number"));
    }
    let widest = parts.iter().map(|(_, m, s)| (m - mean).abs() + 10.0 * s).fold(10.0 * se, f64::max);
    let quantile_at = |p: f64| {
        let above = |x: f64| {
            parts.iter().map(|(w, m, s)| w * quantile::normal_upper_tail((x - m) / s.max(1e-300))).sum::<f64>()
                - (1.0 - p)
        };
        root::brent(doing, above, mean - widest, mean + widest, 1e-6 * se)
    };
    let tail = 0.5 * (1.0 - level);
    Ok(Estimate {
        value: mean,
        se,
        lower: quantile_at(tail)?,
        upper: quantile_at(1.0 - tail)?,
        level,
        method: METHOD.into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_of_one_is_that_normal() {
        let found = mixture(&[(1.0, 2.0, 0.5)], 0.9).unwrap();
        assert!((found.upper - (2.0 + 1.644_853_627 * 0.5)).abs() < 1e-5, "{found:?}");
        assert!((found.lower + found.upper - 4.0).abs() < 1e-6);
    }

    #[test]
    fn a_wide_part_widens_the_interval() {
        let found = mixture(&[(0.5, 0.0, 1.0), (0.5, 0.0, 3.0)], 0.9).unwrap();
        assert!(found.upper > 3.0 && found.upper < 4.9, "{found:?}");
        assert!((found.se - 5f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn the_cells_of_a_grid_fill_it() {
        let total: f64 = (0..WALK_SD.len()).map(|i| width(&WALK_SD, i)).sum();
        assert!((total - 0.02).abs() < 1e-12);
    }
}
