//! The model of one batch with the numbers that its own readings give it, and what a jump at each moment would explain.

use super::bins::{BinMedian, Jolt, JoltTarget, WatchedBatch, middle};
use super::filter::{BinStep, FilterNode, Filtered, Jump, filter, offset, wander};

/// A lively fermentation, SG per hour.
const LIVELY_SG_PER_H: f64 = 0.015 / 24.0;
/// Numbers that are tried, by what they are.
const TRIED: [&[f64]; 4] = [&[0.5, 1.0, 2.0, 4.0], &[1.5, 3.0, 6.0], &[0.7, 1.5, 3.0, 6.0], &[0.05, 0.1, 0.2, 0.4]];
/// Wandering of the slope of a beer at rest, SG/h in the root of an hour.
const REST_ROUGH: f64 = 2e-6;
/// Wandering of an offset, SG in the root of an hour, at rest and in a lively fermentation (foam that builds and dries).
const OFFSET_WALK: f64 = 1.5e-5;
const FOAM_WALK: f64 = 1.0e-4;
/// A change of temperature this fast makes a probe wander twice as far in variance, K per hour.
const WARMING_K_PER_H: f64 = 0.5;
/// Hours on each side from which the rate of fall is taken.
const RATE_H: f64 = 12.0;
/// Hours over which the local size of the noise is taken, each way.
const SCALE_H: f64 = 36.0;
/// The local size of the noise stays within these of that of the whole batch.
const SCALE_RANGE: (f64, f64) = (0.9, 3.0);
/// Bins on each side of a jump in which something may have held the probe and let it go.
const HELD_BINS: usize = 4;
/// Innovations beyond this many SDs say no more than one that is just so far off.
const BOUND: f64 = 3.0;
/// Median of the size of a standard normal number.
const MEDIAN_SIZE: f64 = 0.674_490;
/// Mean of the square of a standard normal number that is so bounded.
const BOUNDED_SQUARE: f64 = 0.994_7;

/// What the readings of a batch tell about its noise.
#[derive(Debug, Clone, Copy)]
struct Numbers([f64; 4]);

impl Numbers {
    const FIRST: Self = Self([1.0, 3.0, 1.5, 0.1]);

    /// How far a probe wanders at rest, against the noise of one median.
    fn wander(&self) -> f64 {
        self.0[0]
    }

    /// Hours in which a wander is forgotten to a part in e.
    fn memory_h(&self) -> f64 {
        self.0[1]
    }

    /// How far bubbles make it wander in a lively fermentation, against that at rest.
    fn bubbles(&self) -> f64 {
        self.0[2]
    }

    /// How fast the rate of fermentation may change: a share of it in the root of an hour.
    fn rough(&self) -> f64 {
        self.0[3]
    }
}

/// A batch ready to be searched.
#[derive(Debug, Clone)]
pub(super) struct BatchModel {
    pub probes: usize,
    /// Hours from pitching at which each move ends: the middle of its bin.
    pub ends: Vec<f64>,
    nodes: Vec<FilterNode>,
    filtered: Filtered,
    /// Informations by move and state.
    informations: Vec<Vec<f64>>,
}

/// A jump that is taken for real.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AllowedJump {
    /// Number of the move.
    pub at: usize,
    pub probe: usize,
    /// How far it may go, SD, SG.
    pub sd: f64,
}

impl BatchModel {
    /// The model of a batch; none with fewer than three bins.
    pub fn new(watched: &WatchedBatch) -> Option<Self> {
        let rates = rates(watched);
        let tried =
            |numbers: &Numbers| criterion(&filter(&nodes(watched, &rates, numbers, &|_| 1.0), watched.probes.len()));
        let mut best = Numbers::FIRST;
        let mut least = tried(&best);
        for (place, values) in TRIED.iter().enumerate() {
            for value in values.iter() {
                let mut numbers = best;
                numbers.0[place] = *value;
                let found = tried(&numbers);
                if found.0 < least.0 {
                    (best, least) = (numbers, found);
                }
            }
        }
        let first = filter(&nodes(watched, &rates, &best, &|_| 1.0), watched.probes.len());
        let local = local_scale(watched, &first.innovations, least.1);
        let nodes = nodes(watched, &rates, &best, &|i| local.get(i).copied().unwrap_or(1.0));
        let ends = ends(watched);
        (ends.len() > 1).then(|| Self::of(nodes, watched.probes.len(), ends))
    }

    fn of(nodes: Vec<FilterNode>, probes: usize, ends: Vec<f64>) -> Self {
        let filtered = filter(&nodes, probes);
        let informations = filtered.informations(&nodes, probes);
        Self { probes, ends, nodes, filtered, informations }
    }

