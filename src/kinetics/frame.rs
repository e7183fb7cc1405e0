//! The table `kinetics`, and how curves print.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::Finding;
use crate::season::FrameBuilder;

use super::batch_fit::{BatchFit, Kinetics, Trait};

/// The clock of the curves: hours as they passed, not brought to one temperature.
const CLOCK: &str = "real time";

impl Kinetics {
    /// The table `kinetics`: one row per batch, numbers that cannot be had null with the reason in `why`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        let all = &self.batches;
        let value = |which: Trait| all.iter().map(move |fit| fit.finding(which).value());
        let se = |which: Trait| all.iter().map(move |fit| fit.finding(which).se());
        FrameBuilder::new("kinetics")
            .text("batch", all.iter().map(|fit| Some(&fit.batch)))
            .text("strain", all.iter().map(|fit| Some(&fit.strain)))
            .text("curve", all.iter().map(|fit| fit.fitted.as_ref().map(|fitted| fitted.kind.name())))
            .text("clock", all.iter().map(|fit| fit.fitted.as_ref().map(|_| CLOCK)))
            .count("n", all.iter().map(|fit| Some(fit.n as i64)))
            .text("status", all.iter().map(|fit| Some(fit.status.name())))
            .number("progress", all.iter().map(|fit| fit.progress.value()))
            .number("progress_se", all.iter().map(|fit| fit.progress.se()))
            .number("original_sg", value(Trait::OriginalSg))
            .number("original_sg_se", se(Trait::OriginalSg))
            .number("terminal_sg", value(Trait::TerminalSg))
            .number("terminal_sg_se", se(Trait::TerminalSg))
            .number("max_rate_sg_per_day", value(Trait::MaxRateSgPerDay))
            .number("max_rate_se", se(Trait::MaxRateSgPerDay))
            .number("lag_h", value(Trait::LagH))
            .number("lag_se", se(Trait::LagH))
            .number("mid_h", value(Trait::MidH))
            .number("mid_se", se(Trait::MidH))
            .number("t90_h", value(Trait::T90H))
            .number("t90_se", se(Trait::T90H))
            .time("finish_at", all.iter().map(BatchFit::finish_at))
            .number("finish_se_h", se(Trait::FinishH))
            .number("attenuation", value(Trait::Attenuation))
            .number("attenuation_se", se(Trait::Attenuation))
            .number("attenuation_extract", value(Trait::AttenuationExtract))
            .number("attenuation_extract_se", se(Trait::AttenuationExtract))
            .number("abv_percent", value(Trait::AbvPercent))
            .number("abv_percent_se", se(Trait::AbvPercent))
            .number("rmse_sg", all.iter().map(|fit| fit.rmse_sg))
            .number("phi", all.iter().map(|fit| fit.phi.value()))
            .text("why", all.iter().map(reasons))
            .finish()
    }
}

/// The reasons for what is missing, each once; none when nothing is.
fn reasons(fit: &BatchFit) -> Option<String> {
    let mut all: Vec<&str> = Vec::new();
    let findings = fit.traits.iter().chain([&fit.progress]).filter_map(Finding::why);
    for reason in [fit.why.as_str()].into_iter().chain(findings) {
        if !reason.is_empty() && !all.contains(&reason) {
            all.push(reason);
        }
    }
    (!all.is_empty()).then(|| all.join("; "))
}

impl fmt::Display for BatchFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "batch {} ({}): {}, {} readings and samples", self.batch, self.strain, self.status, self.n)?;
        if let Some(fitted) = &self.fitted {
            writeln!(f, "{} curve by generalised least squares, clock {CLOCK}", fitted.kind)?;
        }
        if let Some(rmse) = self.rmse_sg {
            writeln!(f, "root mean square of the residuals {rmse:.5} SG")?;
        }
        if let Some(reasons) = reasons(self) {
            writeln!(f, "{reasons}")?;
        }
        for (which, finding) in Trait::ALL.iter().zip(&self.traits) {
            if finding.estimate().is_some() {
                writeln!(f, "  {:20} {finding}", which.name())?;
            }
        }
        for offset in &self.offsets {
            writeln!(f, "  offset of probe {}: {}", offset.probe, offset.offset_sg)?;
        }
        Ok(())
    }
}

impl fmt::Display for Kinetics {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.batches.iter().map(|fit| fit.batch.len()).max().unwrap_or(0).max(5);
        writeln!(f, "{} batches", self.batches.len())?;
        writeln!(
            f,
            "{:width$}  {:12}  {:>17}  {:>17}  {:>12}",
            "batch", "status", "original SG", "terminal SG", "mid, h"
        )?;
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
