//! The study: from pairs to the drift of each probe and of the fleet.

use std::collections::BTreeSet;

use crate::calibration::{Calibrations, probe_ids};
use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding};
use crate::gravity::OffsetPrior;
use crate::season::Season;

use crate::drift::model::{Averaged, FleetModel, METHOD, ProbeErrors, ProbeModel, ShiftTerm};
use crate::drift::pairs::{Curves, KnownStays, ModelPair, find_pairs};
use crate::drift::results::{DriftPair, InstrumentBias, Misfit, PairKind, ProbeDrift, Recalibrate, Shift};
use crate::drift::settings::DriftSettings;
use crate::drift::shifts::{OVER_SHIFTS, ShiftAverage, find_misfits};

use super::correction::Correction;
use super::drift::Drift;
use super::end_gravities::{end_gravities, middle_sg};
use super::fleet::FleetAnswer;
use super::further_probe::FleetEvidence;
use super::recalibration::{Predictor, ProbePrediction};
use super::verdict::{last_check, verdict};

/// A slope needs pairs at this many times.
const TIMES_NEEDED: usize = 2;

assumed! {
    /// A slope needs a span of this many days.
    const SPAN_NEEDED_D: f64 = 7.0, "d";
}

/// Why the pairs of a probe are left out that cannot be in a model.
const UNSOLVABLE: &str = "the covariance of the probe's pairs is not positive definite";
const NO_PAIRS: &str = "no reference beyond its first calibration";

impl DriftSettings {
    /// Drift of every probe and of the fleet.
    ///
    /// # Model
    /// ```text
    /// difference_i = c_i (b_p age_i + walk_p(age_i) + steps_p) + curve_p(i) + instrument + bath or sample + beer + own_i
    /// ```
    /// in SG, on the probe's first calibration: at age 0 the probe is right but for the error of its curve, which is in all
    /// its pairs (coefficients, shell, thermometer; their joint covariance) and is never averaged away. The baths that
    /// made the curve are therefore no pairs. `walk` is a random walk of unknown variance, common to all probes; `steps` are
    /// known changes (cell, shell, board, knock) with a wide prior; `c_i` brings the error from SG 1.020, where drift is
    /// stated, to the pair's gravity, with a doubt that holds for all pairs of the probe: an error of mass shows in proportion to
    /// SG, one of the sensor's zero or across the axis as the slope of the probe's curve. For the walk it is the kind that the
    /// fleet's pairs show; the sideways part of it is alike in degrees, so that a probe with a steeper curve walks farther in SG. Instruments, baths and samples that several pairs share are effects
    /// with known SDs; `beer` is a bias of all samples, and samples of an active fermentation have one more (bubbles).
    ///
    /// A probe's drift is the least-squares slope of its error (line, walk and steps) on a weekly grid from its calibration
    /// to its last pair: predicted, not only the line's slope. The variances of the walk and of pairs beyond their known
    /// errors are averaged over their restricted likelihood.
    ///
    /// A reference that the rest contradicts is left out and named ([`Misfit`]), and so are the readings of a probe that all
    /// samples of its batch contradict: a wrong entry is weighed against a shift of the probe, and the likelier is taken.
    /// Sudden shifts that nobody wrote down are then sought in the pairs, and those found join the model. What readings alone tell between batches is in the pairs too: probes at rest beside each other in a beer without a sample, whose
    /// gravity is an effect that they share, and worts whose original gravity is stated. The gravity at which a beer with one
    /// probe rests is not known beforehand and tells nothing. Where two probes have parted and nothing else
    /// says which of them shifted, both are named, with what each then may have. A probe's drift with and
    /// without its shifts, and its error at any time, are averaged over whether and when there was one, found in the pairs or not.
    ///
    /// The error of a curve is that of its sources: what baths, instruments and weighings did to it is one effect for all
    /// probes that were calibrated with them. A reference that is read with an instrument that the curve was made with
    /// shares its bias with the curve, so that in their difference it falls out as far as it should. A hydrometer or refractometer
    /// that several probes met is a usual one or, where their pairs make that likelier, a bad one. Its bias is told
    /// ([`Drift::instruments`]), and fermentation curves take it off the samples of their batch.
    ///
    /// The fleet's mean is a random-effects mean over probes (Hartung and Knapp, t with probes - 1 degrees of freedom); the
    /// error that all probes share (instruments, beer) is added to it.
    ///
    /// # Errors
    /// [`Error::Setting`] for a setting that cannot be. A probe or fleet that cannot be estimated is a finding, no error.
    #[doc = example!(no_run "let calibrations = CalibrationSettings::default().fit(&season)?;\nlet drift = DriftSettings::default().fit(&season, &calibrations)?;\nprintln!(\"{}\", drift.probe(\"dunlin\")?.drift_sg_per_30d);")]
    pub fn fit(&self, season: &Season, calibrations: &Calibrations) -> Result<Drift> {
        self.check()?;
        let curves = Curves::new(calibrations)?;
        let (found, model, misfits) = self.model(season, calibrations, &curves, &KnownStays::default())?;
        let model = model.with_kind_of_walk();
        let before = averaged(&model);
        let slopes = self.slopes(&model, &before);
        // What another probe may do holds shifts as well: the prior of offsets is that of the model without those found.
        let offset_prior = self.fleet(&model, &before, &slopes).offset_prior;
        let (model, mut shifts) = if before.is_ok() { self.find_shifts(&model) } else { (model.clone(), Vec::new()) };
        let averaged = if shifts.is_empty() { before } else { averaged(&model) };
        let [slopes, gradual] = self.slopes_over_shifts(&model, &averaged);
        let fleet = self.fleet(&model, &averaged, &slopes);
        if let Ok(averaged) = &averaged {
            shifts.extend(self.known_shifts(averaged));
        }
        shifts.sort_by(|a, b| (&a.probe, a.at).cmp(&(&b.probe, b.at)));
        let kinds = match (&averaged, season.latest()) {
            (Ok(averaged), Some(latest)) => self.kinds(averaged, &curves, latest, self.slopes_of(&fleet)),
            _ => Vec::new(),
        };
        let ends_sg = end_gravities(season, calibrations)?;
        let interval_d = self.future(&averaged, &curves, &fleet, &shifts, &ends_sg);
        let (predictions, corrections) =
            self.predictions(season, (calibrations, &curves), &model, &averaged, &fleet, &ends_sg);
        let probe_errors = self.probe_errors(&model, (&found, &misfits), &averaged, &fleet);
        let probes = probe_ids(season)
            .into_iter()
            .map(|probe| {
                self.of_probe(probe, calibrations, (&model, &found), (&slopes, &gradual), &shifts, &predictions)
            })
            .collect();
        let instruments = self.instruments(&model, &found, &averaged);
        Ok(Drift {
            pairs: found.into_iter().map(|f| f.pair).collect(),
            probes,
            fleet: fleet.terms,
            instruments,
            shifts,
            misfits,
            offset_prior,
            probe_errors,
            kinds,
            interval_d,
            corrections,
            ends_sg,
            latest: season.latest(),
            limit_sg: self.limit_sg,
            limit_chance: self.limit_chance,
            level: self.common.level,
        })
    }

