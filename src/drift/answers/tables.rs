//! The tables of the study.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::Finding;
use crate::season::FrameBuilder;

use crate::drift::results::{DriftKind, ProbeDrift, Shift, ShiftKind};

use super::drift::Drift;

/// Columns of an estimate.
const ESTIMATE: [&str; 5] = ["estimate", "se", "lower", "upper", "level"];

impl Drift {
    /// The table `drift_pairs`: one row per probe and reference. `why` says why a pair is left out of the estimates.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.drift()?.pairs_frame()?;")]
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
    #[doc = example!(study "let table = study.drift()?.probes_frame()?;")]
    pub fn probes_frame(&self) -> Result<DataFrame> {
        let probes = &self.probes;
        let of = |finding: fn(&ProbeDrift) -> &Finding| probes.iter().map(move |p| finding(p).numbers());
        let now = |p: &ProbeDrift| p.p_out(self.latest?);
        FrameBuilder::new("drift_probes")
            .text("probe", probes.iter().map(|p| Some(&p.probe)))
            .count("n", probes.iter().map(|p| Some(p.n as i64)))
            .number("span_d", probes.iter().map(|p| Some(p.span_d)))
            .numbers(&["drift_sg_per_30d", "se", "lower", "upper", "level"], of(|p| &p.drift_sg_per_30d))
            .text("method", probes.iter().map(|p| p.drift_sg_per_30d.estimate().map(|e| e.method.clone())))
            .numbers(
                &["gradual_sg_per_30d", "gradual_se", "gradual_lower", "gradual_upper"],
                of(|p| &p.gradual_sg_per_30d),
            )
            .numbers(&["offset_sg", "offset_se", "offset_lower", "offset_upper"], of(|p| &p.offset_sg))
            .text("offset_method", probes.iter().map(|p| p.offset_sg.estimate().map(|e| e.method.clone())))
            .numbers(
                &["since_last_sg", "since_last_se", "since_last_lower", "since_last_upper"],
                of(|p| &p.since_last_sg),
            )
            .number("p_out_now", probes.iter().map(now))
            .time("recalibrate_by", probes.iter().map(|p| p.recalibrate.at().or_else(|| self.due_since(p))))
            .text("recalibrate", probes.iter().map(|p| p.recalibrate.state()))
            .text("verdict", probes.iter().map(|p| Some(p.verdict.to_string())))
            .truth("corrected", probes.iter().map(|p| Some(self.is_corrected(&p.probe))))
            .text("why", probes.iter().map(why))
            .finish()
    }

    /// The table `drift_fleet`: one row per term.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.drift()?.fleet_frame()?;")]
    pub fn fleet_frame(&self) -> Result<DataFrame> {
        let fleet = &self.fleet;
        FrameBuilder::new("drift_fleet")
            .text("term", fleet.iter().map(|t| Some(&t.term)))
            .numbers(&ESTIMATE, fleet.iter().map(|t| t.finding.numbers()))
            .number("df", fleet.iter().map(|t| t.df))
            .text("method", fleet.iter().map(|t| t.finding.estimate().map(|e| e.method.clone())))
            .text("why", fleet.iter().map(|t| t.finding.why()))
            .finish()
    }

    /// The table `drift_shifts`: one row per known or detected shift. `earliest` and `latest` are the looks at the probe
    /// between which one that was found happened, at the level asked for; `evidence` is `event` or `references`. Where `or_probes` names others, one of all these has shifted, and
    /// nothing tells which.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.drift()?.shifts_frame()?;")]
    pub fn shifts_frame(&self) -> Result<DataFrame> {
        let shifts = &self.shifts;
        let kind = |shift: &Shift| match &shift.kind {
            ShiftKind::Known(event) => event.clone(),
            ShiftKind::Found => "found".to_owned(),
        };
        FrameBuilder::new("drift_shifts")
            .text("probe", shifts.iter().map(|s| Some(&s.probe)))
            .time("at", shifts.iter().map(|s| Some(s.at)))
            .numbers(&["shift_sg", "se", "lower", "upper", "level"], shifts.iter().map(|s| s.shift_sg.numbers()))
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
    #[doc = example!(study "let table = study.drift()?.misfits_frame()?;")]
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
    #[doc = example!(study "let table = study.drift()?.kinds_frame()?;")]
    pub fn kinds_frame(&self) -> Result<DataFrame> {
        let kinds = &self.kinds;
        let of = |finding: fn(&DriftKind) -> &Finding| kinds.iter().map(move |kind| finding(kind).numbers());
        FrameBuilder::new("drift_kinds")
            .text("probe", kinds.iter().map(|k| Some(&k.probe)))
            .text("kind", kinds.iter().map(|k| Some(k.verdict.to_string())))
            .number("p_proportional", kinds.iter().map(|k| k.p_proportional))
            .number("p_sideways", kinds.iter().map(|k| k.p_proportional.map(|p| 1.0 - p)))
            .numbers(
                &["relative_k_per_30d", "relative_k_se", "relative_k_lower", "relative_k_upper"],
                of(|k| &k.relative_k_per_30d),
            )
            .numbers(
                &["zero_deg_per_30d", "zero_se_deg", "zero_lower_deg", "zero_upper_deg", "level"],
                of(|k| &k.zero_deg_per_30d),
            )
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
