//! The table `kinetics`, and how curves print.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::Finding;
use crate::season::{FrameBuilder, each_once};

use super::batch_fit::{AtReference, BatchFit, Kinetics};
use super::traits::Trait;

impl Kinetics {
    /// The table `kinetics`: one row per batch, numbers that cannot be had null with the reason in `why`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.kinetics()?.to_frame()?;")]
    pub fn to_frame(&self) -> Result<DataFrame> {
        let all = &self.batches;
        let reference = |of: fn(&AtReference) -> &Finding| all.iter().map(move |fit| of(&fit.at_reference));
        let mut frame = FrameBuilder::new("kinetics")
            .text("batch", all.iter().map(|fit| Some(&fit.batch)))
            .text("strain", all.iter().map(|fit| Some(&fit.strain)))
            .text("curve", all.iter().map(BatchFit::curve_name))
            .text("clock", all.iter().map(|fit| fit.fitted.as_ref().map(|fitted| fitted.clock.name())))
            .count("n", all.iter().map(|fit| Some(fit.n as i64)))
            .text("status", all.iter().map(|fit| Some(fit.status.name())))
            .number("status_p", all.iter().map(|fit| fit.status_probability.value()))
            .time("status_since", all.iter().map(|fit| fit.status_since_h.map(|hours| fit.instant(hours))))
            .number("progress", all.iter().map(|fit| fit.progress.value()))
            .number("progress_se", all.iter().map(|fit| fit.progress.se()));
        for which in Trait::ALL {
            frame = match which {
                // A moment; the traits at the reference temperature stand before it.
                Trait::FinishH => frame
                    .number("lag_ref_h", reference(|at| &at.lag_h).map(Finding::value))
                    .number("lag_ref_se", reference(|at| &at.lag_h).map(Finding::se))
                    .number("mid_ref_h", reference(|at| &at.mid_h).map(Finding::value))
                    .number("mid_ref_se", reference(|at| &at.mid_h).map(Finding::se))
                    .number("max_rate_ref_sg_per_day", reference(|at| &at.max_rate_sg_per_day).map(Finding::value))
                    .number("max_rate_ref_se", reference(|at| &at.max_rate_sg_per_day).map(Finding::se))
                    .time("finish_at", all.iter().map(BatchFit::finish_at)),
                _ => frame.number(which.name(), all.iter().map(move |fit| fit.finding(which).value())),
            }
            .number(which.se_name(), all.iter().map(move |fit| fit.finding(which).se()));
        }
        frame
            .number("rmse_sg", all.iter().map(|fit| fit.rmse_sg))
            .number("residual_runs_p", all.iter().map(|fit| fit.whiteness.map(|w| w.runs_p)))
            .number("residual_neighbours", all.iter().map(|fit| fit.whiteness.map(|w| w.neighbours)))
            .text("why", all.iter().map(reasons))
            .finish()
    }
}

/// The reasons for what is missing, each once; none when nothing is.
fn reasons(fit: &BatchFit) -> Option<String> {
    let findings = fit.traits.iter().chain([&fit.progress]).filter_map(Finding::why);
    let all = each_once([fit.why.as_str()].into_iter().chain(findings).filter(|reason| !reason.is_empty()));
    (!all.is_empty()).then(|| all.join("; "))
}

impl fmt::Display for BatchFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "batch {} ({}): {}", self.batch, self.strain, self.status)?;
        if let Some(p) = self.status_probability.value() {
            write!(f, " with probability {p:.2}")?;
        }
        if let Some(hours) = self.status_since_h.filter(|hours| *hours > 0.0) {
            write!(f, " since hour {hours:.0}")?;
        }
        writeln!(f, ", {} readings and samples", self.n)?;
        if let Some(fitted) = &self.fitted {
            writeln!(f, "{} curve by generalised least squares, {} time", fitted.curve.kind, fitted.clock.name())?;
        }
        if let Some(rmse) = self.rmse_sg {
            writeln!(f, "root mean square of the residuals {rmse:.5} SG")?;
        }
        if let Some(reasons) = reasons(self) {
            writeln!(f, "{reasons}")?;
        }
        let at = &self.at_reference;
        let traits = Trait::ALL.map(Trait::name).into_iter().zip(&self.traits).chain([
            ("lag_ref_h", &at.lag_h),
            ("mid_ref_h", &at.mid_h),
            ("max_rate_ref_sg_per_day", &at.max_rate_sg_per_day),
        ]);
        for (name, finding) in traits.filter(|(_, finding)| finding.estimate().is_some()) {
            writeln!(f, "  {name:20} {finding}")?;
        }
        if let Some(waves) = &self.whiteness {
            let (p, neighbours) = (waves.runs_p, waves.neighbours);
            writeln!(
                f,
                "  residuals with the error model taken off: runs test p {p:.2}, neighbours correlate {neighbours:.2}"
            )?;
        }
        for offset in &self.offsets {
            writeln!(f, "  offset of probe {}: {}", offset.probe, offset.offset_sg)?;
        }
        for step in &self.steps {
            writeln!(f, "  shift of probe {} at hour {:.0}: {}", step.probe, step.hours, step.step_sg)?;
        }
        Ok(())
    }
}

impl fmt::Display for Kinetics {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.batches.iter().map(|fit| fit.batch.len()).max().unwrap_or(0).max(5);
        writeln!(f, "{} batches", self.batches.len())?;
        let heads = ("batch", "status", "original SG", "terminal SG", "mid, h");
        writeln!(f, "{:width$}  {:12}  {:>17}  {:>17}  {:>12}", heads.0, heads.1, heads.2, heads.3, heads.4)?;
        for fit in &self.batches {
            let cell = |which: Trait, digits: usize| match fit.finding(which).estimate() {
                Some(e) => format!("{:.digits$} \u{b1} {:.digits$}", e.value, e.se),
                None => "-".to_owned(),
            };
            let (original, terminal) = (cell(Trait::OriginalSg, 4), cell(Trait::TerminalSg, 4));
            let mid = cell(Trait::MidH, 1);
            writeln!(f, "{:width$}  {:12}  {original:>17}  {terminal:>17}  {mid:>12}", fit.batch, fit.status.name())?;
        }
        Ok(())
    }
}
