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
            ("batches", batches(&self.batches)?),
            ("probes", probes(&self.probes)?),
            ("shifts", shifts(&self.shifts)?),
            ("errors", errors(&self.errors)?),
            ("curves", curves(&self.curves)?),
            ("strains", strains(&self.strains)?),
        ];
        if !self.troubles.is_empty() {
            frames.push(("troubles", troubles(&self.troubles)?));
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

/// One closure per column, over the rows of a table.
macro_rules! columns {
    ($builder:expr, $rows:ident, $($kind:ident $field:ident = $get:expr),* $(,)?) => {
        $builder$(.$kind(stringify!($field), $rows.iter().map($get)))*.finish()
    };
}

fn batches(rows: &[BatchTruth]) -> Result<DataFrame> {
    columns!(FrameBuilder::new("batches"), rows,
        text batch = |r| Some(&r.batch),
        text strain = |r| Some(&r.strain),
        number original_sg = |r| Some(r.original_sg),
        number terminal_sg = |r| Some(r.terminal_sg),
        number limit_sg = |r| Some(r.limit_sg),
        number lowest_sg = |r| Some(r.lowest_sg),
        number finish_h = |r| Some(r.finish_h),
        time finish_at = |r| Some(r.finish_at),
        number lag_h = |r| Some(r.lag_h),
        number mid_h = |r| Some(r.mid_h),
        number t90_h = |r| Some(r.t90_h),
        number max_rate_sg_per_day = |r| Some(r.max_rate_sg_per_day),
        number attenuation = |r| Some(r.attenuation),
        number attenuation_extract = |r| Some(r.attenuation_extract),
        number abv_percent = |r| Some(r.abv_percent),
        time cooled_at = |r| r.cooled_at,
        text end = |r| Some(r.end.to_string()),
    )
}

fn probes(rows: &[ProbeTruth]) -> Result<DataFrame> {
    columns!(FrameBuilder::new("probes"), rows,
        text probe = |r| Some(&r.probe),
        number k_kg_m3 = |r| Some(r.k_kg_m3),
        number total_mass_g = |r| Some(r.total_mass_g),
        number radius_mm = |r| Some(r.radius_mm),
        number e_mm = |r| Some(r.e_mm),
        number z_g_mm = |r| Some(r.z_g_mm),
        number zero_deg = |r| Some(r.zero_deg),
        number expansion_per_k = |r| Some(r.expansion_per_k),
        number water_tilt_deg = |r| Some(r.water_tilt_deg),
        number tilt_at_1100_deg = |r| Some(r.tilt_at_1100_deg),
        time from = |r| Some(r.from),
        time to = |r| Some(r.to),
        number drift_sg_per_30d = |r| r.drift_sg_per_30d,
        number gradual_sg_per_30d = |r| r.gradual_sg_per_30d,
    )
}

fn troubles(rows: &[TroubleTruth]) -> Result<DataFrame> {
    columns!(FrameBuilder::new("troubles"), rows,
        text trouble = |r| Some(r.trouble.name()),
        text probe = |r| r.probe.as_ref(),
        text batch = |r| r.batch.as_ref(),
        time from = |r| Some(r.from),
        time to = |r| Some(r.to),
        number off_sg = |r| r.off_sg,
    )
}

fn shifts(rows: &[ShiftTruth]) -> Result<DataFrame> {
    columns!(FrameBuilder::new("shifts"), rows,
        text probe = |r| Some(&r.probe),
        time at = |r| Some(r.at),
        text kind = |r| Some(&r.kind),
        truth recorded = |r| Some(r.recorded),
        number shift_sg = |r| Some(r.shift_sg),
    )
}

fn errors(rows: &[ErrorTruth]) -> Result<DataFrame> {
    columns!(FrameBuilder::new("errors"), rows,
        text probe = |r| Some(&r.probe),
        time at = |r| Some(r.at),
        number error_sg = |r| Some(r.error_sg),
        number gradual_error_sg = |r| Some(r.gradual_error_sg),
        number since_last_sg = |r| Some(r.since_last_sg),
    )
}

fn curves(rows: &[CurveTruth]) -> Result<DataFrame> {
    columns!(FrameBuilder::new("curves"), rows,
        text probe = |r| Some(&r.probe),
        count calibration = |r| Some(r.calibration as i64),
        time calibrated_at = |r| Some(r.calibrated_at),
        number sg = |r| Some(r.sg),
        number tilt_deg = |r| Some(r.tilt_deg),
    )
}

fn strains(rows: &[StrainTruth]) -> Result<DataFrame> {
    columns!(FrameBuilder::new("strains"), rows,
        text strain = |r| Some(&r.strain),
        number maltotriose_share = |r| Some(r.maltotriose_share),
        number speed = |r| Some(r.speed),
        number settling_per_h = |r| Some(r.settling_per_h),
        number stop_temp_c = |r| Some(r.stop_temp_c),
        number usual_temp_c = |r| Some(r.usual_temp_c),
        number attenuation = |r| Some(r.attenuation),
        number lag_h = |r| Some(r.lag_h),
        number mid_h = |r| Some(r.mid_h),
        number max_rate_sg_per_day = |r| Some(r.max_rate_sg_per_day),
        number finish_h = |r| Some(r.finish_h),
    )
}
