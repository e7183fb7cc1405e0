//! The rows of a season's tables, one type per table: its fields are the columns, in the order in which they are written.

use crate::units::Instant;

use super::cells::{CellType, CellValue, Doubt, RowField};
use super::ends::{EndShape, ReferenceUse};
use super::flags::Flags;
use super::row_error::RowError;
use super::table::{Quantity, SeasonTable, TableColumn};

/// A row of a table, as cells and back.
pub(crate) trait TableRow: RowRules {
    /// The columns of its table.
    const COLUMNS: &'static [TableColumn];
    /// The row from its cells, or why it is rejected. What an optional column cannot hold goes to `doubts`.
    fn from_cells(cells: Vec<CellValue>, doubts: &mut Vec<Doubt>) -> Result<Self, RowError>;
    /// Its cells in the order of the columns.
    fn to_cells(&self) -> Vec<CellValue>;
}

/// What holds of a row beyond its single cells.
pub(crate) trait RowRules: Clone {
    /// The row that was read, or why it is rejected.
    fn checked(self, _doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        Ok(self)
    }

    /// The row without what reading it again would find anew.
    fn written(&self) -> Self {
        self.clone()
    }
}

/// The first, where it is there, else the second.
macro_rules! or {
    (; $default:expr) => {
        $default
    };
    ($given:expr; $default:expr) => {
        $given
    };
}

