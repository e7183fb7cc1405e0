//! The model of all probes' errors together.

use std::collections::{BTreeMap, BTreeSet};

use crate::drift::pairs::ModelPair;
use crate::error::Result;

use super::equations::{MixedEquations, ProbeBlock};
use super::mixture::ln_sum;
use super::pair_row::PairRow;
use super::probe_model::{ProbeModel, SharedEffects};
use super::shift_term::ShiftTerm;
use super::variances::{Variances, ln_prior};

/// Sideways parts of the walk's variance that are tried, and standard deviations of walk and of pairs with them.
const PARTS: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
const PARTS_WALK_SD: [f64; 5] = [0.0002, 0.0004, 0.0008, 0.0016, 0.004];
const PARTS_PAIR_SD: [f64; 2] = [0.0, 0.001];
/// Work (multiplications) for one solution a probe of all probes, up to which all are solved when one is looked at.
const FOCUS_WORK: f64 = 4e8;

/// Variances at which one look tells whether an instrument is bad.
const USUAL: Variances = Variances { walk_sd: 0.0009, pair_sd: 0.0008 };

assumed! {
    /// How often a hydrometer or refractometer is bad.
    const BAD_INSTRUMENTS: f64 = 0.1, "share";
    /// Bias of a bad one, in SDs of a usual one.
    const BAD_SDS: f64 = 4.0, "SD";
}

/// What the pairs and events of a season give the model, apart from the variances.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct FleetModel {
    pub probes: Vec<ProbeModel>,
    /// SD of each effect that pairs share; the first `probes.len()` are the slopes, free at first.
    pub prior_sd: Vec<Option<f64>>,
    /// Index of the effect "in beer", if any pair has it.
    pub beer: Option<usize>,
    /// What was taken from every slope before.
    pub slope_mean: f64,
}

