//! What other times tell of the errors of probes in a batch: the drift without the batch's own samples.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use nalgebra::{DMatrix, DVector};

use crate::calibration::Calibrations;
use crate::gravity::{BatchErrors, ErrorKnot, ErrorStep, Gravity, GravitySeries, KnownErrors, KnownInstrument};
use crate::season::Season;
use crate::units::Instant;

use crate::drift::pairs::{Curves, ModelPair, OnFirstCurve};
use crate::drift::results::{Misfit, MisfitKind};
use crate::drift::settings::DriftSettings;

use super::average::Averaged;
use super::equations::{BlockPrediction, MixedEquations, PredictionTarget, WhitenedBlock};
use super::fleet_model::FleetModel;
use super::pair_row::PairRow;
use super::probe_model::ProbeModel;
use super::variances::Variances;

assumed! {
    /// SD of the mean drift of the fleet before its pairs are looked at: wide.
    const FLEET_SD: f64 = 0.003, "SG in 30 d";
    /// Least SD of what one immersion differs from another, as a share of that in the settings where the season does not tell.
    const LEAST_IMMERSION: f64 = 0.5, "share";
    /// Readings from which the level at a state is taken.
    const PLATEAU_READINGS: usize = 9, "readings";
    /// A smaller fall has one state a probe.
    const LEAST_FALL_SG: f64 = 0.004, "SG";
}

/// So long before a shift a probe is as it was, hours.
const BEFORE_H: f64 = 0.1;

/// The drift of all probes, ready to tell what a batch's probes may read wrong without that batch's own samples.
///
/// The variances (of the random walk, of a pair beyond its known errors, of the drift from probe to probe) are held at
/// the root mean squares that all pairs give, and so are the dates of shifts. Given them the drift is a linear model with
/// normal errors: the batch's samples are left out and all the rest solved anew, the mean drift of the fleet included. So
/// nothing of a sample comes to its batch through the drift but its share in these few variances.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ProbeErrors {
    model: FleetModel,
    /// By probe, the batch of each row; none for a bath.
    batches: Vec<Vec<Option<String>>>,
    /// Why pairs are left out.
    left_out: BTreeMap<PairKey, String>,
    held: HeldVariances,
    misfits: Vec<Misfit>,
    /// The biases of instruments: by name, the number of the effect and the usual SD, SG.
    instruments: BTreeMap<String, (usize, f64)>,
    /// The probes with all their pairs, whitened when first asked for: most are in no sample of a batch.
    whitened: OnceLock<Vec<Option<WhitenedBlock>>>,
}

/// Probe, time and reference of a pair.
type PairKey = (String, Instant, u64);

fn key(of: &ModelPair) -> PairKey {
    (of.pair.probe.clone(), of.pair.at, of.pair.reference_sg.to_bits())
}

/// What is not fitted anew for each batch.
#[derive(Debug, Clone, Copy, PartialEq)]
struct HeldVariances {
    variances: Variances,
    /// SD of what one immersion differs from another, SG.
    immersion_sd: f64,
    /// SD of the drift from probe to probe, SG per 30 days.
    slope_sd: f64,
    /// Whether the fleet's mean drift is known from nothing else than its pairs.
    fleet: bool,
}

/// A state of a probe of a batch.
struct ProbeInBatch<'m> {
    knot: ErrorKnot,
    /// Of the season's readings.
    row: usize,
    at: Instant,
    tilt_deg: f64,
    temp_c: f64,
    /// Of the model's probes.
    block: usize,
    part: &'m ProbeModel,
}

