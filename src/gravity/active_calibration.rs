//! Which calibration of a probe is in force when, and what that says about a reading.

use crate::calibration::Calibrations;
use crate::season::{Flags, Season};
use crate::units::Instant;

/// Events after which a curve is stale.
const STALE: [&str; 3] = ["cell_swap", "shell", "board"];

/// A calibration with the flags it brings to readings before `until`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ActiveCalibration {
    /// Index into `Calibrations::calibrations`.
    pub calibration: u32,
    pub flags: Flags,
    /// The moment from which something else holds.
    pub until: Instant,
}

/// One probe's calibrations and changes in order of time.
pub(crate) struct Timeline {
    /// Index and time of the probe's calibrations.
    calibrations: Vec<(u32, Instant)>,
    /// When cell, shell or board were changed.
    changes: Vec<Instant>,
}

impl Timeline {
    pub fn of(all: &Calibrations, season: &Season, probe: &str) -> Self {
        let calibrations = all
            .calibrations
            .iter()
            .enumerate()
            .filter(|(_, c)| c.probe == probe)
            .map(|(i, c)| (i as u32, c.calibrated_at))
            .collect();
        let mut changes: Vec<Instant> = season
            .events
            .iter()
            .filter(|e| e.probe.as_deref() == Some(probe) && STALE.contains(&e.kind.as_str()))
            .map(|e| e.at)
            .collect();
        changes.sort();
        Self { calibrations, changes }
    }

    pub fn is_empty(&self) -> bool {
        self.calibrations.is_empty()
    }

    /// What is in force at a moment: the last calibration up to it, before the first the first.
    pub fn at(&self, at: Instant) -> Option<ActiveCalibration> {
        let next = self.calibrations.partition_point(|(_, from)| *from <= at);
        let never = Instant::from_micros(i64::MAX);
        let next_change = self.changes.iter().copied().find(|change| *change > at).unwrap_or(never);
        let next_calibration = self.calibrations.get(next).map_or(never, |(_, from)| *from);
        let mut flags = Flags::NONE;
        let (calibration, from) = match next.checked_sub(1).and_then(|i| self.calibrations.get(i)) {
            Some(&in_force) => in_force,
            None => {
                let &first = self.calibrations.first()?;
                flags.insert(Flags::BEFORE_CALIBRATION);
                first
            }
        };
        // Changed between the calibration and the reading, whichever came first.
        if self.changes.iter().any(|&change| (from < change && change <= at) || (at < change && change <= from)) {
            flags.insert(Flags::CALIBRATION_STALE);
        }
        Some(ActiveCalibration { calibration, flags, until: next_change.min(next_calibration) })
    }
}
