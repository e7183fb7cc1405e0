//! Where each probe stands now, where it may go, and when it should be calibrated again.

use crate::calibration::Calibration;
use crate::fit::Finding;
use crate::units::Instant;

use crate::drift::model::{FleetModel, NormalMixture, ProbeModel, ShiftTerm};
use crate::drift::pairs::Curves;
use crate::drift::results::{OutOfLimit, Recalibrate, TrackPoint};
use crate::drift::scale::{AT_SG, MONTH_D};
use crate::drift::settings::DriftSettings;
use crate::drift::shifts::ShiftAverage;

use super::end_gravities::middle_sg;

/// Steps from the calibration in force to the last moment that is looked at.
const STEPS: usize = 48;
/// How predictions are made, for the tables.
const METHOD: &str =
    "prediction with random walk and the fleet's slopes, averaged over their likelihood and over sudden shifts";

/// What is predicted of a probe.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ProbePrediction {
    pub offset: Finding,
    pub since_last: Finding,
    pub recalibrate: Recalibrate,
    pub out_of_limit: Vec<OutOfLimit>,
    pub track: Vec<TrackPoint>,
}

impl ProbePrediction {
    pub fn missing(why: &str) -> Self {
        Self {
            offset: Finding::missing(why),
            since_last: Finding::missing(why),
            recalibrate: Recalibrate::NotEstimable(why.to_owned()),
            out_of_limit: Vec::new(),
            track: Vec::new(),
        }
    }
}

/// Predicts the probes of one model.
pub(super) struct Predictor<'a> {
    pub model: &'a FleetModel,
    pub over: ShiftAverage<'a>,
    pub curves: &'a Curves<'a>,
    pub ends_sg: &'a [f64],
    pub latest: Instant,
    pub settings: &'a DriftSettings,
}

impl Predictor<'_> {
    /// The error of probe `p`, as it reads on `curve`, at a gravity and an age in months.
    pub fn error(
        &self,
        p: usize,
        part: &ProbeModel,
        curve: &Calibration,
        sg: f64,
        months: f64,
    ) -> Option<NormalMixture> {
        let seen = self.curves.seen(&part.probe, curve, sg)?;
        let state = part.state(months, sg, seen.errors);
        let stepped = |step: &ShiftTerm| state.shows * step.at_age(months);
        let error = self.over.mixture(p, |variances| part.error_target(&state, variances), stepped);
        Some(error.plus(seen.moved_sg))
    }

    /// The gravity where the beers end.
    pub fn middle_sg(&self) -> f64 {
        middle_sg(self.ends_sg)
    }

    /// Probability that the probe is out of the limit at the gravities at which beers end, on the curve in force now.
    fn p_out(&self, p: usize, part: &ProbeModel, curve: &Calibration, months: f64) -> Option<f64> {
        let chances: Vec<f64> = self
            .ends_sg
            .iter()
            .filter_map(|&sg| Some(self.error(p, part, curve, sg, months)?.beyond(self.settings.limit_sg)))
            .collect();
        (!chances.is_empty()).then(|| chances.iter().sum::<f64>() / chances.len() as f64)
    }

    /// All of probe `p`.
    pub fn of(&self, p: usize) -> ProbePrediction {
        let Some(part) = self.model.probes.get(p) else { return ProbePrediction::missing("no pairs") };
        let Some(curve) = self.curves.in_force(&part.probe, self.latest) else {
            return ProbePrediction::missing("the probe has no calibration");
        };
        let now = part.months_at(self.latest).max(part.span.1);
        let offset = self
            .error(p, part, curve, self.middle_sg(), now)
            .and_then(|error| error.estimate(self.settings.common.level, METHOD).ok())
            .map_or_else(
                || Finding::missing("the curve does not reach the gravities of the beers"),
                Finding::Estimated,
            );
        let out_of_limit = self.out_of_limit(p, part, curve, now);
        let recalibrate = match offset.why() {
            Some(why) => Recalibrate::NotEstimable(why.to_owned()),
            None => self.recalibrate(&out_of_limit, part.instant(now)),
        };
        let since_last = self.since_last(p, part, part.months_at(curve.calibrated_at), now);
        ProbePrediction { offset, since_last, recalibrate, out_of_limit, track: self.track(p, part, now) }
    }

    /// The change of probe `p` since the calibration in force. That one's own error has no part in it.
    fn since_last(&self, p: usize, part: &ProbeModel, from: f64, now: f64) -> Finding {
        if now <= from {
            return Finding::missing("the calibration in force is the last that is known of the probe");
        }
        let stepped = |step: &ShiftTerm| step.at_age(now) - step.at_age(from);
        let change = self.over.mixture(p, |variances| part.change_target(from, now, variances), stepped);
        change.estimate(self.settings.common.level, METHOD).into()
    }

    /// The chance from the calibration in force to as far ahead as the probe was observed; the present is among them.
    fn out_of_limit(&self, p: usize, part: &ProbeModel, curve: &Calibration, now: f64) -> Vec<OutOfLimit> {
        let from = part.months_at(curve.calibrated_at).min(now);
        let to = now + part.span.1 - part.span.0;
        let behind = ((STEPS as f64 * (now - from) / (to - from).max(1e-9)).round() as usize).clamp(1, STEPS - 1);
        let between = |a: f64, b: f64, n: usize| (0..n).map(move |i| a + (b - a) * i as f64 / n as f64);
        let ages = between(from, now, behind).chain(between(now, to, STEPS - behind)).chain([to]);
        ages.filter_map(|months| Some(OutOfLimit { at: part.instant(months), p: self.p_out(p, part, curve, months)? }))
            .collect()
    }

    /// The first moment from now on at which the chance passes what is allowed.
    fn recalibrate(&self, out: &[OutOfLimit], now: Instant) -> Recalibrate {
        let allowed = self.settings.limit_chance;
        let mut before: Option<&OutOfLimit> = None;
        for point in out.iter().filter(|point| point.at >= now) {
            if point.p > allowed {
                return match before {
                    None => Recalibrate::AlreadyPast,
                    Some(last) => {
                        let share = (allowed - last.p) / (point.p - last.p);
                        Recalibrate::By(last.at.plus_days(share * point.at.days_since(last.at)))
                    }
                };
            }
            before = Some(point);
        }
        match before {
            Some(last) => Recalibrate::NotBefore(last.at),
            None => Recalibrate::NotEstimable("the curve does not reach the gravities of the beers".to_owned()),
        }
    }

    /// The error on the first curve at SG 1.020, week by week, and just before and after each step.
    fn track(&self, p: usize, part: &ProbeModel, now: f64) -> Vec<TrackPoint> {
        let Some(first) = self.curves.first(&part.probe) else { return Vec::new() };
        let week = 7.0 / MONTH_D;
        let weeks = ((now - part.span.0) / week).ceil().clamp(1.0, 400.0) as usize;
        let mut ages: Vec<f64> =
            (0..=weeks).map(|i| part.span.0 + (now - part.span.0) * i as f64 / weeks as f64).collect();
        ages.extend(part.steps.iter().filter(|s| s.months < now).flat_map(|s| [s.months - 1e-6, s.months + 1e-6]));
        ages.sort_by(f64::total_cmp);
        ages.into_iter()
            .filter_map(|months| {
                let e = self.error(p, part, first, AT_SG, months)?.estimate(self.settings.common.level, METHOD).ok()?;
                let at = part.instant(months);
                Some(TrackPoint { at, age_d: months * MONTH_D, error_sg: e.value, lower: e.lower, upper: e.upper })
            })
            .collect()
    }
}