impl BatchErrors for ProbeErrors {
    /// The errors of a batch's probes, from all baths, checks and samples but the batch's own. None where a probe of the
    /// batch has no pairs at all or no curve where the batch was, or where the rest does not suffice.
    fn in_batch(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        gravity: &Gravity,
        series: &GravitySeries,
    ) -> Option<KnownErrors> {
        let asked = self.asked(season, series).filter(|asked| !asked.is_empty())?;
        let curves = Curves::new(calibrations).ok()?;
        let seen = |one: &ProbeInBatch<'_>| {
            let used = gravity.calibration.get(one.row).copied().flatten()?;
            let curve = calibrations.calibrations.get(used as usize)?;
            curves.seen_at(&curve.probe, curve, one.tilt_deg, one.temp_c)
        };
        let seen: Vec<OnFirstCurve> = asked.iter().map(seen).collect::<Option<_>>()?;
        let parts = self.without(&series.batch);
        let whitened = |part: &ProbeModel| part.block(self.held.variances).whitened().ok();
        let whole = self.whitened.get_or_init(|| self.model.probes.iter().map(whitened).collect());
        let blocks = parts.iter().zip(whole).map(|(part, whole)| match part {
            Cow::Borrowed(_) => whole.as_ref().map(Cow::Borrowed),
            Cow::Owned(part) => whitened(part).map(Cow::Owned),
        });
        let system = MixedEquations::of(blocks.collect::<Option<_>>()?, &self.model.prior_sd).ok()?;
        let instruments = self.of_samples(series);
        let (mean, covariance) = self.predict(&system, &parts, (&asked, &seen), &instruments)?;
        let moved = seen.iter().map(|seen| seen.moved_sg).chain(std::iter::repeat(0.0));
        Some(KnownErrors {
            knots: asked.iter().map(|one| one.knot).collect(),
            mean_sg: mean.iter().zip(moved).map(|(mean, moved)| mean + moved).collect(),
            covariance: covariance.row_iter().map(|row| row.iter().copied().collect()).collect(),
            steps: self.steps(series),
            instruments,
        })
    }

    fn is_wrong(&self, batch: &str, at: Instant, sg: f64) -> bool {
        self.misfits.iter().any(|misfit| match misfit.kind {
            MisfitKind::Sample => {
                misfit.batch.as_deref() == Some(batch) && misfit.at == at && (misfit.stated_sg - sg).abs() < 1e-9
            }
            MisfitKind::Original => misfit.batch.as_deref() == Some(batch) && (misfit.stated_sg - sg).abs() < 1e-9,
            MisfitKind::Bath | MisfitKind::Readings => false,
        })
    }

    fn is_foreign(&self, batch: &str, probe: &str) -> bool {
        let of = |misfit: &&Misfit| misfit.kind == MisfitKind::Readings && misfit.batch.as_deref() == Some(batch);
        self.misfits.iter().filter(of).any(|misfit| misfit.probes.iter().any(|of| of == probe))
    }
}

impl ProbeErrors {
    /// From a solved model of these pairs; `slopes` are mean and SD of the drift over probes where the fleet shows them.
    pub(in crate::drift) fn new(
        model: &FleetModel,
        (found, misfits): (&[ModelPair], &[Misfit]),
        averaged: &Averaged,
        slopes: Option<(f64, f64)>,
        settings: &DriftSettings,
    ) -> Self {
        let rms = |of: fn(&Variances) -> f64| {
            let (mean, sd) = averaged.variance_sd(of);
            mean.hypot(sd)
        };
        let variances = Variances { walk_sd: rms(|v| v.walk_sd), pair_sd: rms(|v| v.pair_sd) };
        let least = *LEAST_IMMERSION * settings.offset_prior.at_calibration_sd;
        let held = HeldVariances {
            variances,
            immersion_sd: variances.pair_sd.max(least),
            slope_sd: slopes.map_or(settings.offset_prior.per_30d_sd, |(_, sd)| sd).max(1e-6),
            fleet: slopes.is_some(),
        };
        Self::with(model, (found, misfits), held)
    }

    /// The same with the pairs of another model, and what is held here, dates of shifts included.
    pub(in crate::drift) fn of_other(&self, model: &FleetModel, found: &[ModelPair]) -> Self {
        let mut other = Self::with(model, (found, &self.misfits), self.held);
        for own in &self.model.probes {
            let Some(p) = other.model.probes.iter().position(|part| part.probe == own.probe) else { continue };
            if let Some(part) = other.model.probes.get_mut(p) {
                *part = part.with_sideways(own.sideways);
            }
            let has = other.model.probes.get(p).map(|part| part.steps.clone()).unwrap_or_default();
            for step in own.steps.iter().filter(|step| !has.contains(step)) {
                other.model = other.model.with_step(p, step.clone());
            }
        }
        for (name, (effect, _)) in &other.instruments {
            let own = self.instruments.get(name).and_then(|(own, _)| self.model.prior_sd.get(*own));
            if let (Some(own), Some(cell)) = (own, other.model.prior_sd.get_mut(*effect)) {
                *cell = *own;
            }
        }
        other
    }

