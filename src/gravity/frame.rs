//! The table of gravities.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::{FrameBuilder, Season};

use super::readings::Gravity;

impl Gravity {
    /// The table `gravity`: one row per reading.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn to_frame(&self, season: &Season) -> Result<DataFrame> {
        let readings = &season.readings;
        let batch = |index: &Option<u32>| index.and_then(|b| readings.batch_ids.get(b as usize));
        let id = |index: &Option<u32>| index.and_then(|c| self.calibration_ids.get(c as usize));
        FrameBuilder::new("gravity")
            .time("at", readings.at.iter().map(|at| Some(*at)))
            .text("probe", readings.probe.iter().map(|&p| readings.probe_ids.get(p as usize)))
            .text("batch", readings.batch.iter().map(batch))
            .number("tilt_deg", readings.tilt_deg.iter().map(|tilt| Some(*tilt)))
            .number("temp_c", readings.temp_c.iter().map(|temp| Some(*temp)))
            .number("density_kg_m3", self.density_kg_m3.iter().copied())
            .number("sg", self.sg.iter().copied())
            .number("sg_se", self.sg_se.iter().copied())
            .number("sg_se_shared", self.sg_se_shared.iter().copied())
            .number("sg_uncorrected", self.sg_uncorrected.iter().copied())
            .text("calibration", self.calibration.iter().map(id))
            .text("flags", self.flags.iter().map(|flags| Some(flags.to_string())))
            .finish()
    }
}
