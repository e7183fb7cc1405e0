//! A simulated season with its truth.

use crate::season::Season;

use super::fleet::SimulatedProbe;
use super::log::LogRow;
use super::truth::Truth;

/// A simulated season with its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    /// The season as a user would have it after loading.
    pub season: Season,
    /// What is true.
    pub truth: Truth,
    /// The log as it came in, with rows twice and late.
    pub(super) raw: Vec<LogRow>,
    /// Ids that the log's rows point to.
    pub(super) probe_ids: Vec<String>,
}

impl Simulated {
    pub(super) fn new(season: Season, truth: Truth, raw: Vec<LogRow>, fleet: &[SimulatedProbe]) -> Self {
        Self { season, truth, raw, probe_ids: fleet.iter().map(|unit| unit.row.probe.clone()).collect() }
    }
}
