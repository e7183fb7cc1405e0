//! The search for references and stays that do not fit the rest of the season.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{Cholesky, DMatrix, DVector};

use crate::calibration::{LEAST_OFF_SG, NAMED, WRONG_BATHS, WRONG_SD};
use crate::drift::model::{FleetModel, MixedEquations, ShiftTerm, Variances, ln_prior, ln_sum};
use crate::drift::pairs::ModelPair;
use crate::drift::results::{Misfit, MisfitKind, PairKind};
use crate::fit::matrix::inverse;
use crate::season::Season;

use super::scan::shift_ratios;
use super::shift_average::{MONTHS_BEFORE, SHIFTS_BEFORE};
use super::visit_gaps::VisitGaps;

/// Standard deviations of walk and of pairs that good references may have, SG. Wrong ones would widen both.
const WALK_SD: [f64; 6] = [0.0, 0.0004, 0.0009, 0.002, 0.0045, 0.01];
const PAIR_SD: [f64; 2] = [0.0003, 0.0008];

/// The walk at which one look tells whether anything may be wrong, SG.
const SHARP_WALK_SD: f64 = 0.0009;

assumed! {
    /// How often a sample or an original gravity is wrong before anything is looked at.
    pub(super) const WRONG_SAMPLES: f64 = 0.03, "share";
    /// Drift of a probe while entries are judged, SD: five times the usual one.
    const DRIFTS_SD: f64 = 0.005, "SG in 30 d";
    /// Share of those in which a digit is wrong.
    const SLIPS: f64 = 0.2, "share";
    /// A wrong digit puts them off by as much as beers differ, SD.
    const SLIP_SD: f64 = 0.06, "SG";
}

/// Most rounds: each names at most one entry a probe.
const ROUNDS: usize = 12;

/// How often an entry is wrong before anything is looked at.
fn prior(kind: MisfitKind) -> f64 {
    match kind {
        MisfitKind::Sample | MisfitKind::Original => *WRONG_SAMPLES,
        MisfitKind::Bath | MisfitKind::Readings => *WRONG_BATHS,
    }
}

/// A row of the model: its probe and its place there.
type Row = (usize, usize);

/// An entry that may be wrong: the pairs it made, by number in the list of pairs, and their rows.
struct Entry {
    kind: MisfitKind,
    pairs: Vec<usize>,
    rows: Vec<Row>,
}

impl Entry {
    /// Effects of an entry that is wrong: one for a reference, one a pair for readings.
    fn columns(&self) -> Vec<Vec<Row>> {
        match self.kind {
            MisfitKind::Readings => self.rows.iter().map(|row| vec![*row]).collect(),
            _ => vec![self.rows.clone()],
        }
    }
}

/// The model solved at one pair of variances, with what a change of single rows does.
struct Solved<'m> {
    ln: f64,
    system: MixedEquations<'m>,
    /// By probe, P y of its rows.
    scores: Vec<DVector<f64>>,
    /// By probe, V^-1 of its rows.
    inner: Vec<DMatrix<f64>>,
    /// By probe, V^-1 W, and the covariance of the effects times its transpose.
    loads: Vec<(DMatrix<f64>, DMatrix<f64>)>,
}

impl<'m> Solved<'m> {
    fn new(model: &'m FleetModel, at: Variances) -> Option<Self> {
        let system = model.solved(at).ok()?;
        let (mut scores, mut inner, mut loads) = (Vec::new(), Vec::new(), Vec::new());
        for part in &system.parts {
            scores.push(part.upper.solve_upper_triangular(&system.residual(part))?);
            inner.push(inverse(&part.upper));
            let load = part.upper.solve_upper_triangular(&part.columns)?;
            let spread = system.inverse().select_columns(&part.effects) * load.transpose();
            loads.push((load, spread));
        }
        Some(Self { ln: system.ln_likelihood + ln_prior(&at), system, scores, inner, loads })
    }

    /// P at two rows.
    fn projection(&self, (p, i): Row, (q, j): Row) -> Option<f64> {
        let ((load, _), (_, spread)) = (self.loads.get(p)?, self.loads.get(q)?);
        let mut sum = if p == q { *self.inner.get(p)?.get((i, j))? } else { 0.0 };
        for (k, effect) in self.system.parts.get(p)?.effects.iter().enumerate() {
            sum -= load.get((i, k))? * spread.get((*effect, j))?;
        }
        Some(sum)
    }

