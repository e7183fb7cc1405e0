//! The model of all probes' errors together.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{DMatrix, DVector};

use crate::season::Season;
use crate::units::Instant;

use super::average::ln_prior;
use super::blocks::{Block, System};
use super::curves::Curves;
use super::pairs::Found;
use super::part::{MONTH_D, Part, Row, Step, Touching};
use super::result::PairKind;
use super::scan::ln_sum;
use super::settings::DriftSettings;
use super::shape::Shape;

/// Bias of all probes in beer against sugar baths (bubbles at rest, foam, meniscus), SD, SG. From memory, no source.
const BEER_SD: f64 = 0.0007;
/// Sideways parts of the walk's variance that are tried, and standard deviations of walk and of pairs with them.
const PARTS: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
const PARTS_WALK_SD: [f64; 5] = [0.0002, 0.0004, 0.0008, 0.0016, 0.004];
const PARTS_PAIR_SD: [f64; 2] = [0.0, 0.001];
/// Work (multiplications) for one solution a probe of all probes, up to which all are solved when one is looked at.
const FOCUS_WORK: f64 = 4e8;

/// Standard deviations that the pairs themselves must tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Variances {
    /// Of the random walk of a probe's error, after 30 days, SG.
    pub walk_sd: f64,
    /// Of a pair beyond all known errors, SG; a part of it the pairs of one stay in a beer have in common.
    pub pair_sd: f64,
}

/// What the pairs and events of a season give the model, apart from the variances.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Model {
    pub probes: Vec<Part>,
    /// SD of each effect that pairs share; the first `probes.len()` are the slopes, free at first.
    pub prior_sd: Vec<Option<f64>>,
    /// Index of the effect "in beer", if any pair has it.
    pub beer: Option<usize>,
    /// What was taken from every slope before.
    pub slope_mean: f64,
}

impl Model {
    pub fn new(season: &Season, curves: &Curves, pairs: &[&Found], settings: &DriftSettings) -> Self {
        let mut by_probe: BTreeMap<&str, Vec<&Found>> = BTreeMap::new();
        for found in pairs {
            by_probe.entry(found.pair.probe.as_str()).or_default().push(found);
        }
        let mut effects = Effects::new(by_probe.len(), by_probe.values());
        let in_beer = |found: &&Found| is_in_beer(found.pair.kind);
        let beer = pairs.iter().any(in_beer).then(|| effects.of(Shared::Beer, BEER_SD));
        let mut parts = Vec::new();
        let shapes = Shape::of(curves, &by_probe.keys().copied().collect::<Vec<_>>());
        for (index, ((probe, found), shape)) in by_probe.iter().zip(shapes).enumerate() {
            parts.push(part(season, settings, index, (probe, shape), found, &mut effects));
        }
        Self { probes: parts, prior_sd: effects.prior_sd, beer, slope_mean: 0.0 }
    }

