//! What the study of calibration finds.

use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding};
use crate::float::ShellExpansion;
use crate::units::Instant;

use super::errors::Sources;
use super::fit_data::AGREES_P;
use super::fitted_curve::{FittedCalibration, SharedError};
use super::kinds::CurveKind;

/// One bath of a calibration, as it entered the fit.
#[derive(Debug, Clone, PartialEq)]
pub struct BathPoint {
    /// Rows of `Season::references`: several immersions in one bath are one point.
    pub references: Vec<usize>,
    /// When, of the last of them.
    pub at: Instant,
    /// The bath's name, if it has one.
    pub bath: Option<String>,
    /// SG 20/20 of the bath.
    pub sg: f64,
    /// Its standard deviation, by all errors of the stated gravity.
    pub sg_sd: f64,
    /// Estimate of the stated gravity's error where several probes were in the bath: stated minus true, SG.
    pub error_sg: Option<Estimate>,
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

impl BathPoint {
    /// Its name, or its gravity.
    pub(crate) fn name(&self) -> String {
        self.bath.clone().unwrap_or_else(|| format!("SG {:.4}", self.sg))
    }
}

/// One candidate curve and how it did.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveCandidate {
    /// Which.
    pub kind: CurveKind,
    /// The fit to all baths, where there is one.
    pub fitted: Option<FittedCalibration>,
    /// Root mean square residual, SG, over the degrees of freedom left.
    pub rmse_sg: Option<f64>,
    /// Root mean square prediction error of inner baths that were left out, SG.
    pub left_out_inner_sg: Option<f64>,
    /// The same of the lightest and the heaviest bath: extrapolation.
    pub left_out_end_sg: Option<f64>,
    /// Why this curve may not be used.
    pub refused: Option<String>,
    /// True for the one in use.
    pub chosen: bool,
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
    pub fitted: FittedCalibration,
    /// Its baths, by rising density.
    pub baths: Vec<BathPoint>,
    /// Baths that are wrong: the curve is without them.
    pub left_out: Vec<BathPoint>,
    /// Root mean square residual, SG, over the degrees of freedom left; empty where none is left.
    pub rmse_sg: Option<f64>,
    /// SG of the lightest bath.
    pub sg_min: f64,
    /// SG of the heaviest bath.
    pub sg_max: f64,
    /// Densities of the lightest and the heaviest bath, brought to a shell of 20 C, kg/m3: beyond them the
    /// curve is extrapolated.
    pub density_range_kg_m3: (f64, f64),
    /// The shell.
    pub shell: ShellExpansion,
    /// Tilt in pure water at 20 C by the curve, degrees.
    pub water_tilt_deg: Finding,
    /// Every candidate, in a fixed order.
    pub candidates: Vec<CurveCandidate>,
    /// The bath that fits worst, when its studentised residual is beyond what chance gives at 1 % over all baths; with
    /// others that may as well be the wrong one, the likeliest first.
    pub suspects: Vec<Suspect>,
    /// What the reader should know, in words.
    pub remarks: Vec<String>,
    /// Level of its intervals.
    pub level: f64,
}

/// A bath that does not fit the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspect {
    /// Index into `Calibration::baths`.
    pub bath: usize,
    /// Stated minus what the others say (of all probes that were in them, where several were), SG.
    pub off_sg: f64,
    /// Two-sided probability of so large a studentised residual among this many baths, Bonferroni.
    pub p: f64,
    /// Whether it is so far off that it, or another suspect, is a slip rather than inexact.
    pub is_slip: bool,
}

/// A bath that several probes were in, as all of them together see it.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedBath {
    /// Number of its error among those of all references.
    pub(crate) source: usize,
    /// Its name and when its session began.
    pub name: String,
    /// The gravity that was stated, SG 20/20.
    pub stated_sg: f64,
    /// Standard deviation of the stated gravity by itself.
    pub stated_sd: f64,
    /// The probes that were in it.
    pub probes: Vec<String>,
    /// Rows of `Season::references`: the immersions.
    pub references: Vec<usize>,
    /// Estimate of its error, stated minus true, SG.
    pub error_sg: Estimate,
    /// Two-sided probability of so large an error among the baths of the session, Bonferroni, by leaving the bath out;
    /// only of a suspect.
    pub p: Option<f64>,
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

/// A probe in water after its calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct WaterCheck {
    /// When.
    pub at: Instant,
    /// The probe.
    pub probe: String,
    /// The calibration in force before it.
    pub calibration: String,
    /// Tilt found, degrees.
    pub tilt_deg: f64,
    /// Tilt by the curve in water at that temperature, degrees; empty where the curve does not reach it.
    pub expected_tilt_deg: Option<f64>,
    /// What the probe reads in water minus what the water is, SG.
    pub shift_sg: Estimate,
    /// Two-sided probability of so large a shift when the curve still holds.
    pub p: f64,
}

impl WaterCheck {
    /// Whether the reading agrees with the curve at 5 %.
    pub fn agrees(&self) -> bool {
        self.p >= *AGREES_P
    }
}

/// All calibrations of a season.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibrations {
    /// The curves, by probe and then by time.
    pub calibrations: Vec<Calibration>,
    /// Sessions and probes without a curve, with the reason.
    pub without: Vec<NoCurve>,
    /// Baths that several probes were in.
    pub shared_baths: Vec<SharedBath>,
    /// Water after a calibration, against its curve.
    pub water_checks: Vec<WaterCheck>,
    /// Names of the sources of error that curves share.
    pub(crate) sources: Sources,
    /// Settings of the fit.
    pub settings: super::CalibrationSettings,
}

impl Calibrations {
    /// No calibration at all.
    pub fn none(settings: super::CalibrationSettings) -> Self {
        Self {
            calibrations: Vec::new(),
            without: Vec::new(),
            shared_baths: Vec::new(),
            water_checks: Vec::new(),
            sources: Sources::default(),
            settings,
        }
    }

    /// Name of a source of error that curves share: a bath, an instrument, a weighing.
    pub fn source_name(&self, error: &SharedError) -> String {
        self.sources.get(error.source).map(ToString::to_string).unwrap_or_default()
    }

    /// The calibration of that id, such as `dunlin/1`.
    ///
    /// # Errors
    /// [`Error::Usage`] when there is none; it names those there are.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nprintln!(\"{}\", calibrations.get(&format!(\"{}/1\", season.probes[0].probe))?);")]
    pub fn get(&self, calibration: &str) -> Result<&Calibration> {
        let known = || self.calibrations.iter().map(|c| c.calibration.as_str()).collect::<Vec<_>>().join(", ");
        let found = self.calibrations.iter().find(|c| c.calibration == calibration);
        found.ok_or_else(|| Error::Usage(format!("no calibration `{calibration}`; there are {}", known())))
    }

    /// The calibrations of one probe, in order of time.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nassert_eq!(calibrations.of_probe(\"nobody\").count(), 0);")]
    pub fn of_probe<'a>(&'a self, probe: &'a str) -> impl Iterator<Item = &'a Calibration> {
        self.calibrations.iter().filter(move |c| c.probe == probe)
    }

    /// The first calibration of a probe in the season: the one that drift is measured against.
    pub fn first(&self, probe: &str) -> Option<&Calibration> {
        self.calibrations.iter().find(|c| c.probe == probe)
    }

    /// The calibration of a probe in force at a moment (before its first, the first).
    pub fn in_force(&self, probe: &str, at: Instant) -> Option<&Calibration> {
        let mut up_to_then = self.calibrations.iter().filter(|c| c.probe == probe && c.calibrated_at <= at);
        up_to_then.next_back().or_else(|| self.first(probe))
    }
}
