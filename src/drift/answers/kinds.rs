//! Of which kind a probe's drift is: proportional (mass, height, shell) or sideways (sensor zero, mass across the axis).

use crate::error::{Error, Result};
use crate::fit::{Finding, quantile};
use crate::season::WEIGHED_SD_SG;
use crate::units::Instant;

use crate::drift::model::{Averaged, FleetModel, PairRow, ProbeModel};
use crate::drift::pairs::Curves;
use crate::drift::results::{DriftKind, KindVerdict};
use crate::drift::scale::AT_SG;
use crate::drift::settings::DriftSettings;

assumed! {
    /// The strong bath of the check that is proposed.
    const STRONG_SG: f64 = 1.060, "SG";
}

const METHOD: &str = "GLS in K and tilt zero, averaged over its likelihood";

/// Errors at a gravity in units of those at SG 1.020, by family.
struct KindShapes<'a> {
    curves: &'a Curves<'a>,
    probe: &'a str,
    per_deg_at_1020: f64,
}

impl KindShapes<'_> {
    /// SG per degree of the first curve; beyond it that at SG 1.020.
    fn per_deg(&self, sg: f64) -> f64 {
        self.curves.first(self.probe).and_then(|c| self.curves.per_deg(c, sg)).unwrap_or(self.per_deg_at_1020)
    }

    fn proportional(sg: f64) -> f64 {
        sg / AT_SG
    }

    fn sideways(&self, sg: f64) -> f64 {
        self.per_deg(sg) / self.per_deg_at_1020
    }
}

impl DriftSettings {
    /// The kind of every part of the model. `slopes` are mean and SD of the slope of a probe of this fleet.
    pub(super) fn kinds(
        &self,
        averaged: &Averaged,
        curves: &Curves,
        latest: Instant,
        slopes: (f64, f64),
    ) -> Vec<DriftKind> {
        let parts = averaged.model.probes.iter().enumerate();
        parts
            .map(|(p, part)| {
                let kind = averaged
                    .model
                    .focused(p)
                    .ok_or_else(|| Error::not_estimable("the kind of drift", "no pairs"))
                    .and_then(|alone| self.kind(&averaged.again(&alone)?, curves, latest, slopes));
                kind.unwrap_or_else(|why| DriftKind::missing(&part.probe, why.to_string()))
            })
            .collect()
    }

