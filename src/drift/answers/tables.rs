//! The tables of the study.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::{Estimate, Finding};
use crate::season::FrameBuilder;

use crate::drift::results::{DriftKind, ProbeDrift, Recalibrate, Shift, ShiftKind};

use super::drift::Drift;

impl Drift {
    /// The table `drift_pairs`: one row per probe and reference. `why` says why a pair is left out of the estimates.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn pairs_frame(&self) -> Result<DataFrame> {
        let pairs = &self.pairs;
        FrameBuilder::new("drift_pairs")
            .time("at", pairs.iter().map(|p| Some(p.at)))
            .text("probe", pairs.iter().map(|p| Some(&p.probe)))
            .number("reference_sg", pairs.iter().map(|p| Some(p.reference_sg)))
            .number("difference_sg", pairs.iter().map(|p| Some(p.difference_sg)))
            .number("own_se", pairs.iter().map(|p| Some(p.own_se)))
            .number("curve_se", pairs.iter().map(|p| Some(p.curve_se)))
            .number("reference_sd", pairs.iter().map(|p| Some(p.reference_sd).filter(|sd| sd.is_finite())))
            .number("age_d", pairs.iter().map(|p| Some(p.age_d)))
            .number("temp_c", pairs.iter().map(|p| Some(p.temp_c)))
            .text("method", pairs.iter().map(|p| Some(&p.method)))
            .text("kind", pairs.iter().map(|p| Some(p.kind.name())))
            .text("batch", pairs.iter().map(|p| p.batch.as_ref()))
            .number("rate_sg_per_day", pairs.iter().map(|p| Some(p.rate_sg_per_day)))
            .text("why", pairs.iter().map(|p| p.left_out.as_ref()))
            .finish()
    }

    /// The table `drift_probes`: one row per probe.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn probes_frame(&self) -> Result<DataFrame> {
        let probes = &self.probes;
        let of = |finding: fn(&ProbeDrift) -> &Finding, value: fn(&Estimate) -> f64| {
            probes.iter().map(|p| finding(p).estimate().map(value)).collect::<Vec<_>>()
        };
        let total: fn(&ProbeDrift) -> &Finding = |p| &p.drift_sg_per_30d;
        let gradual: fn(&ProbeDrift) -> &Finding = |p| &p.gradual_sg_per_30d;
        let offset: fn(&ProbeDrift) -> &Finding = |p| &p.offset_sg;
        let since: fn(&ProbeDrift) -> &Finding = |p| &p.since_last_sg;
        let now = |p: &ProbeDrift| p.p_out(self.latest?);
        FrameBuilder::new("drift_probes")
            .text("probe", probes.iter().map(|p| Some(&p.probe)))
            .count("n", probes.iter().map(|p| Some(p.n as i64)))
            .number("span_d", probes.iter().map(|p| Some(p.span_d)))
            .number("drift_sg_per_30d", of(total, |e| e.value))
            .number("se", of(total, |e| e.se))
            .number("lower", of(total, |e| e.lower))
            .number("upper", of(total, |e| e.upper))
            .number("level", of(total, |e| e.level))
            .text("method", probes.iter().map(|p| p.drift_sg_per_30d.estimate().map(|e| e.method.clone())))
            .number("gradual_sg_per_30d", of(gradual, |e| e.value))
            .number("gradual_se", of(gradual, |e| e.se))
            .number("gradual_lower", of(gradual, |e| e.lower))
            .number("gradual_upper", of(gradual, |e| e.upper))
            .number("offset_sg", of(offset, |e| e.value))
            .number("offset_se", of(offset, |e| e.se))
            .number("offset_lower", of(offset, |e| e.lower))
            .number("offset_upper", of(offset, |e| e.upper))
            .text("offset_method", probes.iter().map(|p| p.offset_sg.estimate().map(|e| e.method.clone())))
            .number("since_last_sg", of(since, |e| e.value))
            .number("since_last_se", of(since, |e| e.se))
            .number("since_last_lower", of(since, |e| e.lower))
            .number("since_last_upper", of(since, |e| e.upper))
            .number("p_out_now", probes.iter().map(now))
            .text(
                "recalibrate_by",
                probes.iter().map(|p| match &p.recalibrate {
                    Recalibrate::NotEstimable(_) => None,
                    other => Some(other.to_string()),
                }),
            )
            .text("verdict", probes.iter().map(|p| Some(p.verdict.to_string())))
            .truth("corrected", probes.iter().map(|p| Some(self.is_corrected(&p.probe))))
            .text("why", probes.iter().map(why))
            .finish()
    }

    /// The table `drift_fleet`: one row per term.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn fleet_frame(&self) -> Result<DataFrame> {
        let fleet = &self.fleet;
        let of =
            |value: fn(&Estimate) -> f64| fleet.iter().map(|t| t.finding.estimate().map(value)).collect::<Vec<_>>();
        FrameBuilder::new("drift_fleet")
            .text("term", fleet.iter().map(|t| Some(&t.term)))
            .number("estimate", of(|e| e.value))
            .number("se", of(|e| e.se))
            .number("lower", of(|e| e.lower))
            .number("upper", of(|e| e.upper))
            .number("level", of(|e| e.level))
            .number("df", fleet.iter().map(|t| t.df))
            .text("method", fleet.iter().map(|t| t.finding.estimate().map(|e| e.method.clone())))
            .text("why", fleet.iter().map(|t| t.finding.why()))
            .finish()
    }

    /// The table `drift_mixed`: one row per number of the mixed model. `boot_lower` and `boot_upper` are the ends of its interval by
    /// the parametric bootstrap.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn mixed_frame(&self) -> Result<DataFrame> {
        let terms = &self.mixed.terms;
        let of =
            |value: fn(&Estimate) -> f64| terms.iter().map(|t| t.finding.estimate().map(value)).collect::<Vec<_>>();
        FrameBuilder::new("drift_mixed")
            .text("term", terms.iter().map(|t| Some(&t.term)))
            .text("kind", terms.iter().map(|t| Some(t.kind.name())))
            .number("estimate", of(|e| e.value))
            .number("se", of(|e| e.se))
            .number("lower", of(|e| e.lower))
            .number("upper", of(|e| e.upper))
            .number("level", of(|e| e.level))
            .number("df", terms.iter().map(|t| t.df))
            .text("method", terms.iter().map(|t| t.finding.estimate().map(|e| e.method.clone())))
            .number("boot_lower", terms.iter().map(|t| t.bootstrap.map(|ends| ends.0)))
            .number("boot_upper", terms.iter().map(|t| t.bootstrap.map(|ends| ends.1)))
            .text("why", terms.iter().map(|t| t.finding.why()))
            .finish()
    }

    /// The table `drift_shifts`: one row per known or detected shift. `earliest` and `latest` are the looks at the probe
    /// between which one that was found happened, at the level asked for; `evidence` is `event` or `references`. Where `or_probes` names others, one of all these has shifted, and
    /// nothing tells which.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn shifts_frame(&self) -> Result<DataFrame> {
        let shifts = &self.shifts;
        let of =
            |value: fn(&Estimate) -> f64| shifts.iter().map(|s| s.shift_sg.estimate().map(value)).collect::<Vec<_>>();
        let kind = |shift: &Shift| match &shift.kind {
            ShiftKind::Known(event) => event.clone(),
            ShiftKind::Found => "found".to_owned(),
        };
        FrameBuilder::new("drift_shifts")
            .text("probe", shifts.iter().map(|s| Some(&s.probe)))
            .time("at", shifts.iter().map(|s| Some(s.at)))
            .number("shift_sg", of(|e| e.value))
            .number("se", of(|e| e.se))
            .number("lower", of(|e| e.lower))
            .number("upper", of(|e| e.upper))
            .number("level", of(|e| e.level))
            .text("method", shifts.iter().map(|s| s.shift_sg.estimate().map(|e| e.method.clone())))
            .text("kind", shifts.iter().map(|s| Some(kind(s))))
            .text("evidence", shifts.iter().map(|s| Some(s.kind.evidence())))
            .text("or_probes", shifts.iter().map(|s| Some(s.or_probes.join(";")).filter(|others| !others.is_empty())))
            .time("earliest", shifts.iter().map(|s| Some(s.earliest)))
            .time("latest", shifts.iter().map(|s| Some(s.latest)))
            .number("p_probe", shifts.iter().map(|s| s.p_probe))
            .number("p_fleet", shifts.iter().map(|s| s.p_fleet))
            .text("why", shifts.iter().map(|s| s.shift_sg.why()))
            .finish()
    }

    /// The table `misfits`: one row per entry that does not fit the rest of the season.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn misfits_frame(&self) -> Result<DataFrame> {
        let misfits = &self.misfits;
        FrameBuilder::new("misfits")
            .text("kind", misfits.iter().map(|m| Some(m.kind.name())))
            .time("at", misfits.iter().map(|m| Some(m.at)))
            .text("batch", misfits.iter().map(|m| m.batch.as_ref()))
            .text("bath", misfits.iter().map(|m| m.bath.as_ref()))
            .text("probes", misfits.iter().map(|m| Some(m.probes.join(";"))))
            .number("stated_sg", misfits.iter().map(|m| Some(m.stated_sg)))
            .number("off_sg", misfits.iter().map(|m| Some(m.off_sg)))
            .number("se", misfits.iter().map(|m| Some(m.se)))
            .number("p", misfits.iter().map(|m| Some(m.p)))
            .finish()
    }

    /// The table `drift_kinds`: one row per probe with pairs.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn kinds_frame(&self) -> Result<DataFrame> {
        let kinds = &self.kinds;
        let of = |finding: fn(&DriftKind) -> &Finding, value: fn(&Estimate) -> f64| {
            kinds.iter().map(|k| finding(k).estimate().map(value)).collect::<Vec<_>>()
        };
        let k: fn(&DriftKind) -> &Finding = |kind| &kind.relative_k_per_30d;
        let zero: fn(&DriftKind) -> &Finding = |kind| &kind.zero_deg_per_30d;
        FrameBuilder::new("drift_kinds")
            .text("probe", kinds.iter().map(|k| Some(&k.probe)))
            .text("kind", kinds.iter().map(|k| Some(k.verdict.to_string())))
            .number("p_proportional", kinds.iter().map(|k| k.p_proportional))
            .number("p_sideways", kinds.iter().map(|k| k.p_proportional.map(|p| 1.0 - p)))
            .number("relative_k_per_30d", of(k, |e| e.value))
            .number("relative_k_se", of(k, |e| e.se))
            .number("relative_k_lower", of(k, |e| e.lower))
            .number("relative_k_upper", of(k, |e| e.upper))
            .number("zero_deg_per_30d", of(zero, |e| e.value))
            .number("zero_se_deg", of(zero, |e| e.se))
            .number("zero_lower_deg", of(zero, |e| e.lower))
            .number("zero_upper_deg", of(zero, |e| e.upper))
            .number("level", of(zero, |e| e.level))
            .number("relative_k_se_after_two_baths", kinds.iter().map(|k| k.k_se_after))
            .number("zero_se_deg_after_two_baths", kinds.iter().map(|k| k.zero_se_after))
            .number("p_told_after_two_baths", kinds.iter().map(|k| k.p_told_after))
            .text("method", kinds.iter().map(|k| k.zero_deg_per_30d.estimate().map(|e| e.method.clone())))
            .text("why", kinds.iter().map(|k| k.why.as_ref()))
            .finish()
    }
}

/// Why numbers of a probe are missing, each reason once.
fn why(probe: &ProbeDrift) -> Option<String> {
    let parts = [
        ("drift", probe.drift_sg_per_30d.why()),
        ("offset", probe.offset_sg.why()),
        ("recalibrate_by", probe.recalibrate.why()),
    ];
    let mut reasons: Vec<(&str, &str)> = parts.into_iter().filter_map(|(of, why)| Some((of, why?))).collect();
    reasons.dedup_by_key(|(_, why)| *why);
    match reasons.as_slice() {
        [] => None,
        [(_, why)] if probe.drift_sg_per_30d.why().is_some() => Some((*why).to_owned()),
        several => Some(several.iter().map(|(of, why)| format!("{of}: {why}")).collect::<Vec<_>>().join("; ")),
    }
}
