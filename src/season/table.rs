//! The tables of a season and their columns.

use std::fmt;

/// A table of a season.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum SeasonTable {
    /// The probes' readings.
    Readings,
    /// Baths, checks and samples.
    References,
    /// The batches.
    Batches,
    /// The probes.
    Probes,
    /// What happened.
    Events,
    /// The temperature schedule ahead.
    Plan,
}

/// What a number measures: this decides which units a mapping may name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Quantity {
    /// An angle in degrees.
    Angle,
    /// The standard deviation of one.
    AngleSd,
    /// A temperature in C.
    Temperature,
    /// SG 20/20.
    Gravity,
    /// SG as an instrument shows it.
    RawGravity,
    /// The standard deviation of an SG.
    GravitySd,
    /// A voltage in V.
    Voltage,
    /// A mass in g.
    Mass,
    /// A length in mm.
    Length,
    /// A volume in L.
    Volume,
    /// Anything else, in the unit of the column's name.
    Plain,
}

/// What stands in a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ColumnKind {
    /// An instant.
    Time,
    /// Text.
    Text,
    /// A finite number.
    Number,
}

/// A column of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TableColumn {
    /// Its name.
    pub(crate) name: &'static str,
    /// What stands in it.
    pub(crate) kind: ColumnKind,
    /// What its numbers measure.
    pub(crate) quantity: Quantity,
    /// True when no row may leave it empty.
    pub(crate) required: bool,
}

/// Flags that depend on how a file stood (its order, its local times): written so that a season that is written
/// and read again is the same.
pub(crate) const FLAGS_COLUMN: &str = "flags";

impl SeasonTable {
    /// Every table, the four of each season first.
    pub const ALL: [Self; 6] =
        [Self::Readings, Self::References, Self::Batches, Self::Probes, Self::Events, Self::Plan];

    /// Its name, which is also the name of its file or folder.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::References => "references",
            Self::Batches => "batches",
            Self::Probes => "probes",
            Self::Events => "events",
            Self::Plan => "plan",
        }
    }

    /// The table of that name, if there is one.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|table| table.name() == name)
    }
}

impl fmt::Display for SeasonTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
