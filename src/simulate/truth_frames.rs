//! The truth as frames.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::{FrameBuilder, Readings};

use super::trouble::TroubleTruth;
use super::truth::{BatchTruth, CurveTruth, ErrorTruth, GravityTruth, ProbeTruth, ShiftTruth, StrainTruth, Truth};

impl Truth {
    /// All tables but that of gravity, by name; columns have the names of the fields.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn frames(&self) -> Result<Vec<(&'static str, DataFrame)>> {
        let mut frames = vec![
            ("batches", BatchTruth::frame("batches", &self.batches)?),
            ("probes", ProbeTruth::frame("probes", &self.probes)?),
            ("shifts", ShiftTruth::frame("shifts", &self.shifts)?),
            ("errors", ErrorTruth::frame("errors", &self.errors)?),
            ("curves", CurveTruth::frame("curves", &self.curves)?),
            ("strains", StrainTruth::frame("strains", &self.strains)?),
        ];
        if !self.troubles.is_empty() {
            frames.push(("troubles", TroubleTruth::frame("troubles", &self.troubles)?));
        }
        Ok(frames)
    }
}

impl GravityTruth {
    /// The truth of every reading as a frame: at, probe, sg, density_kg_m3.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when `readings` are not those of the same season.
    pub fn to_frame(&self, readings: &Readings) -> Result<DataFrame> {
        FrameBuilder::new("gravity")
            .time("at", readings.at.iter().copied().map(Some))
            .text("probe", readings.probe.iter().map(|p| readings.probe_ids.get(*p as usize)))
            // 1e-6 in SG is far below anything that can be seen, and packs well.
            .number("sg", self.sg.iter().map(|sg| sg.map(|v| (v * 1e6).round() / 1e6)))
            .number("density_kg_m3", self.density_kg_m3.iter().map(|d| d.map(|v| (v * 1e3).round() / 1e3)))
            .finish()
    }
}
