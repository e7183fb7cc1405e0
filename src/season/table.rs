//! The tables of a season and their columns.

named! {
    /// A table of a season.
    pub enum SeasonTable {
        /// The probes' readings.
        Readings = "readings",
        /// Baths, checks and samples.
        References = "references",
        /// The batches.
        Batches = "batches",
        /// The probes.
        Probes = "probes",
        /// What happened.
        Events = "events",
        /// The temperature schedule ahead.
        Plan = "plan",
    }
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
    Time,
    Text,
    /// A finite number.
    Number,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TableColumn {
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