    /// The model with jumps that are allowed for.
    pub fn with(&self, taken: &[AllowedJump]) -> Self {
        let mut nodes = self.nodes.clone();
        let mut moves: Vec<&mut BinStep> = nodes.iter_mut().filter_map(|node| node.before.as_mut()).collect();
        for jump in taken {
            if let Some(step) = moves.get_mut(jump.at) {
                step.jolts.push((offset(jump.probe), jump.sd.powi(2)));
            }
        }
        Self::of(nodes, self.probes, self.ends.clone())
    }

    /// The model in which the probe may have been held for hours around a move by something that lets go again: foam, a wall.
    pub fn loosened(&self, jump: AllowedJump) -> Self {
        let mut nodes = self.nodes.clone();
        let (mut number, mut shown) = (0, None);
        for node in &mut nodes {
            if node.probe == jump.probe {
                shown = Some(node.wander);
            }
            let Some(step) = &mut node.before else { continue };
            if (jump.at.saturating_sub(HELD_BINS)..=jump.at + HELD_BINS).contains(&number) {
                let unit = jump.sd / shown.unwrap_or(node.wander).max(1e-9);
                step.jolts.push((wander(jump.probe), unit * unit));
            }
            number += 1;
        }
        Self::of(nodes, self.probes, self.ends.clone())
    }

    /// What a jump of a probe at a move would explain.
    pub fn jump_at(&self, at: usize, probe: usize) -> Jump {
        let mut found = Jump::default();
        self.jumps(self.innovations(), |number, _, jumps| {
            if number == at {
                found = jumps.nth(probe).unwrap_or_default();
            }
        });
        found
    }

    /// The model's own standardised innovations.
    pub fn innovations(&self) -> &[f64] {
        &self.filtered.innovations
    }

    /// What jumps would explain of these innovations: `each` is given the number of the move, the jump of the beer, and those of
    /// the probes.
    pub fn jumps(&self, innovations: &[f64], mut each: impl FnMut(usize, Jump, &mut dyn Iterator<Item = Jump>)) {
        self.filtered.scores(&self.nodes, self.probes, innovations, |i, scores| {
            let Some(informations) = self.informations.get(i) else { return };
            let jump = |state: usize| Jump {
                score: scores.get(state).copied().unwrap_or_default(),
                information: informations.get(state).copied().unwrap_or_default(),
            };
            each(i, jump(0), &mut (0..self.probes).map(|k| jump(offset(k))));
        });
    }
}

/// Middles of the bins, hours from pitching, without the first.
fn ends(watched: &WatchedBatch) -> Vec<f64> {
    let middle = |median: &BinMedian| (median.bin as f64 + 0.5) * watched.bin_h;
    let mut all: Vec<f64> = watched.medians.iter().map(middle).collect();
    all.dedup();
    all.into_iter().skip(1).collect()
}

/// Nodes of all medians; `scale` is the local factor on all SDs of noise.
fn nodes(watched: &WatchedBatch, rates: &[f64], numbers: &Numbers, scale: &dyn Fn(usize) -> f64) -> Vec<FilterNode> {
    let probes = watched.probes.len();
    let of_probe = |k: usize| watched.medians.iter().filter(move |median| median.probe == k);
    let own: Vec<f64> =
        (0..probes).map(|k| middle(&mut of_probe(k).map(|l| l.sd).collect::<Vec<_>>()).unwrap_or(1e-4)).collect();
    let mean_c: Vec<f64> =
        (0..probes).map(|k| of_probe(k).map(|l| l.temp_c).sum::<f64>() / of_probe(k).count().max(1) as f64).collect();
    let mut last: Vec<Option<(f64, f64)>> = vec![None; probes];
    let mut bin: Option<i64> = None;
    let mut nodes = Vec::with_capacity(watched.medians.len());
    for (i, median) in watched.medians.iter().enumerate() {
        let middle_h = (median.bin as f64 + 0.5) * watched.bin_h;
        let factor = scale(i);
        let rate = rates.get(i).copied().unwrap_or_default();
        let lively = rate / LIVELY_SG_PER_H;
        let before = bin.filter(|bin| *bin != median.bin).map(|bin| {
            let hours = (median.bin - bin) as f64 * watched.bin_h;
            BinStep {
                hours,
                kept: (-hours / numbers.memory_h()).exp(),
                slope_variance: (numbers.rough() * rate).powi(2) + REST_ROUGH.powi(2),
                offset_variance: factor.powi(2) * (OFFSET_WALK.powi(2) + (FOAM_WALK * lively).powi(2)),
                jolts: jolts(&watched.jolts, middle_h - hours, middle_h, probes),
            }
        });
        bin = Some(median.bin);
        let seen = last.get(median.probe).copied().flatten();
        let warming = seen.map_or(0.0, |(hours, c)| (median.temp_c - c) / (median.hours - hours).max(0.1));
        if let Some(cell) = last.get_mut(median.probe) {
            *cell = Some((median.hours, median.temp_c));
        }
        let livelier = 1.0 + (numbers.bubbles() * lively).powi(2) + (warming / WARMING_K_PER_H).powi(2);
        nodes.push(FilterNode {
            before,
            probe: median.probe,
            sg: median.sg,
            variance: (factor * median.sd).powi(2),
            wander: factor * numbers.wander() * own.get(median.probe).copied().unwrap_or(1e-4) * livelier.sqrt(),
            late_h: median.hours - middle_h,
            warm_k: median.temp_c - mean_c.get(median.probe).copied().unwrap_or_default(),
        });
    }
    nodes
}