impl FleetModel {
    /// The blocks for given variances.
    pub fn blocks(&self, variances: Variances) -> Vec<ProbeBlock<'_>> {
        self.probes.iter().map(|part| part.block(variances)).collect()
    }

    /// The model solved for given variances.
    pub fn solved(&self, at: Variances) -> Result<MixedEquations<'_>> {
        MixedEquations::new(self.blocks(at), &self.prior_sd)
    }

    /// The same model with a walk of the kind that its pairs show.
    ///
    /// Whether sensors wander (sideways) or masses (proportional) is taken to be alike in all probes of a fleet. The sideways
    /// part of the walk's variance is set at its mean over the restricted likelihood, on coarse grids of it and of the
    /// variances, with a flat prior of the part.
    pub fn with_kind_of_walk(&self) -> Self {
        let mut best = Vec::new();
        for sideways in PARTS {
            let model = self.with_sideways(sideways);
            let ln = |at: Variances| Some(model.solved(at).ok()?.ln_likelihood + ln_prior(&at));
            best.push((sideways, ln_sum(Variances::grid(&PARTS_WALK_SD, &PARTS_PAIR_SD).filter_map(ln))));
        }
        let total = ln_sum(best.iter().map(|(_, ln)| *ln));
        match total.is_finite() {
            true => self.with_sideways(best.iter().map(|(part, ln)| part * (ln - total).exp()).sum()),
            false => self.clone(),
        }
    }

    /// The same model with a walk of which this part of the variance is sideways.
    pub fn with_sideways(&self, sideways: f64) -> Self {
        let probes = self.probes.iter().map(|part| part.with_sideways(sideways)).collect();
        Self { probes, prior_sd: self.prior_sd.clone(), ..*self }
    }

    /// The biases of the instruments behind these pairs, as far as several probes met the instrument: by its name, the number of
    /// the effect and the SD that it usually has, SG.
    pub fn instruments<'a>(&self, pairs: impl Iterator<Item = &'a ModelPair>) -> BTreeMap<String, (usize, f64)> {
        let effect = |source| self.probes.iter().find_map(|part| part.shared.sources.get(&source)).copied();
        let biased = pairs.filter_map(|found| {
            let of = found.instrument.as_ref()?;
            Some((of.name.clone(), (effect(of.bias.source)?, of.bias.effect.abs())))
        });
        biased.collect()
    }

    /// The same model in which an instrument may be as wrong as a bad one, where the pairs make that likelier. Its bias u, in
    /// usual SDs, has the prior N(0, 1), or N(0, T^2) in one case of so many; what the pairs tell of it, u with variance v, has the
    /// densities N(0, 1 + v) and N(0, T^2 + v).
    pub fn with_bad_instruments(mut self, effects: impl Iterator<Item = usize>) -> Self {
        let Ok(system) = self.solved(USUAL) else { return self };
        let is_bad = |effect: &usize| {
            let (mean, variance) = (system.effects.get(*effect)?, system.inverse().get((*effect, *effect))?);
            let told = 1.0 / variance - 1.0;
            let (bias, v, wide) = (mean / (variance * told), 1.0 / told, BAD_SDS.powi(2));
            let ln = |of: f64| -0.5 * ((of + v).ln() + bias * bias / (of + v));
            Some(told > 0.0 && ln(wide) - ln(1.0) > ((1.0 - *BAD_INSTRUMENTS) / *BAD_INSTRUMENTS).ln())
        };
        let bad: Vec<usize> = effects.filter(|effect| is_bad(effect).unwrap_or(false)).collect();
        drop(system);
        for effect in bad {
            if let Some(cell) = self.prior_sd.get_mut(effect) {
                *cell = Some(*BAD_SDS);
            }
        }
        self
    }

    /// The same model with slopes drawn from a population: the mean is taken from the observations, the rest has the SD.
    pub fn with_slopes(&self, mean: f64, sd: f64) -> Self {
        let mut model = self.clone();
        for part in &mut model.probes {
            for (y, row) in part.y.iter_mut().zip(&part.rows) {
                *y -= mean * row.shows * row.months;
            }
            if let Some(prior) = model.prior_sd.get_mut(part.slope()) {
                *prior = Some(sd);
            }
        }
        Self { slope_mean: mean, ..model }
    }

    /// The model with probe `p` first; none for a probe there is not. Where solving all probes once for each would take too
    /// long, that of the probe alone, with what others share with it known by its prior only.
    pub fn focused(&self, p: usize) -> Option<Self> {
        let cubes: f64 = self.probes.iter().map(|part| (part.n() as f64).powi(3)).sum();
        if (self.probes.len() as f64) * (cubes + (self.prior_sd.len() as f64).powi(3)) < FOCUS_WORK {
            let mut model = self.clone();
            model.probes.get(p)?;
            model.probes.swap(0, p);
            return Some(model);
        }
        let part = self.probes.get(p)?;
        let numbers = &part.shared.effects;
        let prior_sd = numbers.iter().map(|j| self.prior_sd.get(*j).copied().flatten()).collect();
        let place = |effect: usize| numbers.iter().position(|j| *j == effect);
        let sources = part.shared.sources.iter().filter_map(|(source, j)| Some((*source, place(*j)?))).collect();
        let columns = part.shared.columns.clone();
        let unknown = part.shared.unknown.iter().filter_map(|j| place(*j)).collect();
        let shared = SharedEffects { effects: (0..numbers.len()).collect(), columns, sources, unknown };
        let part = part.remade(part.rows.clone(), part.y.clone(), shared);
        Some(Self { probes: vec![part], prior_sd, beer: None, slope_mean: self.slope_mean })
    }

    /// The same model with another part for its first probe.
    pub fn with_part(&self, part: ProbeModel) -> Self {
        let mut model = self.clone();
        if let Some(cell) = model.probes.first_mut() {
            *cell = part;
        }
        model
    }

    /// The same model with `part` for its first probe, whose slope is replaced by two rates with priors of these SDs; `shapes` gives
    /// what each does to the error at a gravity. The first keeps the slope's number, the second is a new effect, the last.
    pub fn with_two_rates(&self, part: ProbeModel, shapes: impl Fn(f64) -> (f64, f64), sds: (f64, f64)) -> Self {
        let mut shared = part.shared.clone();
        let last = shared.columns.ncols();
        shared.columns = shared.columns.insert_column(last, 0.0);
        for (i, row) in part.rows.iter().enumerate() {
            let (first, second) = shapes(row.sg);
            for (j, shape) in [(0, first), (last, second)] {
                if let Some(cell) = shared.columns.get_mut((i, j)) {
                    *cell = shape * row.months;
                }
            }
        }
        let slope = part.slope();
        shared.effects.push(self.prior_sd.len());
        // How a steady drift shows is no doubt any more.
        let rows = part.rows.iter().map(|row| PairRow { line_doubt: 0.0, ..row.clone() }).collect();
        let part = part.remade(rows, part.y.clone(), shared);
        let mut model = self.with_part(part);
        model.prior_sd.push(Some(sds.1));
        if let Some(slope) = model.prior_sd.get_mut(slope) {
            *slope = Some(sds.0);
        }
        model
    }

    /// The probes with which one was in a beer whose gravity nothing else tells, by number.
    pub fn beside(&self, p: usize) -> Vec<usize> {
        let unknown = |part: &ProbeModel| part.shared.unknown.iter().copied().collect::<BTreeSet<usize>>();
        let Some(beers) = self.probes.get(p).map(unknown) else { return Vec::new() };
        let others = self.probes.iter().enumerate().filter(|(q, _)| *q != p);
        others.filter(|(_, other)| !beers.is_disjoint(&unknown(other))).map(|(q, _)| q).collect()
    }

    /// The same model with one more step of a probe.
    pub fn with_step(&self, p: usize, step: ShiftTerm) -> Self {
        let mut model = self.clone();
        if let Some(part) = model.probes.get_mut(p) {
            part.steps.push(step);
            part.steps.sort_by_key(|step| step.at);
        }
        model
    }
}
