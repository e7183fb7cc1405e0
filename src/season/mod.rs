//! A season: everything a user has, read from files, tidied, with an account of every row.
//!
//! [`Season::load`] reads a folder or a single file, [`Season::write`] writes it back. What a log's rows become is told
//! by [`RowAccount`]: each row is kept, kept with [`Flags`], or rejected with its file, line and reason.
//!
//! # Files
//! A folder holds the tables `readings`, `references`, `batches` and `probes` (the fields of [`Reference`], [`Batch`], [`Probe`], [`Event`] and [`PlanStep`] are the columns of their tables), and
//! perhaps `events` and `plan`: each one file `<table>.csv`, `.csv.gz`, `.ndjson`, `.ndjson.gz` or `.parquet`, or a
//! folder `<table>/` of such files. CSV may be split by commas, semicolons or tabs; the header tells. `probes` and
//! `readings` may be absent together. Times are RFC 3339, `YYYY-MM-DD HH:MM[:SS]`, or seconds or milliseconds since
//! 1970 of ten or thirteen digits.
//!
//! # `season.toml`
//! Maps any other export onto the tables. The first `[[files]]` whose pattern matches a file decides; a pattern with
//! `/` is matched against the whole name within the folder, one without against the last part.
//!
//! ```toml
//! time_zone = "Europe/Oslo"              # of times without an offset; UTC unless named
//!
//! [[files]]
//! match = "log-*.csv"
//! table = "readings"
//! decimal = ","                          # "." unless named
//! time_format = "%d.%m.%Y %H:%M"         # strftime; tried before the forms above
//! delimiter = ";"                        # left to the header unless named
//! skip_lines = 2                         # lines before the header
//! constants = { probe = "{1}" }          # for every row; {1} is the text of the first *
//! columns = { at = "when", tilt_deg = "lean", temp_c = { from = "warmth", unit = "degF" } }
//!
//! [[files]]
//! match = "lab/*.csv"
//! table = "references"
//! time_zone = "UTC"                      # of these files alone
//! header = ["at", "batch", "extract"]    # names for files without a header
//! columns = { sg = { from = "extract", unit = "plato" } }
//! ```
//!
//! Units: `deg`, `rad`; `degC`, `degF`, `K`; `sg`, `plato`, `kg/m3`, `g/L`, `g/cm3`, `g/mL` (densities at 20 C); `V`,
//! `mV`; `g`, `mg`, `kg`; `mm`, `cm`, `m`, `in`; `L`, `mL`, `hL`.

mod account;
mod binding;
mod cells;
mod ends;
mod flags;
mod frame;
mod load;
mod loaded;
mod lookups;
mod mapping;
mod mapping_file;
mod names;
mod raw;
mod read;
mod readings;
mod reference_sd;
mod row_error;
mod running;
mod source_files;
mod table;
mod table_rows;
mod tidy;
mod time;
mod written_files;

pub(crate) use account::RejectedAlike;
pub use account::{FileAccount, ReasonCount, Rejected, Remark, RowAccount};
pub use ends::{EndShape, ReferenceUse};
pub use flags::Flags;
pub(crate) use frame::{CellKind, FrameBuilder};
pub(crate) use lookups::PAIR_WINDOW_MIN;
pub use lookups::Pair;
pub(crate) use mapping_file::{meant, place_in, season_toml};
pub(crate) use names::{capital, each_once, guess, list, some};
pub(crate) use read::read_text;
pub use readings::{Reading, Readings};
pub(crate) use reference_sd::{HYDROMETER_SD_SG, WATER_SD_SG, WEIGHED_SD_SG};
pub use row_error::RowError;
pub use running::{LeftOpen, MovedProbe};
pub(crate) use source_files::REPORT_MARKER;
pub use table_rows::{Batch, Event, PlanStep, Probe, Reference};
pub(crate) use tidy::{UNFERMENTED_H, flag_readings, move_late_pitchings};
pub use written_files::FileFormat;

/// Lowest SG that is taken for one.
const SG_LEAST: f64 = 0.95;
/// Highest SG that is taken for one.
const SG_MOST: f64 = 1.20;
/// A tilt below this is flagged, degrees.
const TILT_LOW_DEG: f64 = 0.0;
/// A tilt above this is flagged: the probe is out of the beer or lies on its side, degrees.
const TILT_HIGH_DEG: f64 = 90.0;
/// A temperature below this is flagged, C.
const TEMP_LOW_C: f64 = -5.0;
/// A temperature above this is flagged: a cleaning, C.
const TEMP_HIGH_C: f64 = 45.0;
/// A batch without an end is running while it has data within this many days of the season's latest instant.
const RUNNING_DAYS: f64 = 7.0;

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
