//! The table of gravities.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::{FrameBuilder, Season};

use super::layers::{CorrectedGravity, Gravity};

impl Gravity {
    /// The table `gravity`: one row per reading.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.gravity()?.to_frame(&season)?;")]
    pub fn to_frame(&self, season: &Season) -> Result<DataFrame> {
        let readings = &season.readings;
        let batch = |index: &Option<u32>| index.and_then(|b| readings.batch_ids.get(b as usize));
        let id = |index: &Option<u32>| index.and_then(|c| self.calibration_ids.get(c as usize));
        let corrected = |of: fn(&CorrectedGravity) -> f64| self.corrected.iter().map(move |read| read.as_ref().map(of));
        FrameBuilder::new("gravity")
            .time("at", readings.at.iter().map(|at| Some(*at)))
            .text("probe", readings.probe.iter().map(|&p| readings.probe_ids.get(p as usize)))
            .text("batch", readings.batch.iter().map(batch))
            .number("tilt_deg", readings.tilt_deg.iter().map(|tilt| Some(*tilt)))
            .number("temp_c", readings.temp_c.iter().map(|temp| Some(*temp)))
            .number("density_kg_m3", self.uncorrected.iter().map(|read| Some((*read)?.density_kg_m3)))
            .number("sg", corrected(|read| read.sg))
            .number("sg_se", corrected(|read| read.se))
            .number("sg_se_shared", corrected(|read| read.shared_se))
            .number("sg_uncorrected", self.uncorrected.iter().map(|read| Some((*read)?.sg)))
            .text("calibration", self.calibration.iter().map(id))
            .text("flags", self.flags.iter().map(|flags| Some(flags.to_string())))
            .finish()
    }
}