    /// The kind of one probe, the first of the model.
    ///
    /// ```text
    /// proportional: error(SG) ~ -SG dK/K            (K = m/(pi r^3); a relative error of density)
    /// sideways:     error(SG) ~ (dSG/dtilt) dzero   (larger where the curve is steep: at low gravity)
    /// ```
    ///
    /// Both families are given the probe's line, walk and steps with the same priors at SG 1.020, and differ in how these show
    /// at other gravities; the posterior weight of a family is its likelihood over the sum of both, at equal prior weight.
    /// Below the certainty asked for, the verdict is that they cannot be told apart. In physical coordinates both rates
    /// are estimated together, each with a normal prior of the size of the fleet's drift.
    ///
    /// What one water check and one strong bath (SG 1.060) at the season's end would buy: with D the distance between what the two
    /// families predict for the contrast of the two, in its SDs, the log odds move by N(D^2/2, D^2).
    fn kind(&self, averaged: &Averaged, curves: &Curves, latest: Instant, slopes: (f64, f64)) -> Result<DriftKind> {
        let doing = "the kind of drift";
        let part = averaged.model.probes.first().ok_or_else(|| Error::not_estimable(doing, "no pairs"))?;
        let Some(per_deg_at_1020) = curves.first(&part.probe).and_then(|first| curves.per_deg(first, AT_SG)) else {
            return Ok(DriftKind::missing(&part.probe, "the curve has no slope at SG 1.020"));
        };
        let gravities = part.rows.iter().map(|row| row.sg);
        let (low, high) = gravities.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), sg| (a.min(sg), b.max(sg)));
        if high - low < self.kind_span_sg {
            return Ok(DriftKind::missing(&part.probe, format!("its references span {:.3} SG only", high - low)));
        }
        let shapes = KindShapes { curves, probe: &part.probe, per_deg_at_1020 };
        let families: [&dyn Fn(f64) -> f64; 2] = [&KindShapes::proportional, &|sg| shapes.sideways(sg)];
        let models = families.map(|shape| averaged.model.with_part(part.shaped(shape)).with_slopes(slopes.0, slopes.1));
        let [proportional, sideways] = &models;
        let odds = averaged.ln_evidence(proportional)? - averaged.ln_evidence(sideways)?;
        let p_proportional = 1.0 / (1.0 + (-odds).exp());
        let certain = self.kind_certainty;
        let verdict = match p_proportional {
            w if w >= certain => KindVerdict::Proportional,
            w if w <= 1.0 - certain => KindVerdict::Sideways,
            _ => KindVerdict::CannotTell,
        };
        let now = part.months_at(latest).max(part.span.1);
        let told = told_after(averaged, &models, &families, &shapes, now, (odds, certain), self.kind_tilt_sd_deg)?;
        let typical = slopes.0.hypot(slopes.1);
        let [relative_k, zero] = self.in_physical_units(averaged, &shapes, part, typical, None)?;
        let after = self.in_physical_units(averaged, &shapes, part, typical, Some(now))?;
        let [k_se_after, zero_se_after] = after.map(|finding| finding.se());
        Ok(DriftKind {
            probe: part.probe.clone(),
            p_proportional: Some(p_proportional),
            verdict,
            relative_k_per_30d: relative_k,
            zero_deg_per_30d: zero,
            k_se_after,
            zero_se_after,
            p_told_after: Some(told),
            why: None,
        })
    }

    /// Rates of relative K and of the tilt's zero, per 30 days; with `two_baths`, as they would be after a water check and a
    /// strong bath at that age (their standard errors; the values stay meaningless).
    fn in_physical_units(
        &self,
        averaged: &Averaged,
        shapes: &KindShapes,
        part: &ProbeModel,
        typical_sg: f64,
        two_baths: Option<f64>,
    ) -> Result<[Finding; 2]> {
        let mut part = part.clone();
        if let Some(months) = two_baths {
            for sg in [1.0, *STRONG_SG] {
                let Some(seen) = shapes.curves.first(&part.probe).and_then(|c| shapes.curves.seen(&part.probe, c, sg))
                else {
                    continue;
                };
                let own = WEIGHED_SD_SG.powi(2) + (self.kind_tilt_sd_deg * shapes.per_deg(sg)).powi(2);
                part = part.with_row(PairRow::at(&part.shape, months, sg, seen.errors, own));
            }
        }
        let model: FleetModel = averaged.model.with_two_rates(part, |sg| (-sg, shapes.per_deg(sg)), {
            (typical_sg / AT_SG, typical_sg / shapes.per_deg_at_1020)
        });
        let slope = averaged.model.probes.first().map_or(0, ProbeModel::slope);
        let zero_effect = model.prior_sd.len() - 1;
        let averaged = averaged.again(&model)?;
        let of = |j: usize| Finding::from(averaged.effect(j, self.common.level, METHOD));
        Ok([of(slope), of(zero_effect)])
    }
}

/// Probability that one water check and one strong bath tell the family with the certainty asked for.
fn told_after(
    averaged: &Averaged,
    models: &[FleetModel; 2],
    families: &[&dyn Fn(f64) -> f64; 2],
    shapes: &KindShapes,
    months: f64,
    (odds, certain): (f64, f64),
    tilt_sd_deg: f64,
) -> Result<f64> {
    let curves = shapes.curves;
    let mut contrasts = Vec::new();
    for (model, shape) in models.iter().zip(families) {
        let Some(part) = model.probes.first() else { continue };
        let seen = |sg: f64| curves.first(&part.probe).and_then(|first| curves.seen(&part.probe, first, sg));
        let (Some(water), Some(strong)) = (seen(1.0), seen(*STRONG_SG)) else { continue };
        let errors = water.errors.minus(&strong.errors);
        let shows = shape(1.0) - shape(*STRONG_SG);
        let averaged = averaged.again(model)?;
        let contrast = PairRow::at(&part.shape, months, AT_SG, errors, 0.0).showing(shows, part.walk_at_drift_sg());
        contrasts.push(averaged.mixture(0, |variances| part.error_target(&contrast, variances)));
    }
    let [a, b] = contrasts.as_slice() else { return Ok(0.0) };
    // Of the two baths and of the tilts in them.
    let of_baths: f64 =
        [1.0, *STRONG_SG].iter().map(|sg| WEIGHED_SD_SG.powi(2) + (tilt_sd_deg * shapes.per_deg(*sg)).powi(2)).sum();
    let variance = 0.5 * (a.sd().powi(2) + b.sd().powi(2)) + of_baths;
    let distance = ((a.mean() - b.mean()).powi(2) / variance).sqrt().max(1e-9);
    let threshold = (certain / (1.0 - certain)).ln();
    let told = |odds: f64| 1.0 - quantile::normal_upper_tail((odds + 0.5 * distance * distance - threshold) / distance);
    let weight = 1.0 / (1.0 + (-odds).exp());
    Ok(weight * told(odds) + (1.0 - weight) * told(-odds))
}