    /// Leaves out the pairs that are left out here.
    pub(in crate::drift) fn leave_out(&self, found: &mut [ModelPair]) {
        for f in found {
            f.pair.left_out = f.pair.left_out.take().or_else(|| self.left_out.get(&key(f)).cloned());
        }
    }

    fn with(model: &FleetModel, (found, misfits): (&[ModelPair], &[Misfit]), held: HeldVariances) -> Self {
        let used = || found.iter().filter(|f| f.pair.left_out.is_none());
        let batches = model
            .probes
            .iter()
            .map(|part| used().filter(|f| f.pair.probe == part.probe).map(|f| f.pair.batch.clone()).collect())
            .collect();
        let mut model = model.clone();
        let mean = model.prior_sd.len();
        for part in &mut model.probes {
            if let Some(prior) = model.prior_sd.get_mut(part.slope()) {
                *prior = Some(held.slope_sd);
            }
            if held.fleet {
                let shared = &mut part.shared;
                let n = shared.columns.ncols();
                let slope = shared.columns.column(0).clone_owned();
                shared.columns = shared.columns.clone().insert_column(n, 0.0);
                shared.columns.set_column(n, &slope);
                shared.effects.push(mean);
            }
        }
        if held.fleet {
            model.prior_sd.push(Some(*FLEET_SD));
        }
        let left_out = found.iter().filter_map(|f| Some((key(f), f.pair.left_out.clone()?))).collect();
        let instruments = model.instruments(used());
        Self { model, batches, left_out, held, misfits: misfits.to_vec(), instruments, whitened: OnceLock::new() }
    }

    /// The instruments of a batch's samples whose biases are in the model.
    fn of_samples(&self, series: &GravitySeries) -> Vec<KnownInstrument> {
        let names: BTreeSet<&String> = series.samples.iter().filter_map(|sample| sample.instrument.as_ref()).collect();
        let known = names.into_iter().filter_map(|name| Some((name, self.instruments.get(name)?)));
        known.map(|(name, (_, sd))| KnownInstrument { name: name.clone(), prior_sd_sg: *sd }).collect()
    }

