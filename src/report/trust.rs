//! Whether to trust a probe today.

use crate::calibration::{BathRecipe, Calibration};
use crate::drift::{Drift, ProbeDrift, Recalibrate};
use crate::study::SeasonStudy;

use super::reader::Reader;

/// The curve of a probe now in force and the bath that it lacks, where it is provisional.
pub(super) fn provisional<'a>(study: &'a SeasonStudy, probe: &str) -> Option<(&'a Calibration, BathRecipe)> {
    let curve = study.calibrations.done()?.in_force(probe, study.latest?)?;
    Some((curve, curve.next_bath()?))
}

/// How far a probe is off now on its curve in force, where that is beyond the limit and beyond its error.
pub(super) fn off(found: &Drift, probe: &ProbeDrift, reader: &Reader) -> Option<String> {
    let e = probe.offset_sg.estimate().filter(|e| e.value.abs() >= found.limit_sg && e.lower * e.upper > 0.0)?;
    Some(format!("{} {}", reader.off(e, false), if e.value > 0.0 { "high" } else { "low" }))
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Trust {
    /// The chance that it is out of limit is as small as it should be.
    Yes,
    /// Not shown to be off, and not known well enough either.
    CheckIt,
    /// Shown to be off by more than the limit.
    No,
    /// Not shown to be off, on a curve of too few baths.
    Provisional,
    /// Nothing is known of its error.
    Unknown,
}

impl Trust {
    /// The probes of the season, each with its verdict.
    pub(super) fn all<'a>(study: &SeasonStudy, found: &'a Drift, reader: &Reader) -> Vec<(&'a ProbeDrift, Self)> {
        let verdict = |probe: &ProbeDrift| match probe.recalibrate {
            _ if off(found, probe, reader).is_some() => Self::No,
            _ if provisional(study, &probe.probe).is_some() => Self::Provisional,
            Recalibrate::AlreadyPast => Self::CheckIt,
            Recalibrate::By(_) | Recalibrate::NotBefore(_) => Self::Yes,
            Recalibrate::NotEstimable(_) => Self::Unknown,
        };
        found.probes.iter().map(|probe| (probe, verdict(probe))).collect()
    }

    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Yes => "trust it",
            Self::CheckIt => "check it",
            Self::No => "do not trust it",
            Self::Provisional => "provisional",
            Self::Unknown => "not known",
        }
    }
}

/// When a probe is to be checked, and calibrated if off; of one that is due, since when; empty where that cannot be said.
pub(super) fn due(found: &Drift, probe: &ProbeDrift, reader: &Reader) -> String {
    match (&probe.recalibrate, found.due_since(probe)) {
        (_, Some(since)) => format!("due since {}", reader.day(since)),
        (Recalibrate::By(at), _) => format!("check by {}", reader.day(*at)),
        (Recalibrate::NotBefore(at), _) => format!("not before {}", reader.day(*at)),
        (Recalibrate::AlreadyPast, _) => "due".to_owned(),
        (Recalibrate::NotEstimable(_), _) => String::new(),
    }
}
