//! The study: from pairs to the drift of each probe and of the fleet.

use crate::calibration::{Calibrations, OffsetPrior, probe_ids};
use crate::error::{Error, Result};
use crate::fit::compare::PoolSettings;
use crate::fit::{Estimate, Finding, quantile};
use crate::season::Season;

use super::average::Averaged;
use super::model::{Model, Part};
use super::pairs::{Found, find};
use super::result::{Drift, FleetTerm, ProbeDrift};
use super::settings::DriftSettings;

/// A slope needs pairs at this many times.
const TIMES_NEEDED: usize = 2;
/// A slope needs a span of this many days.
const SPAN_NEEDED_D: f64 = 7.0;

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
    /// stated, to the pair's gravity, with a doubt. Instruments, baths and samples that several pairs share are effects
    /// with known SDs; `beer` is a bias of all samples, and samples of an active fermentation have one more (bubbles).
    ///
    /// A probe's drift is the least-squares slope of its error (line, walk and steps) on a weekly grid from its calibration
    /// to its last pair: predicted, not only the line's slope. The variances of the walk and of pairs beyond their known
    /// errors are averaged over their restricted likelihood.
    ///
    /// The fleet's mean is a random-effects mean over probes (Hartung and Knapp, t with probes - 1 degrees of freedom); the
    /// error that all probes share (instruments, beer) is added to it.
    ///
    /// # Errors
    /// [`Error::Setting`] for a setting that cannot be. A probe or fleet that cannot be estimated is a finding, no error.
    pub fn fit(&self, season: &Season, calibrations: &Calibrations) -> Result<Drift> {
        self.check()?;
        let found = find(season, calibrations, self)?;
        let used: Vec<&Found> = found.iter().filter(|f| f.pair.left_out.is_none()).collect();
        let model = Model::new(season, &used, self);
        let averaged = if model.probes.is_empty() {
            Err(Error::not_estimable("drift", "no reference beyond the first calibrations"))
        } else {
            Averaged::over(&model)
        };
        let probes: Vec<ProbeDrift> =
            probe_ids(season).into_iter().map(|probe| self.of_probe(probe, calibrations, &model, &averaged)).collect();
        let (fleet, offset_prior) = self.fleet(&model, &averaged, &probes);
        let pairs = found.into_iter().map(|f| f.pair).collect();
        Ok(Drift { pairs, probes, fleet, offset_prior, level: self.level })
    }

    fn of_probe(
        &self,
        probe: String,
        calibrations: &Calibrations,
        model: &Model,
        averaged: &Result<Averaged>,
    ) -> ProbeDrift {
        let place = model.probes.iter().position(|part| part.probe == probe);
        let part = place.and_then(|p| model.probes.get(p));
        let (n, span_d) = part.map_or((0, 0.0), |part| (part.n(), part.span_d));
        let finding = match (place, part, averaged) {
            _ if calibrations.first(&probe).is_none() => Finding::missing("the probe has no calibration"),
            (Some(p), Some(part), Ok(averaged)) => match too_little(part) {
                Some(why) => Finding::missing(why),
                None => averaged.target(p, self.level).map_or_else(missing, Finding::Estimated),
            },
            (_, None, _) | (None, ..) => Finding::missing("no reference beyond its first calibration"),
            (.., Err(why)) => Finding::missing(why.to_string()),
        };
        ProbeDrift { probe, n, span_d, drift_sg_per_30d: finding }
    }

    fn fleet(
        &self,
        model: &Model,
        averaged: &Result<Averaged>,
        probes: &[ProbeDrift],
    ) -> (Vec<FleetTerm>, OffsetPrior) {
        let names = [
            "mean_drift_sg_per_30d",
            "drift_of_another_probe_sg_per_30d",
            "walk_sd_sg_after_30d",
            "pair_sd_sg",
            "beer_bias_sg",
        ];
        let none = |why: String| {
            names.map(|term| FleetTerm { term: term.into(), finding: Finding::missing(why.clone()), df: None }).to_vec()
        };
        let averaged = match averaged {
            Ok(averaged) => averaged,
            Err(why) => return (none(why.to_string()), self.offset_prior),
        };
        let slopes: Vec<(usize, &Estimate)> = model
            .probes
            .iter()
            .enumerate()
            .filter_map(|(p, part)| {
                let own = probes.iter().find(|probe| probe.probe == part.probe)?;
                Some((p, own.drift_sg_per_30d.estimate()?))
            })
            .collect();
        let pooled = self.pool(averaged, &slopes);
        let sd_term = |of: fn(&super::model::Variances) -> f64| {
            let (mean, sd) = averaged.variance_sd(of);
            let method = "mean over the restricted likelihood, normal";
            Estimate::normal(mean, sd, self.level, method)
                .map_or_else(missing, |e| Finding::Estimated(Estimate { lower: e.lower.max(0.0), ..e }))
        };
        let beer = match model.beer {
            Some(_) => averaged.watched(self.level).map_or_else(missing, Finding::Estimated),
            None => Finding::missing("no sample with a probe's tilt"),
        };
        let (mean, another, df) = match pooled {
            Ok((mean, another, df)) => (Finding::Estimated(mean), Finding::Estimated(another), Some(df)),
            Err(why) => (missing(why), Finding::missing("fewer than two probes with a drift rate"), None),
        };
        let findings = [mean, another, sd_term(|v| v.walk_sd), sd_term(|v| v.pair_sd), beer];
        let prior = self.prior_of(&findings);
        let terms = names
            .iter()
            .zip(findings)
            .enumerate()
            .map(|(i, (term, finding))| FleetTerm { term: (*term).into(), finding, df: df.filter(|_| i < 2) })
            .collect();
        (terms, prior)
    }

    /// Mean and a further probe's drift with the error that all probes share.
    fn pool(&self, averaged: &Averaged, slopes: &[(usize, &Estimate)]) -> Result<(Estimate, Estimate, f64)> {
        let k = slopes.len();
        if k < 2 {
            return Err(Error::not_estimable(
                "the fleet's drift",
                format!("{k} probes with a drift rate; two are needed"),
            ));
        }
        let mut common = 0.0;
        for (i, (p, _)) in slopes.iter().enumerate() {
            for (q, _) in slopes.iter().skip(i + 1) {
                common += averaged.covariance(*p, *q);
            }
        }
        let smallest = slopes.iter().map(|(_, e)| e.se * e.se).fold(f64::INFINITY, f64::min);
        let common = (common / (0.5 * (k * (k - 1)) as f64)).clamp(0.0, 0.9 * smallest);
        let values: Vec<f64> = slopes.iter().map(|(_, e)| e.value).collect();
        let own: Vec<f64> = slopes.iter().map(|(_, e)| (e.se * e.se - common).sqrt()).collect();
        let pooled = PoolSettings { level: self.level, ..PoolSettings::default() }.pool(&values, &own)?;
        let factor = quantile::student_t_two_sided(self.level, pooled.df)?;
        let wider = |e: &Estimate, method: &'static str| {
            Estimate::with_factor(e.value, (e.se * e.se + common).sqrt(), factor, self.level, method)
        };
        let mean = wider(&pooled.mean, "random effects over probes, Hartung-Knapp, t, shared error added");
        let another = wider(&pooled.new_unit, "prediction for a further probe, t, shared error added");
        Ok((mean, another, pooled.df))
    }

    /// The offset prior that the fleet shows; where it cannot tell, the setting.
    fn prior_of(&self, [mean, another, walk, pair, beer]: &[Finding; 5]) -> OffsetPrior {
        let default = self.offset_prior;
        let squared = |finding: &Finding| finding.estimate().map(|e| e.value * e.value + e.se * e.se);
        let at_calibration = match (squared(pair), squared(beer)) {
            (Some(pair), Some(beer)) => (pair + beer).sqrt().max(0.5 * default.at_calibration_sd),
            _ => default.at_calibration_sd,
        };
        let between = another.se().zip(mean.value()).map(|(se, mean)| se.hypot(mean));
        OffsetPrior {
            at_calibration_sd: at_calibration,
            per_root_30d_sd: squared(walk).map_or(default.per_root_30d_sd, f64::sqrt),
            per_30d_sd: between.unwrap_or(default.per_30d_sd),
        }
    }
}

fn missing(why: Error) -> Finding {
    match why {
        Error::NotEstimable { why, .. } => Finding::missing(why),
        other => Finding::missing(other.to_string()),
    }
}

fn too_little(part: &Part) -> Option<String> {
    if part.times() < TIMES_NEEDED {
        return Some("references at one time only".into());
    }
    (part.span_d < SPAN_NEEDED_D)
        .then(|| format!("the references span {:.1} days; a drift rate needs a week", part.span_d))
}
