//! One round of the search for sudden shifts: a likelihood-ratio scan over all moments, calibrated by simulation.

use nalgebra::{DMatrix, DVector, DVectorView};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::drift::model::{FleetModel, MixedEquations, NormalMixture, Variances, WhitenedBlock, ln_prior, ln_sum};
use crate::fit::matrix::solve_transposed;

use super::visit_gaps::{VisitGap, VisitGaps};

/// Standard deviations of walk and of pairs that are tried, coarser than for estimates.
const WALK_SD: [f64; 6] = [0.0, 0.0004, 0.0009, 0.002, 0.0045, 0.01];
const PAIR_SD: [f64; 4] = [0.0, 0.0006, 0.0016, 0.004];
/// Seasons that are simulated without a shift, most and least, and work that they may take (multiplications).
const MOST: usize = 399;
const LEAST: usize = 99;
const WORK: f64 = 1.5e9;
/// The seed of the simulated seasons: one season gives one answer.
const SEED: u64 = 0x5eed_d21f;

/// The likeliest shift of a probe.
#[derive(Debug, Clone)]
pub(in crate::drift) struct ShiftCandidate {
    /// Age in the middle of the likeliest gap between visits, months.
    pub months: f64,
    /// Ages of the visits between which it lies, at the level asked for, months.
    pub between: (f64, f64),
    /// Its size at SG 1.020.
    pub size: NormalMixture,
    /// Probability of so strong a sign on this probe without a shift.
    pub p_probe: f64,
    /// Probability of so strong a sign on any probe of the fleet.
    pub p_fleet: f64,
    /// Logarithm of the likelihood ratio: how strong the sign is.
    pub ln_ratio: f64,
}

/// One point of the grid of variances, for the observed season (column 0) and all simulated ones.
struct AtPoint {
    /// Logarithms of the likelihoods without a shift, prior included.
    ln: Vec<f64>,
    /// By probe, logarithm of the likelihood with a shift somewhere over that without one.
    ratios: Vec<Vec<f64>>,
    /// By probe and gap of the observed season: logarithm of that ratio times the gap's share, mean and SD of the size.
    sizes: Vec<Vec<(f64, f64, f64)>>,
}

/// The likeliest shift of every probe, and how often chance alone makes so strong a sign.
///
/// For a shift of size N(0, `sd`^2) at a moment in gap k (uniform over the time observed) the likelihood ratio is, with
/// `s = d_k' P y`, `i = d_k' P d_k` and P the projection of the mixed model with all effects that probes share,
///
/// ```text
/// ln B_k = (sd^2 s^2/(1 + sd^2 i) - ln(1 + sd^2 i))/2,    B = sum_k share_k B_k
/// ```
///
/// averaged over a grid of the variances, each with its likelihood; so a shift that makes the walk visit larger than it is
/// is still found. Its size is `m = sd^2 s/(1 + sd^2 i)` with variance `sd^2/(1 + sd^2 i)`. As it shows as `d_k + u q_k` with
/// u ~ N(0, 1), it may be off by another `m sd^2 d_k' P q_k/(1 + sd^2 i)`, SD.
///
/// Seasons without a shift are drawn from the model (walk, pairs, baths, instruments, curves, at variances that the season's own
/// likelihood gives) and take the same way: `p_probe` is the share of those in which this probe's ratio is as large,
/// `p_fleet` the share in which the largest ratio of any probe is.
///
/// None for a probe without two visits at it.
pub(in crate::drift) fn scan(model: &FleetModel, sd: f64, level: f64) -> Vec<Option<ShiftCandidate>> {
    let gaps: Vec<VisitGaps> = model.probes.iter().map(VisitGaps::of).collect();
    let systems = systems(model);
    if systems.is_empty() {
        return vec![None; gaps.len()];
    }
    let seasons = seasons(model, &systems, draws(model, systems.len()));
    let points = points(&systems, &seasons, &gaps, sd);
    let all = statistics(&points, model.probes.len());
    let columns = seasons.first().map_or(0, DMatrix::ncols);
    let largest: Vec<f64> = (1..columns)
        .map(|s| all.iter().filter_map(|probe| probe.get(s)).copied().fold(f64::NEG_INFINITY, f64::max))
        .collect();
    let share = |drawn: &mut dyn Iterator<Item = f64>, observed: f64| {
        (1.0 + drawn.filter(|d| *d >= observed).count() as f64) / columns as f64
    };
    let mut found = Vec::new();
    for (p, (gaps, statistics)) in gaps.iter().zip(&all).enumerate() {
        let observed = statistics.first().copied().unwrap_or(f64::NEG_INFINITY);
        let p_probe = share(&mut statistics.iter().skip(1).copied(), observed);
        let p_fleet = share(&mut largest.iter().copied(), observed);
        found.push(likeliest(&gaps.gaps, &points, p, level).map(|(months, between, size)| ShiftCandidate {
            months,
            between,
            size,
            p_probe,
            p_fleet,
            ln_ratio: observed,
        }));
    }
    found
}

