//! From posteriors to quantiles: draws of whole curves, of which finish time, terminal gravity and progress are read off.

use nalgebra::DVector;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::error::{Error, Result};
use crate::fit::quantile::normal;
use crate::fit::robust::quantile_of;
use crate::kinetics::Tabulated;

use super::coordinates::{DIMS, curve};
use super::posterior::Posterior;
use super::quantiles::Quantiles;
use super::slowing::Slowing;
use super::stuck::{self, Leaving};
use super::tail::{STEEP, Tail};

/// Ways in which each drawn curve may come to rest: in a share of them the yeast leaves later.
const WAYS: usize = 20;
/// Places within a way, taken in turn, so that few curves fill the whole distribution of the tail.
const PLACES: usize = 8;

/// One way to come to rest.
#[derive(Debug, Clone, Copy)]
pub(super) struct ComingToRest {
    /// Hours from pitching.
    pub finish_h: f64,
    pub terminal_sg: f64,
    /// Probability that it is a stuck one.
    pub p_stuck: f64,
    /// How far above its terminal gravity it is at the moment, SG.
    pub left_sg: f64,
}

/// Draws of one batch.
#[derive(Debug, Clone, Default)]
pub(super) struct Draws {
    /// As many of each curve.
    pub rests: Vec<ComingToRest>,
    /// Share of the drop done at the moment, of each curve.
    pub progress: Vec<f64>,
}

/// Probabilities of a batch at a moment.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Chances {
    /// At rest.
    pub finished: f64,
    /// At rest and stuck.
    pub stuck_now: f64,
    /// Stuck at rest, now or later.
    pub stuck: f64,
}

impl Draws {
    /// Probabilities at an hour from pitching.
    pub fn chances(&self, now_h: f64) -> Chances {
        let each = 1.0 / self.rests.len().max(1) as f64;
        let mut all = Chances::default();
        for rest in &self.rests {
            let by_now = if rest.finish_h <= now_h { each } else { 0.0 };
            all.finished += by_now;
            all.stuck_now += by_now * rest.p_stuck;
            all.stuck += each * rest.p_stuck;
        }
        all
    }
}

/// A stream of random numbers that depends on the seed and the batch alone, so that forecasts of a batch as of two moments differ
/// by what came between them.
pub(super) fn stream(seed: u64, batch: &str) -> ChaCha8Rng {
    // FNV-1a (Fowler, Noll and Vo) over the name.
    let hash = batch.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    ChaCha8Rng::seed_from_u64(hash ^ seed)
}

/// Standard normal quantiles of equally likely places.
pub(super) fn even_normals() -> Result<Vec<f64>> {
    let n = WAYS * PLACES;
    (0..n).map(|i| normal((i as f64 + 0.5) / n as f64)).collect()
}

/// So many standard normal vectors of curves: pairs at opposite sides of the mean, and each coordinate evenly through its
/// distribution over the pairs (Latin hypercube: M. D. McKay, R. J. Beckman and W. J. Conover, Technometrics 21 (1979) 239).
fn spread_normals(n: usize, rng: &mut ChaCha8Rng) -> Result<Vec<DVector<f64>>> {
    let pairs = n.div_ceil(2);
    let mut even = (0..pairs).map(|i| normal((i as f64 + 0.5) / pairs as f64)).collect::<Result<Vec<f64>>>()?;
    let mut vectors = vec![DVector::zeros(1 + DIMS); pairs];
    for k in 0..1 + DIMS {
        even.shuffle(rng);
        vectors.iter_mut().zip(&even).for_each(|(vector, z)| vector[k] = *z);
    }
    Ok(vectors.into_iter().flat_map(|vector| [vector.clone(), -vector]).take(n).collect())
}

/// One alternative of the mixture: a posterior, and when the yeast left, if it has.
#[derive(Debug)]
pub(super) struct Alternative {
    pub weight: f64,
    pub posterior: Posterior,
    pub left: Option<Leaving>,
}

/// What the draws of a batch come to rest by.
pub(super) struct RestRules<'a> {
    pub ln_pace: f64,
    pub now_h: f64,
    pub tolerance_sg: f64,
    pub stuck_above_sg: f64,
    pub strain: &'a Tail,
    /// What the last gravities show of the fall; none without gravities before the last.
    pub slowing: Option<Slowing>,
    /// The limit of the wort with its standard deviation, for an original gravity.
    pub limit: &'a (dyn Fn(f64) -> (f64, f64) + Sync),
}

