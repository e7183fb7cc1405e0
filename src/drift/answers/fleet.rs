//! The fleet: means over probes, and what they say of another probe.

use crate::error::{Error, Result};
use crate::fit::compare::pool::pool;
use crate::fit::{Estimate, Finding, quantile};
use crate::gravity::OffsetPrior;

use crate::drift::model::{Averaged, FleetModel, METHOD, Variances};
use crate::drift::results::FleetTerm;
use crate::drift::settings::DriftSettings;

const NAMES: [&str; 5] = [
    "mean_drift_sg_per_30d",
    "drift_of_another_probe_sg_per_30d",
    "walk_sd_sg_after_30d",
    "pair_sd_sg",
    "beer_bias_sg",
];

/// What the probes say together.
pub(super) struct FleetAnswer {
    pub terms: Vec<FleetTerm>,
    pub offset_prior: OffsetPrior,
    /// Mean and SD of the slope of another probe, SG per 30 days, where there are two or more.
    pub slopes: Option<(f64, f64)>,
    /// The mean with the degrees of freedom of its interval.
    pub mean: Option<(Estimate, f64)>,
}

/// The means of slopes.
struct FleetMeans {
    mean: Estimate,
    another: Estimate,
    df: f64,
    /// SD of another probe's slope without the error that all probes share.
    sd: f64,
}

impl DriftSettings {
    /// The fleet, from the slopes of the parts of the model.
    pub(super) fn fleet(&self, model: &FleetModel, averaged: &Result<Averaged>, slopes: &[Finding]) -> FleetAnswer {
        let averaged = match averaged {
            Ok(averaged) => averaged,
            Err(why) => {
                let finding = Finding::missing(why.to_string());
                let none = |term: &str| FleetTerm { term: term.into(), finding: finding.clone(), df: None };
                return FleetAnswer {
                    terms: NAMES.map(none).to_vec(),
                    offset_prior: self.offset_prior,
                    slopes: None,
                    mean: None,
                };
            }
        };
        let estimated: Vec<(usize, &Estimate)> =
            slopes.iter().enumerate().filter_map(|(p, slope)| Some((p, slope.estimate()?))).collect();
        let sd_term = |of: fn(&Variances) -> f64| {
            let (mean, sd) = averaged.variance_sd(of);
            let e = Estimate::normal(mean, sd, self.common.level, "mean over the restricted likelihood, normal");
            Finding::from(e.map(|e| Estimate { lower: e.lower.max(0.0), ..e }))
        };
        let beer = match model.beer {
            Some(j) => averaged.effect(j, self.common.level, METHOD).into(),
            None => Finding::missing("no sample with a probe's tilt"),
        };
        let means = self.means(averaged, &estimated);
        let known = means.as_ref().ok().map(|m| (m.mean.clone(), m.df));
        let (mean, another, df, slopes) = match means {
            Ok(m) => {
                let slopes = (m.mean.value, m.sd);
                (Finding::Estimated(m.mean), Finding::Estimated(m.another), Some(m.df), Some(slopes))
            }
            Err(why) => (Err(why).into(), Finding::missing("fewer than two probes with a drift rate"), None, None),
        };
        let findings = [mean, another, sd_term(|v| v.walk_sd), sd_term(|v| v.pair_sd), beer];
        let offset_prior = self.prior_of(&findings);
        let terms = NAMES
            .iter()
            .zip(findings)
            .enumerate()
            .map(|(i, (term, finding))| FleetTerm { term: (*term).into(), finding, df: df.filter(|_| i < 2) })
            .collect();
        FleetAnswer { terms, offset_prior, slopes, mean: known }
    }

    /// Mean and a further probe's drift with the error that all probes share.
    fn means(&self, averaged: &Averaged, slopes: &[(usize, &Estimate)]) -> Result<FleetMeans> {
        let k = slopes.len();
        if k < 2 {
            return Err(Error::not_estimable("the fleet's drift", "fewer than two probes with a drift rate"));
        }
        let probes: Vec<usize> = slopes.iter().map(|(p, _)| *p).collect();
        let smallest = slopes.iter().map(|(_, e)| e.se * e.se).fold(f64::INFINITY, f64::min);
        let common = averaged.shared_variance(&probes).clamp(0.0, 0.9 * smallest);
        let values: Vec<f64> = slopes.iter().map(|(_, e)| e.value).collect();
        let own: Vec<f64> = slopes.iter().map(|(_, e)| (e.se * e.se - common).sqrt()).collect();
        let pooled = pool(&values, &own, self.common.level)?;
        let factor = quantile::student_t_two_sided(self.common.level, pooled.df)?;
        let wider = |e: &Estimate, method: &'static str| {
            Estimate::with_factor(e.value, (e.se * e.se + common).sqrt(), factor, self.common.level, method)
        };
        let mean = wider(&pooled.mean, "random effects over probes, Hartung-Knapp, t, shared error added");
        let another = wider(&pooled.new_unit, "prediction for a further probe, t, shared error added");
        Ok(FleetMeans { mean, another, df: pooled.df, sd: pooled.new_unit.se })
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