/// Logarithm of the likelihood ratio of every probe, as [`scan`] has it, without its calibration.
pub(in crate::drift) fn ln_ratios(model: &FleetModel, sd: f64) -> Vec<f64> {
    let gaps: Vec<VisitGaps> = model.probes.iter().map(VisitGaps::of).collect();
    let systems = systems(model);
    let points = points(&systems, &seasons(model, &systems, 0), &gaps, sd);
    let all = statistics(&points, model.probes.len());
    all.iter().map(|probe| probe.first().copied().unwrap_or(f64::NEG_INFINITY)).collect()
}

/// The model solved on the grid, with the logarithms of the priors.
fn systems(model: &FleetModel) -> Vec<(MixedEquations<'_>, f64)> {
    let solved = |at: Variances| Some((model.solved(at).ok()?, ln_prior(&at)));
    Variances::grid(&WALK_SD, &PAIR_SD).filter_map(solved).collect()
}

fn points(systems: &[(MixedEquations, f64)], seasons: &[DMatrix<f64>], gaps: &[VisitGaps], sd: f64) -> Vec<AtPoint> {
    systems.iter().map(|(system, prior)| at_point(system, *prior, seasons, gaps, sd)).collect()
}

/// By probe and season, the logarithm of the likelihood with a shift over that without, both averaged over the grid.
fn statistics(points: &[AtPoint], probes: usize) -> Vec<Vec<f64>> {
    let seasons = points.first().map_or(0, |at| at.ln.len());
    let of = |at: &AtPoint, s: usize| at.ln.get(s).copied().unwrap_or(f64::NEG_INFINITY);
    let statistic = |p: usize, s: usize| {
        ln_sum(points.iter().map(|at| of(at, s) + ratio(at, p, s))) - ln_sum(points.iter().map(|at| of(at, s)))
    };
    (0..probes).map(|p| (0..seasons).map(|s| statistic(p, s)).collect()).collect()
}

/// Seasons without a shift to be drawn.
fn draws(model: &FleetModel, systems: usize) -> usize {
    let rows: f64 = model.probes.iter().map(|part| (part.n() * part.n()) as f64).sum();
    ((WORK / (systems as f64 * rows)) as usize).clamp(LEAST, MOST)
}

fn ratio(at: &AtPoint, p: usize, s: usize) -> f64 {
    at.ratios.get(p).and_then(|probe| probe.get(s)).copied().unwrap_or(f64::NEG_INFINITY)
}

