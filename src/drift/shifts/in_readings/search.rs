//! The search of all batches of a season for jumps, and how often chance alone makes so strong a sign.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::batch_model::{AllowedJump, BatchModel};
use super::bins::WatchedBatch;
use super::filter::Jump;

/// Seasons that are drawn without a shift.
const DRAWS: usize = 199;
/// The seed of the drawn seasons: one season gives one answer.
const SEED: u64 = 0x5eed_0f11;
/// Bins that must lie on each side of a jump, and hours after it that it must last.
const LEAST_BINS: usize = 6;
const LASTS_H: f64 = 12.0;
/// Most jumps of one probe in one batch, those that come back included.
const MOST: usize = 6;
/// Two jumps within these hours that undo this share of each other are one that came back.
const BACK_H: f64 = 36.0;
const BACK_SHARE: f64 = 0.5;
/// Hours on each side of the likeliest moment in which the jump is dated.
const DATED_H: f64 = 24.0;
/// Twice the log-likelihood ratio by which a jump of one probe must beat that of the beer or of another probe.
const BEATS: f64 = 4.6;
/// Twice the log-likelihood ratio that a jump must keep when the probe may have been held for hours around it.
const HOLDS: f64 = 4.0;
/// Innovations drawn are no larger than this.
const BOUND: f64 = 4.0;
/// Quantiles of the size of a standard normal number, by which the bulk of the statistics is measured.
const BULK: [(f64, f64); 2] = [(0.5, 0.674_490), (0.8, 1.281_552)];

/// A jump of a probe in a batch.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FoundJump {
    /// Index of the batch among those searched.
    pub batch: usize,
    /// Index of the probe in it.
    pub probe: usize,
    /// Hours from pitching.
    pub hours: f64,
    /// Hours between which it lies, at the level asked for.
    pub between: (f64, f64),
    /// Its size by weight, mean and SD, SG.
    pub size: Vec<(f64, f64, f64)>,
    /// Probability of so strong a sign in any batch of this probe without a shift.
    pub p_probe: f64,
    /// Probability of so strong a sign of any probe of the season.
    pub p_fleet: f64,
}

/// What is asked of the search.
#[derive(Debug, Clone, Copy)]
pub(super) struct SearchSettings {
    /// How often chance alone may show a jump on a probe.
    pub alarm: f64,
    /// How far a jump may go, SD, SG.
    pub sd: f64,
    pub level: f64,
}

/// One place where a probe may have jumped.
#[derive(Debug, Clone, Copy)]
struct JumpPlace {
    at: usize,
    probe: usize,
    jump: Jump,
    /// By how much it beats the beer and every other probe there.
    beats: f64,
}

/// Probes of the season by number, with the batches they are in.
fn numbers(all: &[WatchedBatch]) -> (Vec<&str>, Vec<Vec<usize>>) {
    let mut names: Vec<&str> = all.iter().flat_map(|w| w.probes.iter().map(String::as_str)).collect();
    names.sort_unstable();
    names.dedup();
    let of = |w: &WatchedBatch| w.probes.iter().map(|p| names.binary_search(&p.as_str()).unwrap_or_default()).collect();
    let numbers = all.iter().map(of).collect();
    (names, numbers)
}

/// All lasting jumps of a season, by batch and time.
pub(super) fn search(all: &[WatchedBatch], question: SearchSettings) -> Vec<FoundJump> {
    let models: Vec<Option<BatchModel>> = all.par_iter().map(BatchModel::new).collect();
    let (names, numbers) = numbers(all);
    let places: Vec<Vec<JumpPlace>> =
        all.iter().zip(&models).map(|(w, model)| model.as_ref().map_or_else(Vec::new, |m| places(w, m))).collect();
    let null = null(all, &models, &numbers, names.len());
    let mut found = Vec::new();
    for (batch, (((watched, model), own), places)) in all.iter().zip(models).zip(&numbers).zip(&places).enumerate() {
        let Some(model) = model else { continue };
        let spreads = spreads(places, watched.probes.len());
        let strength =
            |place: &JumpPlace| place.jump.statistic() / spreads.get(place.probe).copied().unwrap_or(1.0).powi(2);
        let p = |place: &JumpPlace| null.p(own.get(place.probe).copied().unwrap_or_default(), strength(place));
        found.extend(of_batch(watched, &model, batch, question, &strength, &p));
    }
    found
}