    /// What a probe's offset in a batch may be, and what the probes of a given batch may read wrong, by the drift of the
    /// season: the part of [`DriftSettings::fit`] that other studies need, without the rest. Shifts are those of known
    /// events; none are sought.
    pub(crate) fn errors(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        known: &KnownStays,
    ) -> Result<(OffsetPrior, Option<ProbeErrors>)> {
        self.check()?;
        let curves = Curves::new(calibrations)?;
        let (found, model, misfits) = self.model(season, calibrations, &curves, known)?;
        let model = model.with_kind_of_walk();
        let averaged = averaged(&model);
        let slopes = self.slopes(&model, &averaged);
        let fleet = self.fleet(&model, &averaged, &slopes);
        Ok((fleet.offset_prior, self.probe_errors(&model, (&found, &misfits), &averaged, &fleet)))
    }

    /// What the probes may read wrong by the pairs of this season, with the variances, the entries left out and the dates
    /// of shifts that are held in `held`, of this season or another that differs little.
    pub(crate) fn errors_given(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        known: &KnownStays,
        held: &ProbeErrors,
    ) -> Result<ProbeErrors> {
        self.check()?;
        let mut found = find_pairs(season, calibrations, known, self)?;
        held.leave_out(&mut found);
        let used: Vec<&ModelPair> = found.iter().filter(|f| f.pair.left_out.is_none()).collect();
        let model = FleetModel::new(season, &Curves::new(calibrations)?, &used, self);
        Ok(held.of_other(&model, &found))
    }

    fn probe_errors(
        &self,
        model: &FleetModel,
        found: (&[ModelPair], &[Misfit]),
        averaged: &Result<Averaged>,
        fleet: &FleetAnswer,
    ) -> Option<ProbeErrors> {
        averaged.as_ref().ok().map(|averaged| ProbeErrors::new(model, found, averaged, fleet.slopes, self))
    }

