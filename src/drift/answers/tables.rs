//! The tables of the study.

use crate::drift::results::{ProbeDrift, ShiftKind};

use super::drift::Drift;

tables! {
    impl Drift {
        /// The table `drift_pairs`: one row per probe and reference. `why` says why a pair is left out of the estimates.
        #[doc = example!(study "let table = study.drift()?.pairs_frame()?;")]
        fn pairs_frame(self) = "drift_pairs", |pair| &self.pairs => {
            "at": pair.at,
            "probe": &pair.probe,
            "reference_sg": pair.reference_sg,
            "difference_sg": pair.difference_sg,
            "own_se": pair.own_se,
            "curve_se": pair.curve_se,
            "reference_sd": pair.reference_sd,
            "age_d": pair.age_d,
            "temp_c": pair.temp_c,
            "method": &pair.method,
            "kind": pair.kind,
            "batch": pair.batch.as_ref(),
            "rate_sg_per_day": pair.rate_sg_per_day,
            "why": pair.left_out.as_ref(),
        }

        /// The table `drift_probes`: one row per probe.
        #[doc = example!(study "let table = study.drift()?.probes_frame()?;")]
        fn probes_frame(self) = "drift_probes", |of| &self.probes => {
            "probe": &of.probe,
            "n": of.n,
            "span_d": of.span_d,
            ["drift_sg_per_30d", "se", "lower", "upper", "level"]: of.drift_sg_per_30d.numbers(),
            "method": of.drift_sg_per_30d.estimate().map(|e| &e.method),
            ["gradual_sg_per_30d", "gradual_se", "gradual_lower", "gradual_upper"]: of.gradual_sg_per_30d.numbers(),
            ["offset_sg", "offset_se", "offset_lower", "offset_upper"]: of.offset_sg.numbers(),
            "offset_method": of.offset_sg.estimate().map(|e| &e.method),
            ["since_last_sg", "since_last_se", "since_last_lower", "since_last_upper"]: of.since_last_sg.numbers(),
            "p_out_now": of.p_out(self.latest?),
            "recalibrate_by": of.recalibrate.at().or_else(|| self.due_since(of)),
            "recalibrate": of.recalibrate.state(),
            "verdict": of.verdict.to_string(),
            "corrected": self.is_corrected(&of.probe),
            "why": why(of),
        }

        /// The table `drift_fleet`: one row per term.
        #[doc = example!(study "let table = study.drift()?.fleet_frame()?;")]
        fn fleet_frame(self) = "drift_fleet", |term| &self.fleet => {
            "term": &term.term,
            ["estimate", "se", "lower", "upper", "level"]: term.finding.numbers(),
            "df": term.df,
            "method": term.finding.estimate().map(|e| &e.method),
            "why": term.finding.why(),
        }

        /// The table `drift_shifts`: one row per known or detected shift. `earliest` and `latest` are the looks at the probe
        /// between which one that was found happened, at the level asked for; `evidence` is `event` or `references`. Where
        /// `or_probes` names others, one of all these has shifted, and nothing tells which.
        #[doc = example!(study "let table = study.drift()?.shifts_frame()?;")]
        fn shifts_frame(self) = "drift_shifts", |shift| &self.shifts => {
            "probe": &shift.probe,
            "at": shift.at,
            ["shift_sg", "se", "lower", "upper", "level"]: shift.shift_sg.numbers(),
            "method": shift.shift_sg.estimate().map(|e| &e.method),
            "kind": match &shift.kind {
                ShiftKind::Known(event) => event.as_str(),
                ShiftKind::Found => "found",
            },
            "evidence": shift.kind.evidence(),
            "or_probes": Some(shift.or_probes.join(";")).filter(|others| !others.is_empty()),
            "earliest": shift.earliest,
            "latest": shift.latest,
            "p_probe": shift.p_probe,
            "p_fleet": shift.p_fleet,
            "why": shift.shift_sg.why(),
        }

        /// The table `instruments`: one row per hydrometer or refractometer that more than one probe was held against.
        #[doc = example!(study "let table = study.drift()?.instruments_frame()?;")]
        fn instruments_frame(self) = "instruments", |of| &self.instruments => {
            "instrument": &of.instrument,
            ["bias_sg", "se", "lower", "upper", "level"]: of.bias_sg.numbers(),
            "method": of.bias_sg.estimate().map(|e| &e.method),
            "why": of.bias_sg.why(),
        }

        /// The table `misfits`: one row per entry that does not fit the rest of the season.
        #[doc = example!(study "let table = study.drift()?.misfits_frame()?;")]
        fn misfits_frame(self) = "misfits", |misfit| &self.misfits => {
            "kind": misfit.kind,
            "at": misfit.at,
            "batch": misfit.batch.as_ref(),
            "bath": misfit.bath.as_ref(),
            "probes": misfit.probes.join(";"),
            "stated_sg": misfit.stated_sg,
            "off_sg": misfit.off_sg,
            "se": misfit.se,
            "p": misfit.p,
        }

        /// The table `drift_kinds`: one row per probe with pairs.
        #[doc = example!(study "let table = study.drift()?.kinds_frame()?;")]
        fn kinds_frame(self) = "drift_kinds", |kind| &self.kinds => {
            "probe": &kind.probe,
            "kind": kind.verdict,
            "p_proportional": kind.p_proportional,
            "p_sideways": kind.p_proportional.map(|p| 1.0 - p),
            ["relative_k_per_30d", "relative_k_se", "relative_k_lower", "relative_k_upper"]:
                kind.relative_k_per_30d.numbers(),
            ["zero_deg_per_30d", "zero_se_deg", "zero_lower_deg", "zero_upper_deg", "level"]:
                kind.zero_deg_per_30d.numbers(),
            "relative_k_se_after_two_baths": kind.k_se_after,
            "zero_se_deg_after_two_baths": kind.zero_se_after,
            "p_told_after_two_baths": kind.p_told_after,
            "method": kind.zero_deg_per_30d.estimate().map(|e| &e.method),
            "why": kind.why.as_ref(),
        }
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
