//! Calibrations by probe, by id and by time.

use crate::error::{Error, Result};
use crate::units::Instant;

use super::result::{Calibration, Calibrations};

impl Calibrations {
    /// The calibrations of one probe, in order of time.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nassert_eq!(calibrations.of_probe(\"nobody\").count(), 0);")]
    pub fn of_probe<'a>(&'a self, probe: &'a str) -> impl Iterator<Item = &'a Calibration> {
        self.calibrations.iter().filter(move |c| c.probe == probe)
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