/// Rows by their fields. After a field stand, where it has them, the name of its column in brackets, after `=` what its
/// number measures, after `|` what an empty cell is.
macro_rules! rows {
    ($(
        $(#[$doc:meta])*
        $vis:vis struct $row:ident of $table:ident {
            needed { $($(#[$ndoc:meta])* $n:ident: $nty:ty $(= $nof:ident)? $(| $nempty:expr)?,)* }
            $(optional { $($(#[$odoc:meta])* $o:ident $([$oname:literal])?: $oty:ty $(= $oof:ident)? $(| $oempty:expr)?,)* })?
            $(beside { $($(#[$bdoc:meta])* $b:ident: $bty:ty = $bvalue:expr,)* })?
        }
    )*) => {
        $(
            $(#[$doc])*
            #[derive(Debug, Clone, PartialEq)]
            $vis struct $row {
                $($(#[$ndoc])* pub $n: $nty,)*
                $($($(#[$odoc])* pub $o: $oty,)*)?
                $($($(#[$bdoc])* pub $b: $bty,)*)?
            }

            impl $row {
                /// One of which only what every row needs is known, with all else empty.
                $vis fn new($($n: impl Into<$nty>),*) -> Self {
                    Self { $($n: $n.into(),)* $($($o: Default::default(),)*)? $($($b: $bvalue,)*)? }
                }
            }

            impl TableRow for $row {
                const COLUMNS: &'static [TableColumn] = &[
                    $(column!($n; $nty; $($nof)?; $($nempty)?; stringify!($n)),)*
                    $($(column!($o; $oty; $($oof)?; $($oempty)?; or!($($oname)?; stringify!($o))),)*)?
                ];

                fn from_cells(cells: Vec<CellValue>, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
                    let count = cells.len();
                    let mut cells = cells.into_iter().zip(Self::COLUMNS);
                    let row = Self {
                        $($n: field!(cells, doubts, count; $nty; $($nempty)?),)*
                        $($($o: field!(cells, doubts, count; $oty; $($oempty)?),)*)?
                        $($($b: $bvalue,)*)?
                    };
                    row.checked(doubts)
                }

                fn to_cells(&self) -> Vec<CellValue> {
                    vec![$(self.$n.to_cell(),)* $($(self.$o.to_cell(),)*)?]
                }
            }
        )*

        impl SeasonTable {
            /// Its columns, in the order in which they are written.
            pub(crate) const fn columns(self) -> &'static [TableColumn] {
                match self {
                    $(Self::$table => $row::COLUMNS,)*
                }
            }
        }
    };
}

macro_rules! column {
    ($field:ident; $kind:ty; $($of:ident)?; $($empty:expr)?; $name:expr) => {
        TableColumn {
            name: $name,
            kind: <$kind as RowField>::KIND,
            quantity: or!($(Quantity::$of)?; Quantity::Plain),
            required: or!($({ let _: fn() -> $kind = || $empty; false })?; <$kind as RowField>::REQUIRED),
        }
    };
}

macro_rules! field {
    ($cells:ident, $doubts:ident, $count:ident; $kind:ty; $($empty:expr)?) => {{
        let Some((cell, column)) = $cells.next() else {
            return Err(RowError::field_count($count, Self::COLUMNS.len(), ""));
        };
        or!(
            $(<$kind as CellType>::read(cell, column, $doubts)?.unwrap_or($empty))?;
            <$kind as RowField>::from_cell(cell, column, $doubts)?
        )
    }};
}

rows! {
    /// One reading, as its file holds it.
    pub(crate) struct ReadingRow of Readings {
        needed {
            at: Instant,
            probe: String,
            tilt_deg: f64 = Angle,
            temp_c: f64 = Temperature,
        }
        optional {
            batch: Option<String>,
            supply_v: Option<f64> = Voltage,
            flags: Flags | Flags::NONE,
        }
    }
    /// A gravity known apart from the probe: a bath, a check or a sample (one that names a batch).
    ///
    /// ```
    /// # use heelwort::{Instant, season::Reference};
    /// let at = Instant::parse("2031-03-04T05:06:07Z")?;
    /// let water = Reference { bath: Some("water".into()), method: Some("water".into()), ..Reference::new(at, 1.0) };
    /// assert!(water.sg_given && !water.is_sample());
    /// # Ok::<(), heelwort::Error>(())
    /// ```
    pub struct Reference of References {
        needed {
            /// When it was taken.
            at: Instant,
            /// SG 20/20: as given, or computed from `raw_sg` or `raw_brix` on loading.
            sg: f64 = Gravity | f64::NAN,
        }
        optional {
            /// The probe that was checked, if one.
            probe: Option<String>,
            /// The batch a sample was drawn from.
            batch: Option<String>,
            /// The bath, when several probes or several rows share one.
            bath: Option<String>,
            /// `water`, `tap_water`, `weighed`, `hydrometer`, `density_meter`, `pycnometer`, `refractometer` or free text.
            method: Option<String>,
            /// The very instrument: its bias is common to all it measured.
            instrument: Option<String>,
            /// What it may be used for; empty: as the baths around it say.
            use_as ["use"]: Option<ReferenceUse>,
            /// The probe's tilt in it, degrees.
            tilt_deg: Option<f64> = Angle,
            /// Standard deviation of that tilt, degrees.
            tilt_sd_deg: Option<f64> = AngleSd,
            /// Temperature of the liquid, C.
            temp_c: Option<f64> = Temperature,
            /// Standard deviation of `sg`; empty: the method's default, see [`Reference::sd`].
            sg_sd: Option<f64> = GravitySd,
            /// An uncorrected hydrometer reading.
            raw_sg: Option<f64> = RawGravity,
            /// An uncorrected refractometer reading, mass percent sucrose.
            raw_brix: Option<f64>,
            /// Temperature of the instrument's scale, C.
            instrument_temp_c: Option<f64> = Temperature,
            /// When the value became known (a laboratory's answer comes later); empty: at once.
            known_at: Option<Instant>,
            /// Free text.
            note: Option<String>,
            /// Reasons to look twice.
            flags: Flags | Flags::NONE,
        }
        beside {
            /// False when `sg` was computed on loading, so that it is not written back.
            sg_given: bool = true,
        }
    }
    /// One fermentation in one vessel with one strain.
    pub struct Batch of Batches {
        needed {
            /// Its id.
            batch: String,
            /// The yeast.
            strain: String,
            /// When the yeast went in.
            pitched_at: Instant,
        }
        optional {
            /// Ids of its probes, in the table split by `;`.
            probes ["probe"]: Vec<String> | Vec::new(),
            /// The vessel.
            vessel: Option<String>,
            /// The wort.
            wort: Option<String>,
            /// SG 20/20 at pitching, as measured.
            original_sg: Option<f64> = Gravity,
            /// Its standard deviation.
            original_sg_sd: Option<f64> = GravitySd,
            /// SG this wort reaches when fully fermented (forced-ferment test).
            limit_sg: Option<f64> = Gravity,
            /// Its standard deviation.
            limit_sg_sd: Option<f64> = GravitySd,
            /// Mash temperature, C.
            mash_temp_c: Option<f64> = Temperature,
            /// Pitching rate, million cells per mL and degree Plato.
            pitch_mcells_ml_p: Option<f64>,
            /// Lot of the yeast.
            yeast_lot: Option<String>,
            /// Generation of the yeast; 0 or 1 is fresh, as the user counts.
            generation: Option<f64>,
            /// Set temperature, C.
            set_temp_c: Option<f64> = Temperature,
            /// Volume, L.
            volume_l: Option<f64> = Volume,
            /// When it was packaged or emptied; empty: not yet, or not written down.
            ended_at: Option<Instant>,
            /// Free text.
            note: Option<String>,
        }
    }
    /// One physical float.
    pub struct Probe of Probes {
        needed {
            /// Its id.
            probe: String,
        }
        optional {
            /// When it was built.
            built_on: Option<Instant>,
            /// Mass of the whole, g.
            total_mass_g: Option<f64> = Mass,
            /// Mass of the cell, g.
            cell_mass_g: Option<f64> = Mass,
            /// Outer diameter, mm.
            diameter_mm: Option<f64> = Length,
            /// Length from nose to top, mm.
            length_mm: Option<f64> = Length,
            /// Shape of the bottom; empty: a hemisphere is assumed and reported.
            bottom: Option<EndShape>,
            /// Shape of the top; empty: flat is assumed and reported.
            top: Option<EndShape>,
            /// The shell: a plastic (`pet`, `pp`, `pe`, `glass`) or its linear expansion per K, as written.
            shell: Option<String>,
            /// Free text.
            note: Option<String>,
        }
    }
    /// Something that happened to a probe or a batch.
    pub struct Event of Events {
        needed {
            /// When.
            at: Instant,
            /// What: `cell_swap`, `shell`, `board`, `reweighed`, `cleaned`, `knocked`, `dry_hop`, `cold_crash`, `warmed`,
            /// `sugar_added`, `diluted`, `moved`, `packaged` or `other`.
            kind: String,
        }
        optional {
            /// The probe, if one.
            probe: Option<String>,
            /// The batch, if one.
            batch: Option<String>,
            /// Total mass found, g.
            total_mass_g: Option<f64> = Mass,
            /// Mass of the new cell, g.
            cell_mass_g: Option<f64> = Mass,
            /// A value that goes with the kind.
            value: Option<f64>,
            /// Free text.
            note: Option<String>,
        }
    }
    /// One step of the temperature schedule ahead.
    pub struct PlanStep of Plan {
        needed {
            /// The batch.
            batch: String,
            /// From when.
            at: Instant,
            /// The set temperature, C.
            temp_c: f64 = Temperature,
        }
    }
}

impl RowRules for ReadingRow {}
impl RowRules for Probe {}
impl RowRules for PlanStep {}

impl RowRules for Reference {
    fn checked(self, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        // An SG that is not given is computed from the raw reading once the batches are known.
        let sg_given = !self.sg.is_nan();
        if sg_given || self.raw_sg.is_some() || self.raw_brix.is_some() {
            return Ok(Self { sg_given, ..self });
        }
        // A gravity that is there and cannot be read is not an empty one.
        let gravity = |doubt: &&Doubt| ["sg", "raw_sg", "raw_brix"].contains(&doubt.column);
        let unread = doubts.iter().filter(gravity).find_map(|doubt| doubt.unread.clone());
        Err(unread.unwrap_or_else(RowError::no_gravity))
    }

    fn written(&self) -> Self {
        let sg = if self.sg_given { self.sg } else { f64::NAN };
        Self { sg, flags: self.flags.of_the_file(), ..self.clone() }
    }
}

impl Reference {
    /// True when it was drawn from a batch.
    pub fn is_sample(&self) -> bool {
        self.batch.is_some()
    }

    /// The moment from which its value could be used: `known_at`, else `at`.
    pub fn known(&self) -> Instant {
        self.known_at.unwrap_or(self.at)
    }
}

impl RowRules for Batch {
    fn checked(self, _: &mut Vec<Doubt>) -> Result<Self, RowError> {
        match self.ended_at.filter(|end| *end < self.pitched_at) {
            Some(end) => Err(RowError::unreadable("ended_at", &end.to_string(), "a time not before `pitched_at`")),
            None => Ok(self),
        }
    }
}

impl RowRules for Event {
    fn checked(self, doubts: &mut Vec<Doubt>) -> Result<Self, RowError> {
        if !Self::KINDS.contains(&self.kind.as_str()) {
            let (kind, wanted) = (&self.kind, Self::KINDS.join(", "));
            let text = format!("column `kind` is `{kind}`; wanted one of {wanted}, so it counts as `other`");
            doubts.push(Doubt::new("kind", text));
        }
        Ok(self)
    }
}

impl Event {
    /// The kinds that have a meaning.
    pub const KINDS: &'static [&'static str] = &[
        "cell_swap",
        "shell",
        "board",
        "reweighed",
        "cleaned",
        "knocked",
        "dry_hop",
        "cold_crash",
        "warmed",
        "sugar_added",
        "diluted",
        "moved",
        "packaged",
        "other",
    ];

    /// True for what may move the probes of a batch, or leave something on them, without a change to any of them: a dry
    /// hop, probes that are moved or cleaned, whatever else somebody wrote down.
    pub fn disturbs(&self) -> bool {
        matches!(self.kind.as_str(), "dry_hop" | "moved" | "cleaned" | "other")
    }
}
