//! What is true in a simulated season: what a study may be held against, and never reads.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::{FrameBuilder, Readings};
use crate::units::Instant;

use super::trouble::TroubleTruth;
use super::truth_table::truth_table;

named! {
    /// How a batch ended, seen from what can be observed of its coming to rest.
    pub enum BatchEnd {
        /// It came to rest, warm, before cooling and before the end of the data.
        Observed = "observed",
        /// It was cooled before it came to rest.
        CutByCooling = "cut_by_cooling",
        /// The data end before it came to rest.
        CutByEnd = "cut_by_end",
        /// It came to rest more than 0.003 above the limit.
        Stuck = "stuck",
    }
}

truth_table! {
    /// The truth of one batch.
    ///
    /// All but `lowest_sg` belong to the curve the batch would have run had it been held at its last fermentation
    /// temperature, never cooled.
    pub struct BatchTruth {
        /// The batch.
        batch: String,
        /// The strain.
        strain: String,
        /// SG at pitching.
        original_sg: f64,
        /// SG at rest.
        terminal_sg: f64,
        /// SG of the wort with all that this strain can ferment gone.
        limit_sg: f64,
        /// Lowest SG really reached within the data.
        lowest_sg: f64,
        /// First hour from pitching after which SG stays within 0.001 of terminal for 48 h.
        finish_h: f64,
        /// The same as an instant.
        finish_at: Instant,
        /// Hours from pitching at which the tangent at the steepest point meets SG at pitching.
        lag_h: f64,
        /// Hours from pitching to half of the drop.
        mid_h: f64,
        /// Hours from pitching to nine tenths of the drop.
        t90_h: f64,
        /// Greatest fall, SG per day.
        max_rate_sg_per_day: f64,
        /// Apparent attenuation in SG points, a fraction.
        attenuation: f64,
        /// Apparent attenuation in extract, a fraction.
        attenuation_extract: f64,
        /// Alcohol at rest, percent by volume at 20 C, by the mass balance.
        abv_percent: f64,
        /// When cooling began, if it did.
        cooled_at: Option<Instant>,
        /// How it ended.
        end: BatchEnd,
    }
}

truth_table! {
    /// The truth of one probe.
    ///
    /// `drift` is the least-squares slope, on a weekly grid from `from` to `to`, of (SG on the probe's own first curve -
    /// true SG) at SG 1.020 and 20 C.
    pub struct ProbeTruth {
        /// The probe.
        probe: String,
        /// m/(pi r^3) at the first calibration, kg/m3.
        k_kg_m3: f64,
        /// Total mass at the first calibration, g.
        total_mass_g: f64,
        /// Outer radius of the cylinder, mm.
        radius_mm: f64,
        /// Centre of gravity across the axis at the first calibration, mm.
        e_mm: f64,
        /// Centre of gravity above the nose at the first calibration, mm.
        z_g_mm: f64,
        /// Zero of the sensor at the first calibration, degrees.
        zero_deg: f64,
        /// Linear expansion of the shell, per K.
        expansion_per_k: f64,
        /// Tilt as the sensor gives it in pure water of 20 C at the first calibration, degrees.
        water_tilt_deg: f64,
        /// The same in a sugar bath of SG 1.100.
        tilt_at_1100_deg: f64,
        /// The last bath of the first calibration.
        from: Instant,
        /// The last bath, check or sample that a reading of this probe can be held against.
        to: Instant,
        /// Drift rate, shifts included, SG per 30 days; none where the span is under a week.
        drift_sg_per_30d: Option<f64>,
        /// Drift rate of the gradual part alone, likewise.
        gradual_sg_per_30d: Option<f64>,
    }
}

truth_table! {
    /// A sudden lasting change of a probe.
    pub struct ShiftTruth {
        /// The probe.
        probe: String,
        /// When.
        at: Instant,
        /// `cell_swap`, `knocked` or `deposit`.
        kind: String,
        /// Whether the table of events has it.
        recorded: bool,
        /// Change of (probe SG - true SG) at SG 1.020 and 20 C.
        shift_sg: f64,
    }
}

truth_table! {
    /// The error of one probe at one time, at SG 1.020 and 20 C.
    pub struct ErrorTruth {
        /// The probe.
        probe: String,
        /// When: weekly.
        at: Instant,
        /// SG on the first curve - true SG.
        error_sg: f64,
        /// The same without shifts.
        gradual_error_sg: f64,
        /// SG on the curve in force - true SG.
        since_last_sg: f64,
    }
}

truth_table! {
    /// One point of the true curve of one probe at the end of one calibration.
    pub struct CurveTruth {
        /// The probe.
        probe: String,
        /// Which calibration of that probe, from 1.
        calibration: usize,
        /// Its last bath.
        calibrated_at: Instant,
        /// SG 20/20 of a sugar bath of 20 C.
        sg: f64,
        /// Tilt that the sensor gives in it, without noise, degrees.
        tilt_deg: f64,
    }
}

truth_table! {
    /// The truth of one strain: its parameters, and what they make of one wort under one regime.
    ///
    /// The traits are those of SG 1.050 from a mash of 66 C, pitched as usual and held at the strain's usual
    /// temperature: a point of the population of batches, not its mean.
    pub struct StrainTruth {
        /// The strain.
        strain: String,
        /// Share of the wort's maltotriose that it can use.
        maltotriose_share: f64,
        /// Speed of uptake relative to the first strain.
        speed: f64,
        /// Rate of settling once the sugars are low, per h.
        settling_per_h: f64,
        /// Temperature at which it stops, C.
        stop_temp_c: f64,
        /// Usual temperature, C.
        usual_temp_c: f64,
        /// Apparent attenuation in SG points, a fraction.
        attenuation: f64,
        /// Lag, h.
        lag_h: f64,
        /// Time to half of the drop, h.
        mid_h: f64,
        /// Greatest fall, SG per day.
        max_rate_sg_per_day: f64,
        /// Finish time, h from pitching.
        finish_h: f64,
    }
}

/// True gravity at each reading, aligned row by row with the readings of the season.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct GravityTruth {
    /// SG 20/20 of the liquid; none where the probe is in no liquid.
    pub sg: Vec<Option<f64>>,
    /// Density of the liquid at its temperature, kg/m3; likewise.
    pub density_kg_m3: Vec<Option<f64>>,
}

/// Everything that is true in a simulated season.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Truth {
    /// Batches, in the order of the season's.
    pub batches: Vec<BatchTruth>,
    /// Probes, in the order of the season's.
    pub probes: Vec<ProbeTruth>,
    /// Sudden changes, by probe and time.
    pub shifts: Vec<ShiftTruth>,
    /// Errors of the probes, weekly, by probe and time.
    pub errors: Vec<ErrorTruth>,
    /// True curves of all calibrations, by probe, calibration and SG.
    pub curves: Vec<CurveTruth>,
    /// Strains.
    pub strains: Vec<StrainTruth>,
    /// Gravity at each reading.
    pub gravity: GravityTruth,
    /// Troubles that happened.
    pub troubles: Vec<TroubleTruth>,
}

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