/// The jumps of one batch that last.
///
/// One round takes the strongest; what it takes is allowed for in the next. What comes back stays allowed for and is told to
/// nobody. Each of the rest is then dated and measured with all others allowed for.
fn of_batch(
    watched: &WatchedBatch,
    model: &BatchModel,
    batch: usize,
    question: SearchSettings,
    strength: &dyn Fn(&JumpPlace) -> f64,
    p: &dyn Fn(&JumpPlace) -> (f64, f64),
) -> Vec<FoundJump> {
    let mut taken: Vec<(AllowedJump, (f64, f64))> = Vec::new();
    let mut let_go: Vec<usize> = Vec::new();
    let only = |taken: &[(AllowedJump, (f64, f64))]| taken.iter().map(|(jump, _)| *jump).collect::<Vec<_>>();
    let mut now = model.clone();
    for _ in 0..MOST {
        let places = places(watched, &now);
        let told = places.iter().filter(|place| place.beats >= BEATS || watched.probes.len() == 1);
        let Some(best) = told.max_by(|a, b| strength(a).total_cmp(&strength(b))) else { break };
        let chance = p(best);
        if chance.0 > question.alarm {
            break;
        }
        let jump = AllowedJump { at: best.at, probe: best.probe, sd: question.sd };
        if !holds(&now, jump, best, strength) {
            let_go.push(taken.len());
        }
        taken.push((jump, chance));
        now = model.with(&only(&taken));
    }
    let lasting = lasting(&now, &only(&taken));
    let mut found = Vec::new();
    for (i, (jump, (p_probe, p_fleet))) in
        taken.iter().enumerate().filter(|(i, _)| lasting.contains(i) && !let_go.contains(i))
    {
        let mut others = only(&taken);
        others.remove(i);
        let places = places(watched, &model.with(&others));
        let Some(best) = places.iter().find(|place| place.at == jump.at && place.probe == jump.probe) else {
            continue;
        };
        let Dated { hours, between, size } = dated(&places, best, (model, watched.bin_h), question, strength);
        found.push(FoundJump { batch, probe: jump.probe, hours, between, size, p_probe: *p_probe, p_fleet: *p_fleet });
    }
    found
}

/// Whether a jump is still told, and of the same sign, when the probe may have been held for hours around it.
fn holds(model: &BatchModel, jump: AllowedJump, best: &JumpPlace, strength: &dyn Fn(&JumpPlace) -> f64) -> bool {
    let place = JumpPlace { jump: model.loosened(jump).jump_at(jump.at, jump.probe), ..*best };
    place.jump.score * best.jump.score > 0.0 && strength(&place) >= HOLDS
}

/// Which of the jumps that a model allows for do not come back: numbers among `taken`.
fn lasting(model: &BatchModel, taken: &[AllowedJump]) -> Vec<usize> {
    let mut sizes = vec![0.0; taken.len()];
    model.jumps(model.innovations(), |at, _, jumps| {
        for (probe, jump) in jumps.enumerate() {
            for (size, one) in sizes.iter_mut().zip(taken).filter(|(_, one)| one.at == at && one.probe == probe) {
                *size = one.sd.powi(2) * jump.score;
            }
        }
    });
    let hours = |i: usize| taken.get(i).and_then(|one| model.ends.get(one.at)).copied().unwrap_or_default();
    let mut order: Vec<usize> = (0..taken.len()).collect();
    order.sort_by_key(|i| taken.get(*i).map(|one| (one.probe, one.at)));
    let mut left: Vec<usize> = Vec::new();
    for i in order {
        let undone = left.last().is_some_and(|&last| {
            let (a, b) = (sizes.get(last).copied().unwrap_or_default(), sizes.get(i).copied().unwrap_or_default());
            taken.get(last).map(|one| one.probe) == taken.get(i).map(|one| one.probe)
                && hours(i) - hours(last) <= BACK_H
                && (a + b).abs() <= BACK_SHARE * a.abs().max(b.abs())
        });
        if undone {
            left.pop();
        } else {
            left.push(i);
        }
    }
    left
}