impl RestRules<'_> {
    /// Draws from a mixture of posteriors with weights that add up to one.
    ///
    /// A batch whose yeast has left, or will, comes to rest where its clock runs down. The others come to rest a time after the
    /// middle of their drop, as the strain does, but not before the moment while their curve has more than twice the
    /// tolerance to go. Curves are spread by [`spread_normals`], the time to rest goes evenly through its
    /// distribution by [`even_normals`], `z`: both take chance out of the quantiles.
    pub fn draw(&self, mixture: &[Alternative], z: &[f64], n: usize, rng: &mut ChaCha8Rng) -> Result<Draws> {
        let mut draws = Draws::default();
        let mut weight = 0.0;
        for alternative in mixture {
            weight += alternative.weight;
            let mine = ((weight * n as f64).round() as usize).saturating_sub(draws.progress.len());
            if mine == 0 {
                continue;
            }
            let factor = alternative.posterior.covariance.clone().cholesky();
            let factor = factor.ok_or_else(|| Error::numeric("a forecast", "its gravities fit no curve"))?.l();
            for noise in spread_normals(mine, rng)? {
                let at: DVector<f64> = &alternative.posterior.mean + &factor * &noise;
                let coordinates = std::array::from_fn(|k| at[k + 1]);
                let curve = curve(at[0].clamp(0.99, 1.25), &coordinates, self.ln_pace).tabulate();
                let place = rng.random_range(0..PLACES);
                self.rests(&curve, alternative.left, z.iter().skip(place).step_by(PLACES), rng.random(), &mut draws);
            }
        }
        Ok(draws)
    }

    /// The ways in which one curve comes to rest.
    fn rests<'z>(
        &self,
        curve: &Tabulated,
        left: Option<Leaving>,
        tail: impl Iterator<Item = &'z f64>,
        leaves: f64,
        draws: &mut Draws,
    ) {
        let of = curve.curve();
        let share = self.strain.stuck_share;
        let stuck = |leaving: Leaving| {
            let (finish_h, terminal_sg) = leaving.rest(curve, self.tolerance_sg);
            let p_stuck = f64::from(u8::from(terminal_sg - of.terminal_sg > self.stuck_above_sg));
            let left_sg = (curve.sg(leaving.clock(self.now_h).0) - terminal_sg).max(0.0);
            ComingToRest { finish_h: self.strain.within(finish_h), terminal_sg, p_stuck, left_sg }
        };
        if let Some(leaving) = left {
            let rest = stuck(leaving);
            draws.rests.extend(std::iter::repeat_n(rest, WAYS));
            draws.progress.push(1.0 - rest.left_sg / (of.original_sg - rest.terminal_sg));
            return;
        }
        let [early_h, mid_h, late_h] = [STEEP.0, 0.5, STEEP.1].map(|share| curve.time_of_progress_h(share));
        let left_sg = curve.sg(self.now_h) - of.terminal_sg;
        let runs = left_sg > 2.0 * self.tolerance_sg;
        let p_stuck = stuck::probability(of.terminal_sg, (self.limit)(of.original_sg), self.stuck_above_sg, share);
        let own_h = if runs { curve.finish_h(self.tolerance_sg).max(self.now_h) } else { 0.0 };
        let way = |(i, z): (usize, &f64)| {
            let of_strain = self.strain.finish_h(mid_h, late_h - early_h, *z);
            let finish_h = match runs && of_strain < self.now_h {
                true => self.strain.not_before(own_h, self.now_h, (i as f64 + 0.5) / WAYS as f64),
                false => self.strain.within(of_strain),
            };
            ComingToRest { finish_h, terminal_sg: of.terminal_sg, p_stuck, left_sg }
        };
        let first = draws.rests.len();
        let ways: Vec<ComingToRest> = tail.enumerate().map(way).collect();
        match self.slowing {
            Some(slowing) => {
                let drop_sg = of.original_sg - of.terminal_sg;
                let weight = |rest: &ComingToRest| slowing.weight(drop_sg, mid_h, rest.finish_h, self.tolerance_sg);
                draws.rests.extend(resampled(&ways, weight));
            }
            None => draws.rests.extend(ways),
        }
        // So many ways in the mean, which lie apart.
        let ways = (share * WAYS as f64 + leaves).floor();
        for k in 0..ways as usize {
            let place = (leaves * WAYS as f64 + k as f64 / ways).fract();
            if let Some(leaving) = Leaving::ahead(curve, self.now_h, place)
                && let Some(rest) = draws.rests.get_mut(first + (place * WAYS as f64) as usize)
            {
                *rest = stuck(leaving);
            }
        }
        draws.progress.push(curve.progress(self.now_h));
    }
}

/// As many of the ways, each as often as its weight says, evenly.
fn resampled(ways: &[ComingToRest], weight: impl Fn(&ComingToRest) -> f64) -> Vec<ComingToRest> {
    let weights: Vec<f64> = ways.iter().map(weight).collect();
    let step = weights.iter().sum::<f64>() / ways.len().max(1) as f64;
    let (mut taken, mut up_to) = (Vec::with_capacity(ways.len()), 0.0);
    for (way, weight) in ways.iter().zip(weights) {
        up_to += weight;
        while (taken.len() as f64 + 0.5) * step < up_to {
            taken.push(*way);
        }
    }
    taken.extend(ways.last().copied().filter(|_| taken.len() < ways.len()));
    taken
}

/// Values in rising order.
pub(super) fn rising(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted
}

/// Share of rising values up to one.
pub(super) fn share_by(rising: &[f64], most: f64) -> f64 {
    rising.partition_point(|value| *value <= most) as f64 / rising.len().max(1) as f64
}

/// The five quantiles of rising values, by linear interpolation (the definition of Gumbel, `(n - 1) p`).
pub(super) fn quantiles(rising: &[f64]) -> Quantiles<f64> {
    let at = |share: f64| quantile_of(rising, share).unwrap_or(f64::NAN);
    Quantiles { p05: at(0.05), p25: at(0.25), p50: at(0.5), p75: at(0.75), p95: at(0.95) }
}
