//! All that the study of drift finds.

use crate::fit::Finding;
use crate::gravity::OffsetPrior;
use crate::units::Instant;

use crate::drift::model::ProbeErrors;
use crate::drift::results::{DriftKind, DriftPair, FleetTerm, InstrumentBias, Misfit, ProbeDrift, Shift};

use super::correction::Correction;

/// Calibration stability across the probes of a season.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Every probe at every reference, by probe and time.
    pub pairs: Vec<DriftPair>,
    /// The probes, by id.
    pub probes: Vec<ProbeDrift>,
    /// The fleet.
    pub fleet: Vec<FleetTerm>,
    /// Sudden shifts, by probe and time.
    pub shifts: Vec<Shift>,
    /// The instruments that more than one probe was held against.
    pub instruments: Vec<InstrumentBias>,
    /// References and readings that do not fit the rest of the season.
    pub misfits: Vec<Misfit>,
    /// What a probe's offset may be in a batch, by days since its calibration: for the study of kinetics.
    pub offset_prior: OffsetPrior,
    /// What the probes may read wrong in a batch, by all but that batch's own samples; none where the drift cannot be
    /// modelled.
    pub(crate) probe_errors: Option<ProbeErrors>,
    /// Of which kind the drift of each probe is.
    pub kinds: Vec<DriftKind>,
    /// Days after which a further probe of this fleet is to be calibrated again.
    pub interval_d: Finding,
    /// Estimated errors while each calibration was in force, by which gravities are corrected.
    pub(crate) corrections: Vec<Correction>,
    /// The gravities at which the season's beers end, SG.
    pub ends_sg: Vec<f64>,
    /// The season's last instant.
    pub latest: Option<Instant>,
    /// Error that counts as out of limit, SG.
    pub limit_sg: f64,
    /// Probability of it that is allowed.
    pub limit_chance: f64,
    /// Level of the intervals.
    pub level: f64,
}

impl Drift {
    /// A term of the fleet by its name in the table.
    pub fn term(&self, name: &str) -> Option<&FleetTerm> {
        self.fleet.iter().find(|term| term.term == name)
    }

    /// Whether gravities of the probe are corrected under any of its calibrations.
    pub fn is_corrected(&self, probe: &str) -> bool {
        self.corrections.iter().any(|c| c.applied && c.probe == probe)
    }

    /// The drift of a probe.
    pub fn of_probe(&self, probe: &str) -> Option<&ProbeDrift> {
        self.probes.iter().find(|p| p.probe == probe)
    }
}