    /// The blocks for given variances.
    pub fn blocks(&self, variances: Variances) -> Vec<Block<'_>> {
        self.probes.iter().map(|part| part.block(variances)).collect()
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
            let at =
                PARTS_WALK_SD.iter().flat_map(|walk_sd| PARTS_PAIR_SD.iter().map(move |pair_sd| (*walk_sd, *pair_sd)));
            let ln = at.filter_map(|(walk_sd, pair_sd)| {
                let variances = Variances { walk_sd, pair_sd };
                let system = System::new(model.blocks(variances), &model.prior_sd).ok()?;
                Some(system.ln_likelihood + ln_prior(&variances))
            });
            best.push((sideways, ln_sum(ln)));
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
        let numbers = &part.touching.effects;
        let prior_sd = numbers.iter().map(|j| self.prior_sd.get(*j).copied().flatten()).collect();
        let place = |effect: usize| numbers.iter().position(|j| *j == effect);
        let sources = part.touching.sources.iter().filter_map(|(source, j)| Some((*source, place(*j)?))).collect();
        let columns = part.touching.columns.clone();
        let unknown = part.touching.unknown.iter().filter_map(|j| place(*j)).collect();
        let touching = Touching { effects: (0..numbers.len()).collect(), columns, sources, unknown };
        let part = part.remade(part.rows.clone(), part.y.clone(), touching);
        Some(Self { probes: vec![part], prior_sd, beer: None, slope_mean: self.slope_mean })
    }

    /// The same model with another part for its first probe.
    pub fn with_part(&self, part: Part) -> Self {
        let mut model = self.clone();
        if let Some(cell) = model.probes.first_mut() {
            *cell = part;
        }
        model
    }

    /// The same model with `part` for its first probe, whose slope is replaced by two rates with priors of these SDs; `shapes` gives
    /// what each does to the error at a gravity. The first keeps the slope's number, the second is a new effect, the last.
    pub fn with_two_rates(&self, part: Part, shapes: impl Fn(f64) -> (f64, f64), sds: (f64, f64)) -> Self {
        let mut touching = part.touching.clone();
        let last = touching.columns.ncols();
        touching.columns = touching.columns.insert_column(last, 0.0);
        for (i, row) in part.rows.iter().enumerate() {
            let (first, second) = shapes(row.sg);
            for (j, shape) in [(0, first), (last, second)] {
                if let Some(cell) = touching.columns.get_mut((i, j)) {
                    *cell = shape * row.months;
                }
            }
        }
        let slope = part.slope();
        touching.effects.push(self.prior_sd.len());
        // How a steady drift shows is no doubt any more.
        let rows = part.rows.iter().map(|row| Row { line_doubt: 0.0, ..row.clone() }).collect();
        let part = part.remade(rows, part.y.clone(), touching);
        let mut model = self.with_part(part);
        model.prior_sd.push(Some(sds.1));
        if let Some(slope) = model.prior_sd.get_mut(slope) {
            *slope = Some(sds.0);
        }
        model
    }

    /// The probes with which one was in a beer whose gravity nothing else tells, by number.
    pub fn beside(&self, p: usize) -> Vec<usize> {
        let unknown = |part: &Part| part.touching.unknown.iter().copied().collect::<BTreeSet<usize>>();
        let Some(beers) = self.probes.get(p).map(unknown) else { return Vec::new() };
        let others = self.probes.iter().enumerate().filter(|(q, _)| *q != p);
        others.filter(|(_, other)| !beers.is_disjoint(&unknown(other))).map(|(q, _)| q).collect()
    }

    /// The same model with one more step of a probe.
    pub fn with_step(&self, p: usize, step: Step) -> Self {
        let mut model = self.clone();
        if let Some(part) = model.probes.get_mut(p) {
            part.y -= part.column_of(&step) * step.mean;
            part.steps.push(step);
            part.steps.sort_by_key(|step| step.at);
        }
        model
    }
}

/// Whether a pair has the bias in beer; between probes beside each other it falls out.
fn is_in_beer(kind: PairKind) -> bool {
    matches!(kind, PairKind::Sample | PairKind::Stated)
}

/// What pairs of several probes share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Shared {
    /// The bias in beer.
    Beer,
    /// The lift of bubbles in an active fermentation.
    Active,
    /// The gravity of a beer without a sample, by its number.
    Unsampled(usize),
    /// A source of error of calibration, by its number.
    Source(usize),
}

/// Numbers of the effects that pairs share.
struct Effects {
    prior_sd: Vec<Option<f64>>,
    numbers: BTreeMap<Shared, usize>,
    /// Sources of error of more than one probe: the others are in their probe's covariance.
    common: BTreeSet<usize>,
}