    /// Logarithm of the likelihood with these effects, each N(0, sd^2), over that without, the mean of the effects,
    /// and the variance of the first.
    ///
    /// ```text
    /// ln B = (T s' (I + T G)^-1 s - ln det(I + T G))/2,   s = D' P y,   G = D' P D,   T = sd^2
    /// ```
    fn ratio(&self, columns: &[Vec<Row>], sd: f64) -> Option<(f64, f64, f64)> {
        let (n, t) = (columns.len(), sd.powi(2));
        let mut score = DVector::<f64>::zeros(n);
        let mut system = DMatrix::<f64>::identity(n, n);
        for (a, of_a) in columns.iter().enumerate() {
            score[a] = of_a.iter().filter_map(|&(p, i)| self.scores.get(p)?.get(i)).sum();
            for (b, of_b) in columns.iter().enumerate() {
                let terms = of_a.iter().flat_map(|x| of_b.iter().filter_map(|y| self.projection(*x, *y)));
                system[(a, b)] += t * terms.sum::<f64>();
            }
        }
        let root = Cholesky::new(system)?;
        let effects = root.solve(&score) * t;
        let ln_det = 2.0 * root.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let variance = root.inverse().get((0, 0)).copied()? * t;
        Some((0.5 * (score.dot(&effects) - ln_det), effects.mean(), variance))
    }
}

/// A hypothesis of one round: an entry that is wrong, or a shift of a probe, with the logarithm of its odds.
enum Hypothesis {
    Wrong { entry: usize, ln_odds: f64, off: f64, variance: f64 },
    Shift { probe: usize, ln_odds: f64, months: f64 },
}

impl Hypothesis {
    fn ln_odds(&self) -> f64 {
        match self {
            Self::Wrong { ln_odds, .. } | Self::Shift { ln_odds, .. } => *ln_odds,
        }
    }
}

/// The entries that do not fit, each with the numbers of its pairs among `pairs`, from which the model was made.
///
/// A reference is right but for its stated error, or wrong by N(0, 0.01^2) SG and no less than 0.0035: a scale misread, the
/// sample of another batch. One wrong sample in five is off by N(0, 0.06^2): a digit mistyped. The odds of that, by the restricted likelihood averaged over the variances of walk and pairs, are held against
/// those of a sudden shift of the probe, whichever is likelier is taken first, and the rest is weighed again with it. A shift that
/// one reference alone carries is less likely than that the reference is wrong; two that agree speak for the shift. The
/// readings of a probe in a batch are held against all of its samples in the same way, unless those contradict each other: they may be
/// another probe's.
pub(in crate::drift) fn find_misfits(
    season: &Season,
    model: &FleetModel,
    pairs: &[&ModelPair],
) -> Vec<(Misfit, Vec<usize>)> {
    // With a slope that may be anything, one wrong sample of two makes the other look wrong.
    let model = &model.with_slopes(0.0, *DRIFTS_SD);
    let rows = rows(model, pairs);
    let all = entries(season, pairs, &rows);
    // Most seasons have none, and one look at the smallest variances tells.
    let sharp = Variances { walk_sd: SHARP_WALK_SD, pair_sd: PAIR_SD[0] };
    let first = solved(model, [sharp].into_iter());
    if wrong_entries(&first, &all, &BTreeSet::new()).is_empty() {
        return Vec::new();
    }
    let mut wrong: Vec<(usize, f64, f64, f64)> = Vec::new();
    let mut steps: Vec<(usize, ShiftTerm)> = Vec::new();
    for _ in 0..ROUNDS {
        let out: BTreeSet<usize> =
            wrong.iter().filter_map(|(e, ..)| all.get(*e)).flat_map(|e| e.pairs.clone()).collect();
        let now = left(model, &rows, &out, &steps);
        let mut found = hypotheses(&now, &all, &rows, &out);
        found.sort_by(|a, b| b.ln_odds().total_cmp(&a.ln_odds()));
        let mut touched: BTreeSet<usize> = BTreeSet::new();
        for one in found {
            match one {
                Hypothesis::Wrong { entry, ln_odds, off, variance } => {
                    let Some(of) = all.get(entry) else { continue };
                    if of.rows.iter().any(|(p, _)| touched.contains(p)) {
                        continue;
                    }
                    touched.extend(of.rows.iter().map(|(p, _)| *p));
                    wrong.push((entry, ln_odds, off, variance));
                }
                Hypothesis::Shift { probe, months, .. } => {
                    let Some(part) = model.probes.get(probe).filter(|_| touched.insert(probe)) else { continue };
                    steps.push((probe, ShiftTerm { at: part.instant(months), months, sd: *WRONG_SD, event: None }));
                }
            }
        }
        if touched.is_empty() {
            break;
        }
    }
    let misfit = |(entry, ln_odds, off, variance): (usize, f64, f64, f64)| {
        let entry = all.get(entry)?;
        Some((described(season, pairs, entry, ln_odds, off, variance)?, entry.pairs.clone()))
    };
    wrong.into_iter().filter_map(misfit).collect()
}