/// Where a probe of the batch may have jumped so that it can be told.
fn places(watched: &WatchedBatch, model: &BatchModel) -> Vec<JumpPlace> {
    let mut counted = vec![0usize; model.probes];
    // Bins of each probe before each move; its last hour.
    let mut before: Vec<Vec<usize>> = Vec::with_capacity(model.ends.len());
    let mut last_h = vec![0.0; model.probes];
    for bin in watched.medians.chunk_by(|a, b| a.bin == b.bin) {
        before.push(counted.clone());
        for median in bin {
            if let (Some(n), Some(last)) = (counted.get_mut(median.probe), last_h.get_mut(median.probe)) {
                *n += 1;
                *last = median.hours;
            }
        }
    }
    let mut all = Vec::new();
    model.jumps(model.innovations(), |at, beer, probes| {
        let jumps: Vec<Jump> = probes.collect();
        let end = model.ends.get(at).copied().unwrap_or_default();
        for (probe, jump) in jumps.iter().enumerate() {
            let earlier = before.get(at + 1).and_then(|n| n.get(probe)).copied().unwrap_or_default();
            let later = counted.get(probe).copied().unwrap_or_default() - earlier;
            let lasts = last_h.get(probe).copied().unwrap_or_default() - end >= LASTS_H;
            if earlier >= LEAST_BINS && later >= LEAST_BINS && lasts {
                let others = jumps.iter().enumerate().filter(|(k, _)| *k != probe).map(|(_, j)| j.statistic());
                let other = others.fold(beer.statistic(), f64::max);
                all.push(JumpPlace { at, probe, jump: *jump, beats: jump.statistic() - other });
            }
        }
    });
    all.reverse();
    all
}

/// The size of a batch's statistics' bulk against that of a standard normal number, at least 1: what the model does not know of
/// its noise.
fn spread(statistics: &[f64]) -> f64 {
    let sizes: Vec<f64> = statistics.iter().map(|t| t.sqrt()).collect();
    let of = |(share, size): (f64, f64)| quantile(&sizes, share).map_or(1.0, |found| found / size);
    BULK.into_iter().map(of).fold(1.0, f64::max)
}

/// The same of every probe of a batch.
fn spreads(places: &[JumpPlace], probes: usize) -> Vec<f64> {
    let of = |k: usize| places.iter().filter(move |place| place.probe == k).map(|place| place.jump.statistic());
    (0..probes).map(|k| spread(&of(k).collect::<Vec<_>>())).collect()
}

fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut values = values.to_vec();
    let at = (share * values.len() as f64) as usize;
    (at < values.len()).then(|| *values.select_nth_unstable_by(at, f64::total_cmp).1)
}

/// Largest statistics of seasons without a shift: by probe and of all probes, each in ascending order.
struct Null {
    by_probe: Vec<Vec<f64>>,
    fleet: Vec<f64>,
}

impl Null {
    fn p(&self, probe: usize, strength: f64) -> (f64, f64) {
        let share = |drawn: &[f64]| {
            let larger = drawn.len() - drawn.partition_point(|d| *d < strength);
            (1.0 + larger as f64) / (1.0 + drawn.len() as f64)
        };
        (self.by_probe.get(probe).map_or(1.0, |drawn| share(drawn)), share(&self.fleet))
    }
}

