//! The tables of the study, and its text.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::{Estimate, Finding};
use crate::season::FrameBuilder;

use super::result::{Drift, FleetTerm, PairKind, ProbeDrift};

impl Drift {
    /// The table `drift_pairs`: one row per probe and reference. `why` says why a pair is left out of the estimates.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn pairs_frame(&self) -> Result<DataFrame> {
        let pairs = &self.pairs;
        let kind = |kind: PairKind| if kind == PairKind::Sample { "sample" } else { "bath" };
        FrameBuilder::new("drift_pairs")
            .time("at", pairs.iter().map(|p| Some(p.at)))
            .text("probe", pairs.iter().map(|p| Some(&p.probe)))
            .number("reference_sg", pairs.iter().map(|p| Some(p.reference_sg)))
            .number("difference_sg", pairs.iter().map(|p| Some(p.difference_sg)))
            .number("own_se", pairs.iter().map(|p| Some(p.own_se)))
            .number("curve_se", pairs.iter().map(|p| Some(p.curve_se)))
            .number("reference_sd", pairs.iter().map(|p| Some(p.reference_sd)))
            .number("age_d", pairs.iter().map(|p| Some(p.age_d)))
            .number("temp_c", pairs.iter().map(|p| Some(p.temp_c)))
            .text("method", pairs.iter().map(|p| Some(&p.method)))
            .text("kind", pairs.iter().map(|p| Some(kind(p.kind))))
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
        let of = |value: fn(&Estimate) -> f64| {
            probes.iter().map(|p| p.drift_sg_per_30d.estimate().map(value)).collect::<Vec<_>>()
        };
        FrameBuilder::new("drift_probes")
            .text("probe", probes.iter().map(|p| Some(&p.probe)))
            .count("n", probes.iter().map(|p| Some(p.n as i64)))
            .number("span_d", probes.iter().map(|p| Some(p.span_d)))
            .number("drift_sg_per_30d", of(|e| e.value))
            .number("se", of(|e| e.se))
            .number("lower", of(|e| e.lower))
            .number("upper", of(|e| e.upper))
            .number("level", of(|e| e.level))
            .text("method", probes.iter().map(|p| p.drift_sg_per_30d.estimate().map(|e| e.method.clone())))
            .text("why", probes.iter().map(|p| p.drift_sg_per_30d.why()))
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

    /// A term of the fleet by its name in the table.
    pub fn term(&self, name: &str) -> Option<&FleetTerm> {
        self.fleet.iter().find(|term| term.term == name)
    }

    /// The drift of a probe.
    pub fn of_probe(&self, probe: &str) -> Option<&ProbeDrift> {
        self.probes.iter().find(|p| p.probe == probe)
    }
}

impl fmt::Display for Drift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let left_out = self.pairs.iter().filter(|p| p.left_out.is_some()).count();
        writeln!(
            f,
            "drift on the first calibration, in 0.001 SG per 30 days: {} pairs, {left_out} left out",
            self.pairs.len()
        )?;
        let width = self.probes.iter().map(|p| p.probe.len()).max().unwrap_or(0);
        for probe in &self.probes {
            write!(f, "  {:width$} ", probe.probe)?;
            match &probe.drift_sg_per_30d {
                Finding::Estimated(e) => {
                    let [value, lower, upper] = [e.value, e.lower, e.upper].map(|v| 1000.0 * v);
                    let level = 100.0 * e.level;
                    writeln!(f, "{value:+.2} ({lower:+.2} to {upper:+.2}, {level:.0} %; {} pairs)", probe.n)?;
                }
                other => writeln!(f, "{other}")?,
            }
        }
        for term in &self.fleet {
            writeln!(f, "  fleet {}: {}", term.term, term.finding)?;
        }
        Ok(())
    }
}