fn rows(model: &FleetModel, pairs: &[&ModelPair]) -> Vec<Row> {
    let mut counts = vec![0; model.probes.len()];
    let place: BTreeMap<&str, usize> =
        model.probes.iter().enumerate().map(|(p, part)| (part.probe.as_str(), p)).collect();
    let row = |pair: &&ModelPair| {
        let p = *place.get(pair.pair.probe.as_str())?;
        let count = counts.get_mut(p)?;
        *count += 1;
        Some((p, *count - 1))
    };
    pairs.iter().filter_map(row).collect()
}

/// What may be wrong.
fn entries(season: &Season, pairs: &[&ModelPair], rows: &[Row]) -> Vec<Entry> {
    let mut groups: BTreeMap<(MisfitKind, String), Vec<usize>> = BTreeMap::new();
    for (i, ModelPair { pair, .. }) in pairs.iter().enumerate() {
        let bath = pair.reference.and_then(|r| season.references.get(r)?.bath.clone());
        let row = || pair.reference.map(|row| row.to_string());
        let (kind, name) = match pair.kind {
            PairKind::Sample => (MisfitKind::Sample, row()),
            PairKind::Bath => (MisfitKind::Bath, bath.or_else(row)),
            PairKind::Stated => (MisfitKind::Original, pair.batch.clone()),
            PairKind::SameBeer => continue,
        };
        groups.entry((kind, name.unwrap_or_default())).or_default().push(i);
        if let Some(batch) = pair.batch.as_ref().filter(|_| kind == MisfitKind::Sample) {
            groups.entry((MisfitKind::Readings, format!("{batch} {}", pair.probe))).or_default().push(i);
        }
    }
    let tells = |of: &[usize]| of.len() > 1 && !of.windows(2).any(|two| rises(season, pairs, two));
    let kept = groups.into_iter().filter(|((kind, _), of)| *kind != MisfitKind::Readings || tells(of));
    let entry = |((kind, _), pairs): ((MisfitKind, String), Vec<usize>)| {
        let rows = pairs.iter().filter_map(|i| rows.get(*i).copied()).collect();
        Entry { kind, pairs, rows }
    };
    kept.map(entry).collect()
}

/// Whether the later of two samples lies above the earlier by more than both may be off. No fermentation does that without sugar: such
/// samples speak against each other, and tell nothing of the readings.
fn rises(season: &Season, pairs: &[&ModelPair], two: &[usize]) -> bool {
    let two = two.iter().filter_map(|i| Some(&pairs.get(*i)?.pair)).collect::<Vec<_>>();
    let [earlier, later] = two.as_slice() else { return false };
    let mut sugar = season.events.iter().filter(|event| event.feeds(later.batch.as_deref()));
    let is_fed = sugar.any(|event| (earlier.at..=later.at).contains(&event.at));
    !is_fed && later.reference_sg - earlier.reference_sg > 2.0 * *LEAST_OFF_SG
}

/// The model with these shifts and without these pairs, which keep their rows: of no weight.
fn left(model: &FleetModel, rows: &[Row], out: &BTreeSet<usize>, steps: &[(usize, ShiftTerm)]) -> FleetModel {
    let mut model = steps.iter().fold(model.clone(), |model, (p, step)| model.with_step(*p, step.clone()));
    for (p, part) in model.probes.iter_mut().enumerate() {
        let gone: BTreeSet<usize> =
            out.iter().filter_map(|i| rows.get(*i)).filter(|row| row.0 == p).map(|row| row.1).collect();
        *part = part.discounting(&gone);
    }
    model
}

fn solved(model: &FleetModel, at: impl Iterator<Item = Variances>) -> Vec<Solved<'_>> {
    at.filter_map(|at| Solved::new(model, at)).collect()
}