    /// The pairs and their model. A probe whose pairs make no covariance takes no part in it: they are left out, with the
    /// reason, and the model of the others stands.
    fn model(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        curves: &Curves,
        known: &KnownStays,
    ) -> Result<(Vec<ModelPair>, FleetModel, Vec<Misfit>)> {
        let mut found = find_pairs(season, calibrations, known, self)?;
        let of = |found: &[ModelPair]| {
            let used: Vec<&ModelPair> = found.iter().filter(|f| f.pair.left_out.is_none()).collect();
            let model = FleetModel::new(season, curves, &used, self);
            let instruments = model.instruments(used.iter().copied());
            model.with_bad_instruments(instruments.into_values().map(|(effect, _)| effect))
        };
        let model = of(&found);
        let unsolvable: BTreeSet<&str> =
            model.probes.iter().filter(|part| !part.is_solvable()).map(|part| part.probe.as_str()).collect();
        for f in found.iter_mut().filter(|f| unsolvable.contains(f.pair.probe.as_str())) {
            f.pair.left_out.get_or_insert_with(|| UNSOLVABLE.to_owned());
        }
        let model = if unsolvable.is_empty() { model } else { of(&found) };
        let places: Vec<usize> =
            (0..found.len()).filter(|i| found.get(*i).is_some_and(|f| f.pair.left_out.is_none())).collect();
        let used: Vec<&ModelPair> = places.iter().filter_map(|i| found.get(*i)).collect();
        let (misfits, out): (Vec<Misfit>, Vec<Vec<usize>>) = find_misfits(season, &model, &used).into_iter().unzip();
        if misfits.is_empty() {
            return Ok((found, model, misfits));
        }
        for (misfit, pairs) in misfits.iter().zip(&out) {
            for place in pairs.iter().filter_map(|i| places.get(*i)) {
                if let Some(f) = found.get_mut(*place) {
                    f.pair.left_out = Some(format!("{} off by {:+.4} does not fit", misfit.kind.name(), misfit.off_sg));
                }
            }
        }
        let model = of(&found);
        Ok((found, model, misfits))
    }

    /// The slope of every part of the model, with the sudden steps that are in it.
    fn slopes(&self, model: &FleetModel, averaged: &Result<Averaged>) -> Vec<Finding> {
        each(model, averaged, |averaged, p| averaged.slope(p, true, self.common.level))
    }

    /// The slope of every part, with and without sudden shifts, averaged over what shifts there may be.
    fn slopes_over_shifts(&self, model: &FleetModel, averaged: &Result<Averaged>) -> [Vec<Finding>; 2] {
        let over = averaged.as_ref().ok().map(|averaged| ShiftAverage::new(averaged, self.change_sd_sg));
        let of = |shifts: bool, p: usize| {
            let (Some(over), Some(part)) = (&over, model.probes.get(p)) else {
                return Err(Error::not_estimable("drift", "no such probe"));
            };
            let stepped = |step: &ShiftTerm| if shifts { part.slope_of_step(step) } else { 0.0 };
            over.mixture(p, |variances| part.slope_target(variances, shifts), stepped)
                .estimate(self.common.level, OVER_SHIFTS)
        };
        [true, false].map(|shifts| each(model, averaged, |_, p| of(shifts, p)))
    }

    /// The biases of the instruments.
    fn instruments(&self, model: &FleetModel, found: &[ModelPair], averaged: &Result<Averaged>) -> Vec<InstrumentBias> {
        let Ok(averaged) = averaged else { return Vec::new() };
        let bias = |(instrument, (effect, sd)): (String, (usize, f64))| {
            let found = averaged.effect(effect, self.common.level, METHOD);
            let found = found.and_then(|e| Estimate::normal(sd * e.value, sd * e.se, e.level, METHOD));
            InstrumentBias { instrument, bias_sg: found.into() }
        };
        model.instruments(found.iter().filter(|f| f.pair.left_out.is_none())).into_iter().map(bias).collect()
    }

    /// The interval that is recommended for the fleet.
    fn future(
        &self,
        averaged: &Result<Averaged>,
        curves: &Curves,
        fleet: &FleetAnswer,
        shifts: &[Shift],
        ends_sg: &[f64],
    ) -> Finding {
        let (Ok(averaged), Some((mean, df)), Some((_, between))) = (averaged, &fleet.mean, fleet.slopes) else {
            return Finding::missing("fewer than two probes with a drift rate");
        };
        let end_sg = middle_sg(ends_sg);
        // The spread of another probe has the doubt about the mean in it, which is drawn for itself.
        let between = (between * between - mean.se * mean.se).max(0.0).sqrt();
        let seen = FleetEvidence { averaged, mean, between, df: *df, shifts, curves, end_sg };
        let span_d = averaged.model.probes.iter().map(ProbeModel::span_d).fold(0.0, f64::max);
        self.interval(&seen.draws(self), span_d)
    }

    /// Mean and SD of the slope of a probe of this fleet; where there is no fleet, those of the settings.
    fn slopes_of(&self, fleet: &FleetAnswer) -> (f64, f64) {
        fleet.slopes.unwrap_or((0.0, self.offset_prior.per_30d_sd))
    }

