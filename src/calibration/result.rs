//! What the study of calibration finds.

use crate::fit::{Estimate, Finding};
use crate::units::Instant;

use super::curve::{CurveKind, FittedCurve};

/// One bath of a calibration, as it entered the fit.
#[derive(Debug, Clone, PartialEq)]
pub struct BathPoint {
    /// Row of `Season::references`.
    pub reference: usize,
    /// When.
    pub at: Instant,
    /// The bath's name, if it has one.
    pub bath: Option<String>,
    /// SG 20/20 of the bath.
    pub sg: f64,
    /// Its standard deviation.
    pub sg_sd: f64,
    /// Temperature of the bath, C.
    pub temp_c: f64,
    /// Density of the bath at its own temperature, kg/m3.
    pub density_kg_m3: f64,
    /// Tilt of the probe in it, degrees.
    pub tilt_deg: f64,
    /// Standard deviation of that tilt, degrees.
    pub tilt_sd_deg: f64,
    /// Curve minus bath, SG.
    pub residual_sg: f64,
    /// Externally studentised residual (fit without this bath); empty where the fit without it cannot be had.
    pub studentised: Option<f64>,
}

/// One candidate curve and how it did.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Which.
    pub kind: CurveKind,
    /// The fit to all baths, where there is one.
    pub fitted: Option<FittedCurve>,
    /// Root mean square residual, SG, over the degrees of freedom left.
    pub rmse_sg: Option<f64>,
    /// Root mean square prediction error of inner baths that were left out, SG.
    pub left_out_inner_sg: Option<f64>,
    /// The same of the lightest and the heaviest bath: extrapolation.
    pub left_out_end_sg: Option<f64>,
    /// Akaike's criterion with the small-sample term; only where n > k + 2.
    pub aicc: Option<f64>,
    /// Why this curve may not be used.
    pub refused: Option<String>,
    /// True for the one in use.
    pub chosen: bool,
}

/// The thermal expansion of a probe's shell.
#[derive(Debug, Clone, PartialEq)]
pub struct ShellExpansion {
    /// Linear expansion, per K.
    pub alpha_per_k: f64,
    /// Its standard deviation, per K.
    pub alpha_sd_per_k: f64,
    /// Where it comes from, in words.
    pub source: String,
}

/// One calibration of one probe: the curve from tilt to density, in force from its date to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// The probe.
    pub probe: String,
    /// Id: the probe and the number of the calibration, as in `dunlin/1`.
    pub calibration: String,
    /// The time of its last bath.
    pub calibrated_at: Instant,
    /// Which curve was chosen.
    pub kind: CurveKind,
    /// The curve with its covariance.
    pub fitted: FittedCurve,
    /// Its baths, by rising density.
    pub baths: Vec<BathPoint>,
    /// Root mean square residual, SG, over the degrees of freedom left.
    pub rmse_sg: f64,
    /// SG of the lightest bath.
    pub sg_min: f64,
    /// SG of the heaviest bath.
    pub sg_max: f64,
    /// The shell.
    pub shell: ShellExpansion,
    /// Temperature to which the curve's shell is brought, C.
    pub shell_temp_c: f64,
    /// Tilt in pure water at 20 C by the curve, degrees.
    pub water_tilt_deg: Finding,
    /// True when that is 25 +- 5 degrees (common practice, no source); empty without a water tilt.
    pub water_ok: Option<bool>,
    /// Every candidate, in a fixed order.
    pub candidates: Vec<Candidate>,
    /// The bath that fits worst, when its studentised residual is beyond what chance gives at 1 % over all baths.
    pub suspect: Option<Suspect>,
    /// What the reader should know, in words.
    pub remarks: Vec<String>,
    /// Level of its intervals.
    pub level: f64,
}

/// A bath that does not fit the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// Index into `Calibration::baths`.
    pub bath: usize,
    /// Two-sided probability of so large a studentised residual among this many baths, Bonferroni.
    pub p: f64,
    /// Shift of the curve at SG 1.020 when it is left out.
    pub shift_at_1020_sg: Estimate,
}

/// A session that defined no curve, or a probe without one.
#[derive(Debug, Clone, PartialEq)]
pub struct NoCurve {
    /// The probe.
    pub probe: String,
    /// The session's last bath; empty for a probe that was in no bath.
    pub at: Option<Instant>,
    /// Why there is no curve from it.
    pub why: String,
    /// True when the baths are there and only too few for a curve: they are checks.
    pub check: bool,
}

/// All calibrations of a season.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibrations {
    /// The curves, by probe and then by time.
    pub calibrations: Vec<Calibration>,
    /// Sessions and probes without a curve, with the reason.
    pub without: Vec<NoCurve>,
    /// What the fit was told.
    pub settings: super::CalibrationSettings,
}
