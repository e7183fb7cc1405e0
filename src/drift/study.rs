//! The study: from pairs to the drift of each probe and of the fleet.

use crate::calibration::{Calibrations, probe_ids};
use crate::error::{Error, Result};
use crate::fit::Finding;
use crate::gravity::OffsetPrior;
use crate::season::Season;

use super::average::Averaged;
use super::correct::Correction;
use super::curves::Curves;
use super::elsewhere::ProbeErrors;
use super::ends::end_gravities;
use super::fleet::{Fleet, missing};
use super::future::Seen;
use super::model::Model;
use super::outlook::{Outlook, Outlooks};
use super::pairs::{Found, find};
use super::part::{Part, Step};
use super::readings;
use super::result::{Drift, DriftPair, PairKind, Policy, ProbeDrift, Shift};
use super::settings::DriftSettings;
use super::signals::charts;
use super::unseen::{METHOD as OVER_SHIFTS, OverShifts};

/// A slope needs pairs at this many times.
const TIMES_NEEDED: usize = 2;
/// A slope needs a span of this many days.
const SPAN_NEEDED_D: f64 = 7.0;
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
    /// Sudden shifts that nobody wrote down are sought, and those found join the model: first in the readings of each batch, where
    /// a probe's offset jumps as no fermentation does (a state-space model of beer and probes), then in the pairs. What readings
    /// alone tell between batches is in the pairs too: probes at rest beside each other in a beer without a sample, whose
    /// gravity is an effect that they share, and worts whose original gravity is stated. The gravity at which a beer with one
    /// probe rests is not known beforehand and tells nothing. Where two probes have parted and nothing else
    /// says which of them shifted, both are named, with what each then may have. A probe's drift with and
    /// without its shifts, and its error at any time, are averaged over whether and when there was one, found in the pairs or not.
    ///
    /// The error of a curve is that of its sources: what baths, instruments and weighings did to it is one effect for all
    /// probes that were calibrated with them. A reference that is read with an instrument that the curve was made with
    /// shares its bias with the curve, so that in their difference it falls out as far as it should.
    ///
    /// The fleet's mean is a random-effects mean over probes (Hartung and Knapp, t with probes - 1 degrees of freedom); the
    /// error that all probes share (instruments, beer) is added to it.
    ///
    /// # Errors
    /// [`Error::Setting`] for a setting that cannot be. A probe or fleet that cannot be estimated is a finding, no error.
    ///
    /// ```no_run
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// let season = Season::load("my-season")?;
    /// let calibrations = CalibrationSettings::default().fit(&season)?;
    /// let drift = DriftSettings::default().fit(&season, &calibrations)?;
    /// println!("{}", drift.probe("dunlin")?.drift_sg_per_30d);
    /// # Ok(())
    /// # }
    /// ```
    pub fn fit(&self, season: &Season, calibrations: &Calibrations) -> Result<Drift> {
        self.check()?;
        let found = find(season, calibrations, self)?;
        let model = self.model(season, calibrations, &found)?.with_kind_of_walk();
        let before = averaged(&model);
        let slopes = self.slopes(&model, &before);
        // What another probe may do holds shifts as well: the prior of offsets is that of the model without those found.
        let offset_prior = self.fleet(&model, &before, &slopes).offset_prior;
        let (model, mut shifts) = self.read_shifts(&model, readings::find(season, calibrations, self)?);
        let model = match before.is_ok() {
            true => {
                let (model, found) = self.find_shifts(&model);
                shifts.extend(found);
                model
            }
            false => model,
        };
        let averaged = if shifts.is_empty() { before } else { averaged(&model) };
        let [slopes, gradual] = self.slopes_over_shifts(&model, &averaged);
        let fleet = self.fleet(&model, &averaged, &slopes);
        if let Ok(averaged) = &averaged {
            shifts.extend(self.known_shifts(averaged));
        }
        shifts.sort_by(|a, b| (&a.probe, a.at).cmp(&(&b.probe, b.at)));
        let used: Vec<&DriftPair> = found.iter().map(|f| &f.pair).filter(|pair| pair.left_out.is_none()).collect();
        let mixed = self.mixed(season, &used, &averaged);
        let curves = Curves::new(calibrations)?;
        let charts = averaged.as_ref().map_or_else(|_| Vec::new(), |averaged| charts(averaged, &self.charts));
        let kinds = match (&averaged, season.latest()) {
            (Ok(averaged), Some(latest)) => self.kinds(averaged, &curves, latest, self.slopes_of(&fleet)),
            _ => Vec::new(),
        };
        let ends_sg = end_gravities(season, calibrations)?;
        let (interval_d, policies) = self.future(&averaged, &curves, &fleet, &shifts, &ends_sg);
        let (outlooks, corrections) = self.outlooks(season, calibrations, &model, &averaged, &fleet, &ends_sg)?;
        let probe_errors = self.probe_errors(&model, &found, &averaged, &fleet);
        let probes = probe_ids(season)
            .into_iter()
            .map(|probe| self.of_probe(probe, calibrations, (&model, &used), (&slopes, &gradual), &outlooks))
            .collect();
        Ok(Drift {
            pairs: found.into_iter().map(|f| f.pair).collect(),
            probes,
            fleet: fleet.terms,
            mixed,
            shifts,
            offset_prior,
            probe_errors,
            kinds,
            charts,
            interval_d,
            policies,
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
    ///
    /// # Errors
    /// As [`DriftSettings::fit`].
    pub fn errors(&self, season: &Season, calibrations: &Calibrations) -> Result<(OffsetPrior, Option<ProbeErrors>)> {
        self.check()?;
        let found = find(season, calibrations, self)?;
        let model = self.model(season, calibrations, &found)?.with_kind_of_walk();
        let averaged = averaged(&model);
        let slopes = self.slopes(&model, &averaged);
        let fleet = self.fleet(&model, &averaged, &slopes);
        Ok((fleet.offset_prior, self.probe_errors(&model, &found, &averaged, &fleet)))
    }

    /// What the probes may read wrong by the pairs of this season, with the variances and the dates of shifts that are
    /// held in `held`, of this season or another that differs little.
    ///
    /// # Errors
    /// As [`DriftSettings::fit`].
    pub fn errors_given(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        held: &ProbeErrors,
    ) -> Result<ProbeErrors> {
        self.check()?;
        let found = find(season, calibrations, self)?;
        Ok(held.of_other(&self.model(season, calibrations, &found)?, &found))
    }

    fn probe_errors(
        &self,
        model: &Model,
        found: &[Found],
        averaged: &Result<Averaged>,
        fleet: &Fleet,
    ) -> Option<ProbeErrors> {
        averaged.as_ref().ok().map(|averaged| ProbeErrors::new(model, found, averaged, fleet.slopes, self))
    }

    fn model(&self, season: &Season, calibrations: &Calibrations, found: &[Found]) -> Result<Model> {
        let used: Vec<&Found> = found.iter().filter(|f| f.pair.left_out.is_none()).collect();
        Ok(Model::new(season, &Curves::new(calibrations)?, &used, self))
    }

    /// The slope of every part of the model, with the sudden steps that are in it.
    fn slopes(&self, model: &Model, averaged: &Result<Averaged>) -> Vec<Finding> {
        each(model, averaged, |averaged, p| averaged.slope(p, true, self.common.level))
    }

    /// The slope of every part, with and without sudden shifts, averaged over what shifts there may be.
    fn slopes_over_shifts(&self, model: &Model, averaged: &Result<Averaged>) -> [Vec<Finding>; 2] {
        let over = averaged.as_ref().ok().map(|averaged| OverShifts::new(averaged, self.change_sd_sg));
        let of = |shifts: bool, p: usize| {
            let (Some(over), Some(part)) = (&over, model.probes.get(p)) else {
                return Err(Error::not_estimable("drift", "no such probe"));
            };
            let stepped = |step: &Step| if shifts { part.slope_of_step(step) } else { 0.0 };
            over.mixture(p, |variances| part.slope_target(variances, shifts), stepped)
                .estimate(self.common.level, OVER_SHIFTS)
        };
        [true, false].map(|shifts| each(model, averaged, |_, p| of(shifts, p)))
    }

    /// The interval that is recommended for the fleet, and policies beside each other.
    fn future(
        &self,
        averaged: &Result<Averaged>,
        curves: &Curves,
        fleet: &Fleet,
        shifts: &[Shift],
        ends_sg: &[f64],
    ) -> (Finding, Vec<Policy>) {
        let (Ok(averaged), Some((mean, df)), Some((_, between))) = (averaged, &fleet.mean, fleet.slopes) else {
            return (Finding::missing("fewer than two probes with a drift rate"), Vec::new());
        };
        let end_sg = ends_sg.get(ends_sg.len() / 2).copied().unwrap_or(1.0);
        // The spread of another probe has the doubt about the mean in it, which is drawn for itself.
        let between = (between * between - mean.se * mean.se).max(0.0).sqrt();
        let seen = Seen { averaged, mean, between, df: *df, shifts, curves, end_sg };
        let draws = seen.draws(self);
        let span_d = averaged.model.probes.iter().map(Part::span_d).fold(0.0, f64::max);
        let interval = self.interval(&draws, span_d);
        let policies = self.policies(&draws, interval.value());
        (interval, policies)
    }

    /// Mean and SD of the slope of a probe of this fleet; where there is no fleet, those of the settings.
    fn slopes_of(&self, fleet: &Fleet) -> (f64, f64) {
        fleet.slopes.unwrap_or((0.0, self.offset_prior.per_30d_sd))
    }

    /// Predictions by probe, with the slopes drawn from the fleet's.
    fn outlooks(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        model: &Model,
        averaged: &Result<Averaged>,
        fleet: &Fleet,
        ends_sg: &[f64],
    ) -> Result<(Vec<Outlook>, Vec<Correction>)> {
        let (Ok(averaged), Some(latest)) = (averaged, season.latest()) else { return Ok((Vec::new(), Vec::new())) };
        let (mean, sd) = self.slopes_of(fleet);
        let shrunk = model.with_slopes(mean, sd);
        let averaged = averaged.again(&shrunk)?;
        let curves = Curves::new(calibrations)?;
        let over = OverShifts::new(&averaged, self.change_sd_sg);
        let outlooks = Outlooks { model: &shrunk, over, curves: &curves, ends_sg, latest, settings: self };
        let parts = shrunk.probes.iter().enumerate();
        let corrections = parts.flat_map(|(p, part)| outlooks.corrections(p, part, calibrations)).collect();
        Ok(((0..model.probes.len()).map(|p| outlooks.of(p)).collect(), corrections))
    }

    fn of_probe(
        &self,
        probe: String,
        calibrations: &Calibrations,
        (model, used): (&Model, &[&DriftPair]),
        (slopes, gradual): (&[Finding], &[Finding]),
        outlooks: &[Outlook],
    ) -> ProbeDrift {
        let place = model.probes.iter().position(|part| part.probe == probe);
        let part = place.and_then(|p| model.probes.get(p));
        let no_pairs = if calibrations.first(&probe).is_none() { "the probe has no calibration" } else { NO_PAIRS };
        let of = |slopes: &[Finding]| {
            place.and_then(|p| slopes.get(p).cloned()).unwrap_or_else(|| Finding::missing(no_pairs))
        };
        let (drift_sg_per_30d, gradual_sg_per_30d) = (of(slopes), of(gradual));
        let why = drift_sg_per_30d.why().unwrap_or(no_pairs);
        let of_reference = |pair: &&&DriftPair| pair.probe == probe && pair.kind != PairKind::Beside;
        let outlook = place.and_then(|p| outlooks.get(p)).cloned().unwrap_or_else(|| Outlook::missing(why));
        ProbeDrift {
            n: used.iter().filter(of_reference).count(),
            span_d: part.map_or(0.0, Part::span_d),
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
    model: &Model,
    averaged: &Result<Averaged>,
    of: impl Fn(&Averaged, usize) -> Result<crate::fit::Estimate>,
) -> Vec<Finding> {
    let one = |(p, part): (usize, &Part)| match (too_little(part), averaged) {
        (Some(why), _) => Finding::missing(why),
        (None, Ok(averaged)) => of(averaged, p).map_or_else(missing, Finding::Estimated),
        (None, Err(why)) => Finding::missing(why.to_string()),
    };
    model.probes.iter().enumerate().map(one).collect()
}

fn averaged(model: &Model) -> Result<Averaged<'_>> {
    if model.probes.is_empty() {
        return Err(Error::not_estimable("drift", "no reference beyond the first calibrations"));
    }
    Averaged::over(model)
}

fn too_little(part: &Part) -> Option<String> {
    if part.times().len() < TIMES_NEEDED {
        return Some("references at one time only".into());
    }
    (part.span_d() < SPAN_NEEDED_D)
        .then(|| format!("the references span {:.1} days; a drift rate needs a week", part.span_d()))
}