/// The entries that are likelier wrong than not by enough.
fn wrong_entries(solved: &[Solved], all: &[Entry], out: &BTreeSet<usize>) -> Vec<Hypothesis> {
    let total = ln_sum(solved.iter().map(|at| at.ln));
    let least = (*NAMED / (1.0 - *NAMED)).ln();
    let mut found = Vec::new();
    for (number, entry) in all.iter().enumerate() {
        if entry.pairs.iter().any(|i| out.contains(i)) {
            continue;
        }
        let columns = entry.columns();
        let sizes: &[(f64, f64)] = match entry.kind {
            MisfitKind::Sample | MisfitKind::Original => &[(*WRONG_SD, 1.0 - *SLIPS), (*SLIP_SD, *SLIPS)],
            MisfitKind::Bath | MisfitKind::Readings => &[(*WRONG_SD, 1.0)],
        };
        let of = |at: &Solved, (sd, share): &(f64, f64)| {
            at.ratio(&columns, *sd).map(|(ln, off, variance)| (at.ln + ln + share.ln(), off, variance))
        };
        let ratios: Vec<(f64, f64, f64)> =
            solved.iter().flat_map(|at| sizes.iter().filter_map(move |size| of(at, size))).collect();
        let sum = ln_sum(ratios.iter().map(|r| r.0));
        let chance = prior(entry.kind);
        let ln_odds = sum - total + (chance / (1.0 - chance)).ln();
        if ln_odds > least {
            let mean =
                |of: &dyn Fn(&(f64, f64, f64)) -> f64| ratios.iter().map(|r| (r.0 - sum).exp() * of(r)).sum::<f64>();
            let off = mean(&|r| r.1);
            if entry.kind == MisfitKind::Readings || off.abs() >= *LEAST_OFF_SG {
                let variance = mean(&|r| r.2 + (r.1 - off).powi(2));
                found.push(Hypothesis::Wrong { entry: number, ln_odds, off, variance });
            }
        }
    }
    found
}

/// All hypotheses that are likelier than not by enough.
fn hypotheses(model: &FleetModel, all: &[Entry], rows: &[Row], out: &BTreeSet<usize>) -> Vec<Hypothesis> {
    let solved = solved(model, Variances::grid(&WALK_SD, &PAIR_SD));
    let total = ln_sum(solved.iter().map(|at| at.ln));
    let least = (*NAMED / (1.0 - *NAMED)).ln();
    let mut found = wrong_entries(&solved, all, out);
    // A probe with one or two pairs that still count shows no shift.
    let counted: BTreeMap<usize, usize> =
        rows.iter().enumerate().filter(|(i, _)| !out.contains(i)).fold(BTreeMap::new(), |mut counts, (_, row)| {
            *counts.entry(row.0).or_default() += 1;
            counts
        });
    for (p, part) in model.probes.iter().enumerate().filter(|(p, _)| counted.get(p).is_some_and(|n| *n > 2)) {
        let gaps = VisitGaps::of(part);
        let ratios: Vec<Vec<f64>> = solved.iter().map(|at| shift_ratios(&at.system, p, &gaps, *WRONG_SD)).collect();
        let at = |k: usize| ln_sum(solved.iter().zip(&ratios).filter_map(|(at, of)| Some(at.ln + of.get(k)?)));
        let terms: Vec<f64> = (0..gaps.gaps.len()).map(at).collect();
        let before = (*SHIFTS_BEFORE / *MONTHS_BEFORE * (part.span.1 - part.span.0)).clamp(1e-3, 0.9);
        let ln_odds = ln_sum(terms.iter().copied()) - total + (before / (1.0 - before)).ln();
        let likeliest = gaps.gaps.iter().zip(&terms).max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((gap, _)) = likeliest.filter(|_| ln_odds > least) {
            found.push(Hypothesis::Shift { probe: p, ln_odds, months: 0.5 * (gap.from + gap.to) });
        }
    }
    found
}

fn described(
    season: &Season,
    pairs: &[&ModelPair],
    entry: &Entry,
    ln_odds: f64,
    off: f64,
    variance: f64,
) -> Option<Misfit> {
    let of: Vec<&ModelPair> = entry.pairs.iter().filter_map(|i| pairs.get(*i).copied()).collect();
    let first = of.iter().map(|pair| &pair.pair).min_by_key(|pair| pair.at)?;
    let probes: BTreeSet<&String> = of.iter().map(|pair| &pair.pair.probe).collect();
    let mean = |power: fn(f64) -> f64| of.iter().map(|f| power(f.pair.difference_sg)).sum::<f64>() / of.len() as f64;
    let is_reference = entry.kind == MisfitKind::Sample;
    let bath = first.reference.and_then(|row| season.references.get(row)?.bath.clone());
    Some(Misfit {
        kind: entry.kind,
        at: first.at,
        batch: first.batch.clone(),
        bath: bath.filter(|_| entry.kind == MisfitKind::Bath),
        probes: probes.into_iter().cloned().collect(),
        reference: first.reference.filter(|_| is_reference),
        stated_sg: first.reference_sg,
        // A pair is probe less reference.
        off_sg: if entry.kind == MisfitKind::Readings { mean(|d| d) } else { -off },
        se: if entry.kind == MisfitKind::Readings { mean(|d| d * d).sqrt() } else { variance.sqrt() },
        p: 1.0 / (1.0 + (-ln_odds).exp()),
    })
}