fn jolts(all: &[Jolt], from: f64, to: f64, probes: usize) -> Vec<(usize, f64)> {
    let mut states = Vec::new();
    // A bin with a jolt in it may lie on either side of it.
    for jolt in all.iter().filter(|jolt| jolt.hours > from - 0.5 * (to - from) && jolt.hours <= to + 0.5 * (to - from))
    {
        let variance = jolt.sd.powi(2);
        match jolt.moves {
            JoltTarget::Beer => states.push((0, variance)),
            JoltTarget::Probes => states.extend((0..probes).map(|k| (offset(k), variance))),
            JoltTarget::Probe(k) => states.push((offset(k), variance)),
        }
    }
    states
}

/// Rate of fall at each median, SG per hour: the less of the rates of the two sides, so that a sudden step is no rate, and then
/// the greatest of those nearby.
fn rates(watched: &WatchedBatch) -> Vec<f64> {
    let mut rates = vec![0.0; watched.medians.len()];
    for k in 0..watched.probes.len() {
        let own: Vec<(usize, &BinMedian)> = watched.medians.iter().enumerate().filter(|(_, l)| l.probe == k).collect();
        let side = |i: usize, from: f64, to: f64| -> Option<f64> {
            let at = own.get(i)?.1.hours;
            let first = own.partition_point(|(_, l)| l.hours < at + from);
            let last = own.partition_point(|(_, l)| l.hours <= at + to);
            own.get(first..last).and_then(|part| middle(&mut part.iter().map(|(_, l)| l.sg).collect::<Vec<_>>()))
        };
        let third = RATE_H / 3.0;
        let fall = |i: usize, side_of: f64| -> Option<f64> {
            let (near, far) = if side_of < 0.0 {
                (side(i, -third, 0.0)?, side(i, -RATE_H, -2.0 * third)?)
            } else {
                (side(i, 0.0, third)?, side(i, 2.0 * third, RATE_H)?)
            };
            Some(side_of * (near - far) / (2.0 * third))
        };
        let less: Vec<f64> = (0..own.len())
            .map(|i| match (fall(i, -1.0), fall(i, 1.0)) {
                (Some(a), Some(b)) => a.min(b).max(0.0),
                (Some(one), None) | (None, Some(one)) => one.max(0.0),
                (None, None) => 0.0,
            })
            .collect();
        for (i, (place, median)) in own.iter().enumerate() {
            let first = own.partition_point(|(_, l)| l.hours < median.hours - RATE_H);
            let last = own.partition_point(|(_, l)| l.hours <= median.hours + RATE_H).max(i + 1);
            let nearby = less.get(first..last).unwrap_or_default();
            if let Some(cell) = rates.get_mut(*place) {
                *cell = nearby.iter().copied().fold(0.0, f64::max);
            }
        }
    }
    rates
}

/// How badly the numbers fit, and the factor on all SDs that fits best: innovations far off count no more than those just off.
fn criterion(found: &Filtered) -> (f64, f64) {
    let mut sizes: Vec<f64> = found.innovations.iter().map(|e| e.abs()).collect();
    let scale = middle(&mut sizes).map_or(1.0, |median| (median / MEDIAN_SIZE).max(1e-3));
    let one = |(e, sd): (&f64, &f64)| 2.0 * (sd * scale).ln() + (e / scale).powi(2).min(BOUND * BOUND);
    (found.innovations.iter().zip(&found.sds).map(one).sum(), scale)
}

/// Size of the noise around each median, in units of the model's.
fn local_scale(watched: &WatchedBatch, innovations: &[f64], scale: f64) -> Vec<f64> {
    let hours: Vec<f64> = watched.medians.iter().map(|median| median.hours).collect();
    let mut last_at = f64::NEG_INFINITY;
    let mut last = scale;
    let mut local = Vec::with_capacity(hours.len());
    for at in &hours {
        // Every three hours is often enough for a mean over three days.
        if at - last_at >= 3.0 {
            let first = hours.partition_point(|h| *h < at - SCALE_H);
            let end = hours.partition_point(|h| *h <= at + SCALE_H);
            let near = innovations.get(first..end).unwrap_or_default();
            let bounded: f64 = near.iter().map(|e| (e / scale).powi(2).min(BOUND * BOUND)).sum();
            let found = scale * (bounded / near.len().max(1) as f64 / BOUNDED_SQUARE).sqrt();
            last = found.clamp(SCALE_RANGE.0 * scale, SCALE_RANGE.1 * scale);
            last_at = *at;
        }
        local.push(last);
    }
    local
}
