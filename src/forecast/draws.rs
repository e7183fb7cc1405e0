//! From posteriors to quantiles: draws of whole curves, of which finish time, terminal gravity and progress are read off.

use nalgebra::DVector;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::error::{Error, Result};
use crate::fit::robust::quantile_of;

use super::coordinates::{DIMS, curve};
use super::posterior::Posterior;
use super::result::Quantiles;
use super::tail::Tail;

/// Draws of one batch.
#[derive(Debug, Clone, Default)]
pub(super) struct Draws {
    pub finish_h: Vec<f64>,
    pub terminal_sg: Vec<f64>,
    pub original_sg: Vec<f64>,
    /// Share of the drop done at the moment.
    pub progress: Vec<f64>,
}

/// A stream of random numbers that depends on the seed, the batch and the moment, and on nothing else.
pub(super) fn stream(seed: u64, batch: &str, micros: i64) -> ChaCha8Rng {
    // FNV-1a (Fowler, Noll and Vo) over the name and the moment.
    let bytes = batch.bytes().chain(micros.to_le_bytes());
    let hash = bytes.fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    ChaCha8Rng::seed_from_u64(hash ^ seed)
}

/// Draws from a mixture of posteriors with weights that add up to one.
///
/// The first posterior is that of a batch that does not stick. Its draws come to rest a drawn time after the middle of their
/// drop, as the strain does, but not before `now_h` while their curve has more than twice the tolerance to go. The others come to
/// rest where their curve does.
pub(super) fn draw(
    mixture: &[(f64, Posterior)],
    n: usize,
    ln_pace: f64,
    now_h: f64,
    tolerance_sg: f64,
    strain: Tail,
    rng: &mut ChaCha8Rng,
) -> Result<Draws> {
    let mut draws = Draws::default();
    let mut left = n;
    for (i, (weight, posterior)) in mixture.iter().enumerate() {
        // Whole numbers of draws by weight, the rest decided by chance.
        let exact = weight * n as f64;
        let mut mine = exact.floor() as usize + usize::from(rng.random::<f64>() < exact.fract());
        mine = if i + 1 == mixture.len() { left } else { mine.min(left) };
        left -= mine;
        if mine == 0 {
            continue;
        }
        let factor = posterior.covariance.clone().cholesky();
        let factor = factor.ok_or_else(|| Error::numeric("a forecast", "the posterior's covariance is singular"))?.l();
        for _ in 0..mine {
            let noise = DVector::from_fn(1 + DIMS, |_, _| StandardNormal.sample(rng));
            let at: DVector<f64> = &posterior.mean + &factor * noise;
            let coordinates = std::array::from_fn(|k| at[k + 1]);
            let curve = curve(at[0].clamp(0.99, 1.25), &coordinates, ln_pace);
            let table = curve.tabulate();
            let finish = if i == 0 {
                let of_strain = strain.finish_h(table.time_of_progress_h(0.5), rng);
                let runs = of_strain < now_h && table.sg(now_h) - curve.terminal_sg > 2.0 * tolerance_sg;
                if runs { table.finish_h(tolerance_sg).max(now_h) } else { of_strain }
            } else {
                table.finish_h(tolerance_sg)
            };
            draws.finish_h.push(strain.within(finish));
            draws.terminal_sg.push(curve.terminal_sg);
            draws.original_sg.push(curve.original_sg);
            draws.progress.push(table.progress(now_h));
        }
    }
    Ok(draws)
}

/// The five quantiles, by linear interpolation between order statistics (the definition of Gumbel, `(n - 1) p`).
pub(super) fn quantiles(values: &[f64]) -> Quantiles<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let at = |share: f64| quantile_of(&sorted, share).unwrap_or(f64::NAN);
    Quantiles { p05: at(0.05), p25: at(0.25), p50: at(0.5), p75: at(0.75), p95: at(0.95) }
}