impl Effects {
    fn new<'a>(slopes: usize, probes: impl Iterator<Item = &'a Vec<&'a Found>>) -> Self {
        let (mut once, mut common) = (BTreeSet::new(), BTreeSet::new());
        for pairs in probes {
            let sources = pairs.iter().flat_map(|found| &found.errors.shared).map(|(source, _)| *source);
            for source in sources.collect::<BTreeSet<usize>>() {
                if !once.insert(source) {
                    common.insert(source);
                }
            }
        }
        Self { prior_sd: vec![None; slopes], numbers: BTreeMap::new(), common }
    }

    fn of(&mut self, shared: Shared, sd: f64) -> usize {
        if let Some(&number) = self.numbers.get(&shared) {
            return number;
        }
        self.prior_sd.push(Some(sd));
        self.numbers.insert(shared, self.prior_sd.len() - 1);
        self.prior_sd.len() - 1
    }
}

fn part(
    season: &Season,
    settings: &DriftSettings,
    index: usize,
    (probe, shape): (&str, Shape),
    pairs: &[&Found],
    effects: &mut Effects,
) -> Part {
    let n = pairs.len();
    let mut columns: BTreeMap<usize, DVector<f64>> = BTreeMap::new();
    let mut touch = |effect: usize, row: usize, by: f64| {
        if let Some(cell) = columns.entry(effect).or_insert_with(|| DVector::zeros(n)).get_mut(row) {
            *cell = by;
        }
    };
    let mut rows = Vec::with_capacity(n);
    let mut sources = BTreeMap::new();
    let mut unknown = Vec::new();
    let mut stays: BTreeMap<&str, usize> = BTreeMap::new();
    for (row, f) in pairs.iter().enumerate() {
        let mut own = f.pair.own_se.powi(2);
        for &(source, by) in &f.errors.shared {
            if effects.common.contains(&source) {
                let effect = effects.of(Shared::Source(source), 1.0);
                sources.insert(source, effect);
                touch(effect, row, by);
            }
        }
        if let Some(beer) = f.unsampled {
            let effect = effects.of(Shared::Unsampled(beer.number), beer.sd_sg);
            touch(effect, row, 1.0);
            if f.pair.kind == PairKind::Beside {
                unknown.push(effect);
            }
        }
        if is_in_beer(f.pair.kind) {
            touch(effects.of(Shared::Beer, BEER_SD), row, 1.0);
            if f.pair.rate_sg_per_day.abs() > settings.active_sg_per_day {
                touch(effects.of(Shared::Active, settings.active_sd_sg), row, 1.0);
                own += 0.25 * settings.active_sd_sg.powi(2);
            }
        }
        let number = stays.len();
        let stay = f.pair.batch.as_deref().map(|batch| *stays.entry(batch).or_insert(number));
        let pair = Row::at(&shape, f.pair.age_d / MONTH_D, f.pair.reference_sg, f.errors.clone(), own).staying(stay);
        touch(index, row, pair.shows * pair.months);
        rows.push(pair);
    }
    let calibrated_at = pairs.first().map(|f| f.pair.at.plus_days(-f.pair.age_d)).unwrap_or_default();
    let steps = known_steps(season, settings, probe, calibrated_at);
    let y = DVector::from_iterator(n, pairs.iter().map(|f| f.pair.difference_sg));
    let numbers = columns.keys().copied().collect();
    let columns = DMatrix::from_columns(&columns.into_values().collect::<Vec<_>>());
    Part::new((probe, shape), calibrated_at, rows, y, Touching { effects: numbers, columns, sources, unknown }, steps)
}

/// The events of a probe that may move it at once, by time.
fn known_steps(season: &Season, settings: &DriftSettings, probe: &str, calibrated_at: Instant) -> Vec<Step> {
    let of_probe = season.events.iter().filter(|event| event.probe.as_deref() == Some(probe));
    let mut steps: Vec<Step> = of_probe
        .filter_map(|event| {
            let months = event.at.days_since(calibrated_at) / MONTH_D;
            let sd = settings.event_sd(&event.kind)?;
            Some(Step { at: event.at, months, mean: 0.0, sd, event: Some(event.kind.clone()) })
        })
        .collect();
    steps.sort_by_key(|step| step.at);
    steps
}