    /// Predictions by probe, with the slopes drawn from the fleet's.
    fn predictions(
        &self,
        season: &Season,
        (calibrations, curves): (&Calibrations, &Curves),
        model: &FleetModel,
        averaged: &Result<Averaged>,
        fleet: &FleetAnswer,
        ends_sg: &[f64],
    ) -> (Vec<ProbePrediction>, Vec<Correction>) {
        let (Ok(averaged), Some(latest)) = (averaged, season.latest()) else { return (Vec::new(), Vec::new()) };
        let (mean, sd) = self.slopes_of(fleet);
        let shrunk = model.with_slopes(mean, sd);
        let averaged = match averaged.again(&shrunk) {
            Ok(averaged) => averaged,
            Err(why) => {
                let missing = ProbePrediction::missing(&why.to_string());
                return (vec![missing; model.probes.len()], Vec::new());
            }
        };
        let over = ShiftAverage::new(&averaged, self.change_sd_sg);
        let predictions = Predictor { model: &shrunk, over, curves, ends_sg, latest, settings: self };
        let parts = shrunk.probes.iter().enumerate();
        let corrections = parts.flat_map(|(p, part)| predictions.corrections(p, part, calibrations)).collect();
        ((0..model.probes.len()).map(|p| predictions.of(p)).collect(), corrections)
    }

    fn of_probe(
        &self,
        probe: String,
        calibrations: &Calibrations,
        (model, found): (&FleetModel, &[ModelPair]),
        (slopes, gradual): (&[Finding], &[Finding]),
        shifts: &[Shift],
        predictions: &[ProbePrediction],
    ) -> ProbeDrift {
        let place = model.probes.iter().position(|part| part.probe == probe);
        let part = place.and_then(|p| model.probes.get(p));
        let pairs: Vec<&DriftPair> = found.iter().map(|f| &f.pair).filter(|pair| pair.probe == probe).collect();
        let is_unsolvable = |pair: &&DriftPair| pair.left_out.as_deref() == Some(UNSOLVABLE);
        let no_pairs = match calibrations.first(&probe) {
            None => "the probe has no calibration",
            Some(_) if pairs.iter().any(is_unsolvable) => UNSOLVABLE,
            Some(_) => NO_PAIRS,
        };
        let of = |slopes: &[Finding]| {
            place.and_then(|p| slopes.get(p).cloned()).unwrap_or_else(|| Finding::missing(no_pairs))
        };
        let (drift_sg_per_30d, gradual_sg_per_30d) = (of(slopes), of(gradual));
        let why = drift_sg_per_30d.why().unwrap_or(no_pairs);
        let of_reference = |pair: &&&DriftPair| pair.left_out.is_none() && pair.kind != PairKind::SameBeer;
        let checks: Vec<&DriftPair> = pairs.iter().filter(of_reference).copied().collect();
        let outlook = place.and_then(|p| predictions.get(p)).cloned().unwrap_or_else(|| ProbePrediction::missing(why));
        let last_check = last_check(&checks);
        let shifts = shifts.iter().filter(|shift| shift.probe == probe).count();
        let between = Some((&gradual_sg_per_30d, shifts)).filter(|_| shifts > 0);
        let due = outlook.recalibrate == Recalibrate::AlreadyPast;
        ProbeDrift {
            verdict: verdict(&drift_sg_per_30d, between, last_check, due),
            last_check,
            n: checks.len(),
            span_d: part.map_or(0.0, ProbeModel::span_d),
            drift_sg_per_30d,
            gradual_sg_per_30d,
            offset_sg: outlook.offset,
            since_last_sg: outlook.since_last,
            recalibrate: outlook.recalibrate,
            out_of_limit: outlook.out_of_limit,
            track: outlook.track,
            probe,
        }
    }
}

/// A finding for every part of the model.
fn each(
    model: &FleetModel,
    averaged: &Result<Averaged>,
    of: impl Fn(&Averaged, usize) -> Result<crate::fit::Estimate>,
) -> Vec<Finding> {
    let one = |(p, part): (usize, &ProbeModel)| match (too_little(part), averaged) {
        (Some(why), _) => Finding::missing(why),
        (None, Ok(averaged)) => of(averaged, p).into(),
        (None, Err(why)) => Finding::missing(why.to_string()),
    };
    model.probes.iter().enumerate().map(one).collect()
}

fn averaged(model: &FleetModel) -> Result<Averaged<'_>> {
    if model.probes.is_empty() {
        return Err(Error::not_estimable("drift", "no reference beyond the first calibrations"));
    }
    Averaged::over(model)
}

fn too_little(part: &ProbeModel) -> Option<String> {
    if part.times().len() < TIMES_NEEDED {
        return Some("references at one time only".into());
    }
    (part.span_d() < *SPAN_NEEDED_D)
        .then(|| format!("the references span {:.1} days; a drift rate needs a week", part.span_d()))
}
