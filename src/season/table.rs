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
    /// An angle in degrees (or the standard deviation of one).
    Angle,
    /// A temperature in C.
    Temperature,
    /// SG 20/20.
    Gravity,
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
    Number(Quantity),
}

/// A column of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TableColumn {
    /// Its name.
    pub(crate) name: &'static str,
    /// What stands in it.
    pub(crate) kind: ColumnKind,
    /// True when no row may leave it empty.
    pub(crate) required: bool,
}

const fn required(name: &'static str, kind: ColumnKind) -> TableColumn {
    TableColumn { name, kind, required: true }
}

const fn optional(name: &'static str, kind: ColumnKind) -> TableColumn {
    TableColumn { name, kind, required: false }
}

const fn number(name: &'static str) -> TableColumn {
    optional(name, ColumnKind::Number(Quantity::Plain))
}

const fn text(name: &'static str) -> TableColumn {
    optional(name, ColumnKind::Text)
}

const ANGLE: ColumnKind = ColumnKind::Number(Quantity::Angle);
const TEMPERATURE: ColumnKind = ColumnKind::Number(Quantity::Temperature);
const GRAVITY: ColumnKind = ColumnKind::Number(Quantity::Gravity);
const MASS: ColumnKind = ColumnKind::Number(Quantity::Mass);
const LENGTH: ColumnKind = ColumnKind::Number(Quantity::Length);

/// Flags that depend on how a file stood (its order, its local times): written so that a season that is written
/// and read again is the same.
pub(crate) const FLAGS_COLUMN: &str = "flags";

const READINGS: &[TableColumn] = &[
    required("at", ColumnKind::Time),
    required("probe", ColumnKind::Text),
    required("tilt_deg", ANGLE),
    required("temp_c", TEMPERATURE),
    text("batch"),
    optional("supply_v", ColumnKind::Number(Quantity::Voltage)),
    text(FLAGS_COLUMN),
];

const REFERENCES: &[TableColumn] = &[
    required("at", ColumnKind::Time),
    // Required unless `raw_sg` or `raw_brix` stands in its place; the row type sees to that.
    optional("sg", GRAVITY),
    text("probe"),
    text("batch"),
    text("bath"),
    text("method"),
    text("instrument"),
    text("use"),
    optional("tilt_deg", ANGLE),
    optional("tilt_sd_deg", ANGLE),
    optional("temp_c", TEMPERATURE),
    number("sg_sd"),
    optional("raw_sg", ColumnKind::Number(Quantity::Plain)),
    optional("raw_brix", ColumnKind::Number(Quantity::Plain)),
    optional("instrument_temp_c", TEMPERATURE),
    optional("known_at", ColumnKind::Time),
    text("note"),
    text(FLAGS_COLUMN),
];

const BATCHES: &[TableColumn] = &[
    required("batch", ColumnKind::Text),
    required("strain", ColumnKind::Text),
    required("pitched_at", ColumnKind::Time),
    text("probe"),
    text("vessel"),
    text("wort"),
    optional("original_sg", GRAVITY),
    number("original_sg_sd"),
    optional("limit_sg", GRAVITY),
    number("limit_sg_sd"),
    optional("mash_temp_c", TEMPERATURE),
    number("pitch_mcells_ml_p"),
    text("yeast_lot"),
    number("generation"),
    optional("set_temp_c", TEMPERATURE),
    optional("volume_l", ColumnKind::Number(Quantity::Volume)),
    optional("ended_at", ColumnKind::Time),
    text("note"),
];

const PROBES: &[TableColumn] = &[
    required("probe", ColumnKind::Text),
    optional("built_on", ColumnKind::Time),
    optional("total_mass_g", MASS),
    optional("cell_mass_g", MASS),
    optional("diameter_mm", LENGTH),
    optional("length_mm", LENGTH),
    text("bottom"),
    text("top"),
    text("shell"),
    text("note"),
];

const EVENTS: &[TableColumn] = &[
    required("at", ColumnKind::Time),
    required("kind", ColumnKind::Text),
    text("probe"),
    text("batch"),
    optional("total_mass_g", MASS),
    optional("cell_mass_g", MASS),
    number("value"),
    text("note"),
];

const PLAN: &[TableColumn] =
    &[required("batch", ColumnKind::Text), required("at", ColumnKind::Time), required("temp_c", TEMPERATURE)];

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

    /// Its columns, in the order in which they are written.
    pub(crate) const fn columns(self) -> &'static [TableColumn] {
        match self {
            Self::Readings => READINGS,
            Self::References => REFERENCES,
            Self::Batches => BATCHES,
            Self::Probes => PROBES,
            Self::Events => EVENTS,
            Self::Plan => PLAN,
        }
    }
}

impl fmt::Display for SeasonTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