/// Observations by probe: the season's in column 0, then so many seasons drawn from the model without a shift.
fn seasons(model: &FleetModel, systems: &[(MixedEquations, f64)], draws: usize) -> Vec<DMatrix<f64>> {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let ln: Vec<f64> = systems.iter().map(|(system, prior)| system.ln_likelihood + prior).collect();
    let total = ln_sum(ln.iter().copied());
    let mut all: Vec<DMatrix<f64>> = model.probes.iter().map(|part| DMatrix::zeros(part.n(), draws + 1)).collect();
    for (part, matrix) in model.probes.iter().zip(&mut all) {
        matrix.set_column(0, &part.y);
    }
    for s in 1..=draws {
        let mut left = rng.random::<f64>();
        let chosen = ln.iter().position(|ln| {
            left -= (ln - total).exp();
            left <= 0.0
        });
        let Some((system, _)) = systems.get(chosen.unwrap_or(0)) else { continue };
        let mut normal = |sd: f64| sd * rng.sample::<f64, _>(StandardNormal);
        // Free effects drop out of the ratios.
        let effects: Vec<f64> = model.prior_sd.iter().map(|sd| normal(sd.unwrap_or(0.0))).collect();
        for ((white, part), matrix) in system.parts.iter().zip(&model.probes).zip(&mut all) {
            let own = DVector::from_fn(part.n(), |_, _| normal(1.0));
            let shared = DVector::from_iterator(
                part.shared.effects.len(),
                part.shared.effects.iter().map(|j| effects.get(*j).copied().unwrap_or_default()),
            );
            matrix.set_column(s, &(white.upper.tr_mul(&own) + &part.shared.columns * shared));
        }
    }
    all
}

fn at_point(system: &MixedEquations, prior: f64, seasons: &[DMatrix<f64>], gaps: &[VisitGaps], sd: f64) -> AtPoint {
    let columns = seasons.first().map_or(0, DMatrix::ncols);
    let mut right = DMatrix::<f64>::zeros(system.effects.len(), columns);
    let mut squares = DVector::<f64>::zeros(columns);
    let mut whites = Vec::with_capacity(seasons.len());
    for (part, y) in system.parts.iter().zip(seasons) {
        // Products, not solutions and transposed products: the many columns go through them several times as fast.
        let mut root = DMatrix::identity(y.nrows(), y.nrows());
        solve_transposed(&part.upper, root.as_mut_slice());
        let white = root * y;
        let with = part.columns.transpose() * &white;
        for (i, &j) in part.effects.iter().enumerate() {
            let mut row = right.row_mut(j);
            row += with.row(i);
        }
        for (sum, column) in squares.iter_mut().zip(white.column_iter()) {
            *sum += column.norm_squared();
        }
        whites.push(white);
    }
    let effects = system.inverse() * &right;
    let ln = (0..columns)
        .map(|s| prior - 0.5 * (system.ln_det + squares[s] - right.column(s).dot(&effects.column(s))))
        .collect();
    let (mut ratios, mut sizes) = (Vec::new(), Vec::new());
    for ((part, mut white), gaps) in system.parts.iter().zip(whites).zip(gaps) {
        let WhitenedSteps { steps, spread, information } = WhitenedSteps::new(system, part, gaps);
        let mut doubts = gaps.doubts.clone();
        solve_transposed(&part.upper, doubts.as_mut_slice());
        white -= &part.columns * effects.select_rows(&part.effects);
        let with_doubts = part.columns.tr_mul(&doubts);
        let scores = steps.transpose() * &white;
        let of = |scores: DVectorView<f64>| gap_ratios(scores, &information, gaps, sd);
        ratios.push((0..columns).map(|s| ln_sum(of(scores.column(s)).into_iter())).collect());
        let observed = of(scores.column(0));
        let size = |(k, ln): (usize, f64)| {
            let i = 1.0 + sd * sd * information.get(k).copied().unwrap_or_default();
            let mean = sd * sd * scores[(k, 0)] / i;
            let lean = steps.column(k).dot(&doubts.column(k)) - spread.column(k).dot(&with_doubts.column(k));
            (ln, mean, (sd / i.sqrt()).hypot(sd * sd * lean / i * mean))
        };
        sizes.push(observed.into_iter().enumerate().map(size).collect());
    }
    AtPoint { ln, ratios, sizes }
}

/// A step of size 1 in each gap of a probe, whitened, and `d' P d` of each.
struct WhitenedSteps {
    steps: DMatrix<f64>,
    spread: DMatrix<f64>,
    information: Vec<f64>,
}

