//! A season: everything a user has, read from files, tidied, with an account of every row.

mod account;
mod flags;
mod readings;
mod schema;
mod series;

pub use account::{FileAccount, Rejected, RowAccount};
pub use flags::Flags;
pub use readings::{Reading, Readings};
pub use schema::{Batch, EndShape, Event, PlanStep, Probe, Reference, ReferenceUse};
pub use series::{GravitySeries, SeriesProbe, SeriesSample};

/// Everything a user has.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Season {
    /// The probes' readings.
    pub readings: Readings,
    /// Baths, checks and samples, in order of time.
    pub references: Vec<Reference>,
    /// The batches, in order of pitching.
    pub batches: Vec<Batch>,
    /// The probes, by id.
    pub probes: Vec<Probe>,
    /// What happened, in order of time.
    pub events: Vec<Event>,
    /// The temperature schedule ahead, by batch and time.
    pub plan: Vec<PlanStep>,
    /// What became of every row.
    pub account: RowAccount,
}
