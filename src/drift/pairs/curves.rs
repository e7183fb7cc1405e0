//! A probe on the curve in force, seen from its first curve.

use std::collections::BTreeMap;

use crate::calibration::{Calibration, Calibrations, CovarianceRoot, Liquids};
use crate::error::Result;
use crate::gravity::ReadingErrors;
use crate::units::Instant;

/// Temperature at which drift is stated, C.
const AT_C: f64 = 20.0;

pub(in crate::drift) struct Curves<'a> {
    calibrations: &'a Calibrations,
    liquids: Liquids,
    firsts: BTreeMap<&'a str, (&'a Calibration, CovarianceRoot)>,
}

/// What a gravity read on the curve in force means on the first curve.
#[derive(Debug, Clone)]
pub(in crate::drift) struct OnFirstCurve {
    /// The curve in force minus the first curve at that tilt, SG.
    pub moved_sg: f64,
    /// The error of a reading there on the first curve, by source.
    pub errors: ReadingErrors,
}

impl<'a> Curves<'a> {
    pub fn new(calibrations: &'a Calibrations) -> Result<Self> {
        let mut firsts = BTreeMap::new();
        for calibration in &calibrations.calibrations {
            firsts
                .entry(calibration.probe.as_str())
                .or_insert_with(|| (calibration, CovarianceRoot::of_own(&calibration.fitted)));
        }
        Ok(Self { calibrations, liquids: Liquids::sugar_only()?, firsts })
    }

    /// A gravity read on a curve of the probe, in a sugar solution at 20 C; none where one of the curves has no value.
    pub fn seen(&self, probe: &str, on: &Calibration, sg: f64) -> Option<OnFirstCurve> {
        self.seen_at(probe, on, on.tilt_deg_at_20c(sg)?, AT_C)
    }

    /// The same for a tilt and a temperature that were read.
    pub fn seen_at(&self, probe: &str, on: &Calibration, tilt_deg: f64, temp_c: f64) -> Option<OnFirstCurve> {
        let (first, root) = self.firsts.get(probe)?;
        let temp_sd_c = self.calibrations.settings.temp_sd_c;
        let read =
            |c: &Calibration| c.gravity_at(self.liquids.at(None), tilt_deg, temp_c, temp_sd_c).map(|point| point.sg);
        let errors = first.reading_errors(root, self.liquids.at(None), tilt_deg, temp_c, temp_sd_c)?;
        Some(OnFirstCurve { moved_sg: read(on)? - read(first)?, errors })
    }

    /// Standard error of a curve at a gravity read on it, in a sugar solution at 20 C.
    pub fn curve_se(&self, on: &Calibration, sg: f64) -> Option<f64> {
        let tilt_deg = on.tilt_deg_at_20c(sg)?;
        let temp_sd_c = self.calibrations.settings.temp_sd_c;
        on.gravity_at(self.liquids.at(None), tilt_deg, AT_C, temp_sd_c).map(|point| point.shared_se)
    }

    /// Slope of a curve in the tilt, SG per degree, at a gravity read on it at 20 C.
    pub fn per_deg(&self, on: &Calibration, sg: f64) -> Option<f64> {
        let tilt_deg = on.tilt_deg_at_20c(sg)?;
        on.gravity_at(self.liquids.at(None), tilt_deg, AT_C, 0.0).map(|point| point.sg_per_deg)
    }

    /// The curve of a probe in force at a moment.
    pub fn in_force(&self, probe: &str, at: Instant) -> Option<&'a Calibration> {
        self.calibrations.in_force(probe, at)
    }

    /// The first curve of a probe.
    pub fn first(&self, probe: &str) -> Option<&'a Calibration> {
        self.firsts.get(probe).map(|(first, _)| *first)
    }
}