impl WhitenedSteps {
    fn new(system: &MixedEquations, part: &WhitenedBlock, gaps: &VisitGaps) -> Self {
        let mut steps = gaps.columns.clone();
        solve_transposed(&part.upper, steps.as_mut_slice());
        let inner = part.columns.tr_mul(&steps);
        let spread = system.inverse().select_rows(&part.effects).select_columns(&part.effects) * &inner;
        let information = (0..steps.ncols())
            .map(|k| (steps.column(k).norm_squared() - inner.column(k).dot(&spread.column(k))).max(0.0))
            .collect();
        Self { steps, spread, information }
    }
}

/// Logarithms of the likelihood ratios of a shift in each gap, times the gap's share.
fn gap_ratios(scores: DVectorView<f64>, information: &[f64], gaps: &VisitGaps, sd: f64) -> Vec<f64> {
    let terms = scores.iter().zip(information).zip(&gaps.gaps);
    terms.map(|((s, i), gap)| gap.share.max(1e-12).ln() + ln_ratio(*s, *i, sd)).collect()
}

/// The same of probe `p` of a solved season.
pub(in crate::drift) fn shift_ratios(system: &MixedEquations, p: usize, gaps: &VisitGaps, sd: f64) -> Vec<f64> {
    let Some(part) = system.parts.get(p) else { return Vec::new() };
    let WhitenedSteps { steps, information, .. } = WhitenedSteps::new(system, part, gaps);
    gap_ratios(steps.tr_mul(&system.residual(part)).column(0), &information, gaps, sd)
}

fn ln_ratio(score: f64, information: f64, sd: f64) -> f64 {
    let scale = 1.0 + sd * sd * information;
    0.5 * (sd * sd * score * score / scale - scale.ln())
}

/// The likeliest gap of probe `p`: its middle, the ages between which the shift lies at `level`, and the shift's size.
fn likeliest(gaps: &[VisitGap], points: &[AtPoint], p: usize, level: f64) -> Option<(f64, (f64, f64), NormalMixture)> {
    let mut terms: Vec<(usize, f64, f64, f64)> = Vec::new();
    for at in points {
        let ln = at.ln.first()?;
        terms.extend(at.sizes.get(p)?.iter().enumerate().map(|(k, (term, mean, sd))| (k, ln + term, *mean, *sd)));
    }
    let total = ln_sum(terms.iter().map(|t| t.1));
    let mut by_gap = vec![0.0; gaps.len()];
    let mut parts = Vec::new();
    for (k, ln, mean, sd) in terms {
        let weight = (ln - total).exp();
        *by_gap.get_mut(k)? += weight;
        if weight > 1e-6 {
            parts.push((weight, mean, sd));
        }
    }
    let sum: f64 = parts.iter().map(|(w, ..)| w).sum();
    for (weight, ..) in &mut parts {
        *weight /= sum;
    }
    let best =
        (0..gaps.len()).max_by(|a, b| by_gap.get(*a).unwrap_or(&0.0).total_cmp(by_gap.get(*b).unwrap_or(&0.0)))?;
    let gap = gaps.get(best)?;
    // Where between two visits it happened nothing tells, and probes are handled just before they go in: whole gaps.
    let holding = |share: f64| {
        let mut left = share;
        let here = gaps.iter().zip(&by_gap).find(|(_, weight)| {
            left -= **weight;
            left <= 0.0
        });
        here.map(|(gap, _)| gap).or(gaps.last())
    };
    let tail = 0.5 * (1.0 - level);
    let between = (holding(tail)?.from.min(gap.from), holding(1.0 - tail)?.to.max(gap.to));
    Some((0.5 * (gap.from + gap.to), between, NormalMixture(parts)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_without_information_is_one() {
        assert!(ln_ratio(0.0, 0.0, 0.006).abs() < 1e-12);
        // Information 1/0.001^2 and a score of 4 SDs: 16/2 less the price of a free size.
        let i = 1e6f64;
        let found = ln_ratio(4.0 * i.sqrt(), i, 0.006);
        assert!((found - 0.5 * (16.0 * 36.0 / 37.0 - 37f64.ln())).abs() < 1e-12);
    }
}