    /// The probes without the samples of a batch.
    fn without(&self, batch: &str) -> Vec<Cow<'_, ProbeModel>> {
        let is_other = |of: &Option<String>| of.as_deref() != Some(batch);
        let parts = self.model.probes.iter().zip(&self.batches);
        parts.map(|(part, batches)| part.only(|row| batches.get(row).is_none_or(is_other))).collect()
    }

    /// Shifts of the probes by events while they were in a batch: its own readings tell their size.
    fn steps(&self, series: &GravitySeries) -> Vec<ErrorStep> {
        let mut steps = Vec::new();
        for (p, probe) in series.probes.iter().enumerate() {
            let probe_index = p as u32;
            let hours =
                || series.hours.iter().zip(&series.probe).filter(|(_, of)| **of == probe_index).map(|(h, _)| *h);
            let (first, last) = hours().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), h| (a.min(h), b.max(h)));
            let part = self.model.probes.iter().find(|part| part.probe == probe.probe);
            for step in part.into_iter().flat_map(|part| &part.steps).filter(|step| !step.is_found()) {
                let hours = step.at.hours_since(series.pitched_at);
                if first < hours && hours < last {
                    steps.push(ErrorStep { probe: probe_index, hours, sd_sg: step.sd });
                }
            }
        }
        steps
    }

    /// The states of a batch: the first and the last gravity of each probe before cooling, both in the middle of the time
    /// between them, or before a shift if one comes earlier.
    fn asked(&self, season: &Season, series: &GravitySeries) -> Option<Vec<ProbeInBatch<'_>>> {
        let mut asked = Vec::new();
        let steps = self.steps(series);
        for (p, probe) in series.probes.iter().enumerate() {
            let block = self.model.probes.iter().position(|part| part.probe == probe.probe)?;
            let part = self.model.probes.get(block)?;
            let states = states(series, p as u32);
            let hours: Vec<f64> = states.iter().filter_map(|&i| series.hours.get(i)).copied().collect();
            let shifted = steps.iter().filter(|step| step.probe == p as u32).map(|step| step.hours - BEFORE_H);
            let middle = hours.iter().sum::<f64>() / hours.len().max(1) as f64;
            let at = series.pitched_at.plus_hours(shifted.fold(middle, f64::min));
            for i in states {
                let (row, sg) = (*series.rows.get(i)?, *series.sg.get(i)?);
                let reading = season.readings.get(row)?;
                let (tilt_deg, temp_c) = (reading.tilt_deg, reading.temp_c);
                asked.push(ProbeInBatch {
                    knot: ErrorKnot { probe: p as u32, sg },
                    row,
                    at,
                    tilt_deg,
                    temp_c,
                    block,
                    part,
                });
            }
        }
        Some(asked)
    }

    /// Best linear unbiased predictions of the errors on the first curves and of the biases of instruments, and the covariance of
    /// their errors.
    fn predict(
        &self,
        system: &MixedEquations<'_>,
        parts: &[Cow<'_, ProbeModel>],
        (asked, seen): (&[ProbeInBatch<'_>], &[OnFirstCurve]),
        instruments: &[KnownInstrument],
    ) -> Option<(Vec<f64>, DMatrix<f64>)> {
        let states: Vec<PairRow> = asked
            .iter()
            .zip(seen)
            .map(|(one, seen)| one.part.state(one.part.months_at(one.at), one.knot.sg, seen.errors.clone()))
            .collect();
        let first = parts.first().map_or(0, |part| part.n());
        let of_instrument = |of: &KnownInstrument| {
            let (effect, load) = *self.instruments.get(&of.name)?;
            let covariance = DVector::zeros(first);
            system.seek(0, &PredictionTarget { effect, load, shared: Vec::new(), covariance, variance: 0.0 })
        };
        let of_probes = asked.iter().zip(&states).map(|(one, state)| {
            let mut target = parts.get(one.block)?.error_target(state, self.held.variances);
            if self.held.fleet {
                target.shared.push((self.model.prior_sd.len() - 1, target.load));
            }
            target.shared.extend(self.model.beer.map(|beer| (beer, 1.0)));
            system.seek(one.block, &target)
        });
        let sought: Vec<BlockPrediction> =
            of_probes.chain(instruments.iter().map(of_instrument)).collect::<Option<_>>()?;
        let n = sought.len();
        let mut covariance = DMatrix::<f64>::zeros(n, n);
        for i in 0..n {
            for j in 0..n {
                let (Some(of_a), Some(of_b)) = (sought.get(i), sought.get(j)) else { continue };
                covariance[(i, j)] = system.covariance(of_a, of_b);
                if let (Some(a), Some(b)) = (asked.get(i), asked.get(j))
                    && a.block == b.block
                {
                    // Before any pair is looked at, the slope and what pairs share apart. One immersion lasts the whole batch.
                    let own = a.part.between(states.get(i)?, states.get(j)?, self.held.variances);
                    covariance[(i, j)] += own + self.held.immersion_sd.powi(2) - of_a.white.dot(&of_b.white);
                }
            }
        }
        Some((sought.iter().map(|one| one.value).collect(), covariance))
    }
}

/// Entries of the series at which a probe's error is stated, the higher gravity first: each the median of its
/// neighbourhood.
fn states(series: &GravitySeries, probe: u32) -> Vec<usize> {
    let until = series.cooled_hours.unwrap_or(f64::INFINITY);
    let mut mine: Vec<usize> = (0..series.hours.len()).filter(|&i| series.probe.get(i) == Some(&probe)).collect();
    let before = mine.partition_point(|&i| series.hours.get(i).is_some_and(|hours| *hours <= until));
    if before > 0 {
        mine.truncate(before);
    }
    let sg = |i: &usize| series.sg.get(*i).copied().unwrap_or(f64::NAN);
    let middle = |of: &[usize]| {
        let mut sorted = of.to_vec();
        sorted.sort_by(|a, b| sg(a).total_cmp(&sg(b)));
        sorted.get(sorted.len() / 2).copied()
    };
    let enough = (*PLATEAU_READINGS).min(mine.len());
    match (mine.get(..enough).and_then(middle), mine.get(mine.len() - enough..).and_then(middle)) {
        (Some(first), Some(last)) if sg(&first) - sg(&last) > *LEAST_FALL_SG => vec![first, last],
        (_, Some(last)) => vec![last],
        _ => Vec::new(),
    }
}