/// Draws seasons without a shift: every batch's own innovations in random order, bounded, through the same filter backwards.
fn null(all: &[WatchedBatch], models: &[Option<BatchModel>], numbers: &[Vec<usize>], probes: usize) -> Null {
    let largest: Vec<Vec<f64>> = (0..DRAWS)
        .into_par_iter()
        .map(|draw| {
            let mut rng = ChaCha8Rng::seed_from_u64(SEED.wrapping_add(draw as u64));
            let mut largest = vec![0.0f64; probes];
            for ((watched, model), own) in all.iter().zip(models).zip(numbers) {
                let Some(model) = model else { continue };
                let innovations = model.innovations();
                let n = innovations.len();
                let drawn: Vec<f64> = (0..n)
                    .map(|_| innovations.get(rng.random_range(0..n)).map_or(0.0, |e| e.clamp(-BOUND, BOUND)))
                    .collect();
                let skipped = LEAST_BINS.max((LASTS_H / watched.bin_h).ceil() as usize);
                let mut statistics: Vec<Vec<f64>> = vec![Vec::new(); own.len()];
                model.jumps(&drawn, |at, _, jumps| {
                    if at + 1 >= LEAST_BINS && at + skipped <= model.ends.len() {
                        statistics.iter_mut().zip(jumps).for_each(|(all, jump)| all.push(jump.statistic()));
                    }
                });
                for (statistics, probe) in statistics.iter().zip(own) {
                    let top = statistics.iter().copied().fold(0.0, f64::max) / spread(statistics).powi(2);
                    if let Some(most) = largest.get_mut(*probe) {
                        *most = most.max(top);
                    }
                }
            }
            largest
        })
        .collect();
    let sorted = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values
    };
    let of = |p: usize| sorted(largest.iter().filter_map(|draw| draw.get(p)).copied().collect());
    let fleet = sorted(largest.iter().map(|draw| draw.iter().copied().fold(0.0, f64::max)).collect());
    Null { by_probe: (0..probes).map(of).collect(), fleet }
}

/// When a jump came, between which hours, and its size over the moments it may have come.
struct Dated {
    hours: f64,
    between: (f64, f64),
    size: Vec<(f64, f64, f64)>,
}

/// The likeliest moment of a jump, in a model with bins of this width.
fn dated(
    places: &[JumpPlace],
    best: &JumpPlace,
    (model, bin_h): (&BatchModel, f64),
    question: SearchSettings,
    strength: &dyn Fn(&JumpPlace) -> f64,
) -> Dated {
    let end = |at: usize| model.ends.get(at).copied().unwrap_or_default();
    // The jump lies in its move: from the middle of the bin before to that of its own.
    let begin = |at: usize| at.checked_sub(1).map_or_else(|| end(at), end);
    let near: Vec<&JumpPlace> =
        places.iter().filter(|p| p.probe == best.probe && (end(p.at) - end(best.at)).abs() <= DATED_H).collect();
    let top = strength(best);
    let weights: Vec<f64> =
        near.iter().map(|p| (0.5 * (strength(p) - top)).exp() * (end(p.at) - begin(p.at)).max(1e-6)).collect();
    let total: f64 = weights.iter().sum();
    let quantile = |share: f64| {
        let mut left = share * total;
        for (place, weight) in near.iter().zip(&weights) {
            if left <= *weight {
                return begin(place.at) + (end(place.at) - begin(place.at)) * left / weight.max(1e-300);
            }
            left -= weight;
        }
        end(best.at)
    };
    let tail = 0.5 * (1.0 - question.level);
    let hours = 0.5 * (begin(best.at) + end(best.at));
    let size = near
        .iter()
        .zip(&weights)
        .filter(|(_, weight)| **weight > 1e-6 * total)
        .map(|(place, weight)| {
            // A statistic that is spread wider than the model says has a wider error by as much.
            let trust = strength(place) / place.jump.statistic().max(1e-300);
            let scale = 1.0 + question.sd.powi(2) * place.jump.information * trust;
            (weight / total, question.sd.powi(2) * place.jump.score * trust / scale, question.sd / scale.sqrt())
        })
        .collect();
    // The median of a bin goes with the larger part of it.
    let half = 0.5 * bin_h;
    let between = (quantile(tail).min(hours) - half, quantile(1.0 - tail).max(hours) + half);
    Dated { hours, between, size }
}
