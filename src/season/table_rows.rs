//! The rows of a season's tables, one type per table. Field names are the column names.

use std::fmt;

use crate::units::Instant;

use super::flags::Flags;

/// What a reference may be used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReferenceUse {
    /// Part of a calibration.
    Calibrate,
    /// A check, never part of a calibration.
    Check,
    /// Both.
    Both,
}

impl ReferenceUse {
    /// The use of that name in the table.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Calibrate, Self::Check, Self::Both].into_iter().find(|u| u.name() == name)
    }

    /// Its name in the table.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Calibrate => "calibrate",
            Self::Check => "check",
            Self::Both => "both",
        }
    }
}

/// A gravity known apart from the probe: a bath, a check or a sample (one that names a batch).
#[derive(Debug, Clone, PartialEq)]
pub struct Reference {
    /// When it was taken.
    pub at: Instant,
    /// SG 20/20: as given, or computed from `raw_sg` or `raw_brix` on loading.
    pub sg: f64,
    /// False when `sg` was computed on loading, so that it is not written back.
    pub sg_given: bool,
    /// The probe that was checked, if one.
    pub probe: Option<String>,
    /// The batch a sample was drawn from.
    pub batch: Option<String>,
    /// The bath, when several probes or several rows share one.
    pub bath: Option<String>,
    /// `water`, `weighed`, `hydrometer`, `density_meter`, `pycnometer`, `refractometer` or free text.
    pub method: Option<String>,
    /// The very instrument: its bias is common to all it measured.
    pub instrument: Option<String>,
    /// What it may be used for; empty: as the baths around it say.
    pub use_as: Option<ReferenceUse>,
    /// The probe's tilt in it, degrees.
    pub tilt_deg: Option<f64>,
    /// Standard deviation of that tilt, degrees.
    pub tilt_sd_deg: Option<f64>,
    /// Temperature of the liquid, C.
    pub temp_c: Option<f64>,
    /// Standard deviation of `sg`; empty: the method's default, see [`Reference::sd`].
    pub sg_sd: Option<f64>,
    /// An uncorrected hydrometer reading.
    pub raw_sg: Option<f64>,
    /// An uncorrected refractometer reading, mass percent sucrose.
    pub raw_brix: Option<f64>,
    /// Temperature of the instrument's scale, C.
    pub instrument_temp_c: Option<f64>,
    /// When the value became known (a laboratory's answer comes later); empty: at once.
    pub known_at: Option<Instant>,
    /// Free text.
    pub note: Option<String>,
    /// Reasons to look twice.
    pub flags: Flags,
}

impl Reference {
    /// A gravity, SG 20/20, as given, with all else empty.
    ///
    /// ```
    /// # use heelwort::{Instant, season::Reference};
    /// let at = Instant::parse("2031-03-04T05:06:07Z")?;
    /// let water = Reference { bath: Some("water".into()), method: Some("water".into()), ..Reference::new(at, 1.0) };
    /// assert!(water.sg_given && !water.is_sample());
    /// # Ok::<(), heelwort::Error>(())
    /// ```
    pub fn new(at: Instant, sg: f64) -> Self {
        Self {
            at,
            sg,
            sg_given: true,
            probe: None,
            batch: None,
            bath: None,
            method: None,
            instrument: None,
            use_as: None,
            tilt_deg: None,
            tilt_sd_deg: None,
            temp_c: None,
            sg_sd: None,
            raw_sg: None,
            raw_brix: None,
            instrument_temp_c: None,
            known_at: None,
            note: None,
            flags: Flags::NONE,
        }
    }

    /// Standard deviation of `sg`: as given, else a default by method (from memory, no source): water 0.0001
    /// (tap water for distilled is the main error), pycnometer and density meter 0.0002, weighed 0.0005,
    /// hydrometer 0.001, refractometer and anything else 0.002.
    pub fn sd(&self) -> f64 {
        self.sg_sd.unwrap_or(match self.method.as_deref() {
            Some("water") => 0.0001,
            Some("pycnometer" | "density_meter") => 0.0002,
            Some("weighed") => 0.0005,
            Some("hydrometer") => 0.001,
            _ => 0.002,
        })
    }

    /// True when it was drawn from a batch.
    pub fn is_sample(&self) -> bool {
        self.batch.is_some()
    }

    /// The moment from which its value could be used: `known_at`, else `at`.
    pub fn known(&self) -> Instant {
        self.known_at.unwrap_or(self.at)
    }
}

/// One fermentation in one vessel with one strain.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// Its id.
    pub batch: String,
    /// The yeast.
    pub strain: String,
    /// When the yeast went in.
    pub pitched_at: Instant,
    /// Ids of its probes, in the table split by `;`.
    pub probes: Vec<String>,
    /// The vessel.
    pub vessel: Option<String>,
    /// The wort.
    pub wort: Option<String>,
    /// SG 20/20 at pitching, as measured.
    pub original_sg: Option<f64>,
    /// Its standard deviation.
    pub original_sg_sd: Option<f64>,
    /// SG this wort reaches when fully fermented (forced-ferment test).
    pub limit_sg: Option<f64>,
    /// Its standard deviation.
    pub limit_sg_sd: Option<f64>,
    /// Mash temperature, C.
    pub mash_temp_c: Option<f64>,
    /// Pitching rate, million cells per mL and degree Plato.
    pub pitch_mcells_ml_p: Option<f64>,
    /// Lot of the yeast.
    pub yeast_lot: Option<String>,
    /// Generation of the yeast; 0 or 1 is fresh, as the user counts.
    pub generation: Option<f64>,
    /// Set temperature, C.
    pub set_temp_c: Option<f64>,
    /// Volume, L.
    pub volume_l: Option<f64>,
    /// When it was packaged or emptied; empty: not yet, or not written down.
    pub ended_at: Option<Instant>,
    /// Free text.
    pub note: Option<String>,
}

impl Batch {
    /// A batch of which only name, strain and pitching are known.
    pub fn new(batch: impl Into<String>, strain: impl Into<String>, pitched_at: Instant) -> Self {
        Self {
            batch: batch.into(),
            strain: strain.into(),
            pitched_at,
            probes: Vec::new(),
            vessel: None,
            wort: None,
            original_sg: None,
            original_sg_sd: None,
            limit_sg: None,
            limit_sg_sd: None,
            mash_temp_c: None,
            pitch_mcells_ml_p: None,
            yeast_lot: None,
            generation: None,
            set_temp_c: None,
            volume_l: None,
            ended_at: None,
            note: None,
        }
    }
}

/// The shape of one end of a probe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EndShape {
    /// Cut flat.
    Flat,
    /// Half a ball.
    Hemisphere,
    /// Half an ellipsoid of this height, mm.
    SemiEllipsoidMm(f64),
}

impl EndShape {
    /// The shape as the table writes it: `flat`, `hemisphere` or a height in mm above 0.
    pub fn parse(text: &str) -> Option<Self> {
        match text {
            "flat" => Some(Self::Flat),
            "hemisphere" => Some(Self::Hemisphere),
            height => height.parse().ok().filter(|h: &f64| h.is_finite() && *h > 0.0).map(Self::SemiEllipsoidMm),
        }
    }
}

impl fmt::Display for EndShape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flat => f.write_str("flat"),
            Self::Hemisphere => f.write_str("hemisphere"),
            Self::SemiEllipsoidMm(height) => write!(f, "{height}"),
        }
    }
}

/// One physical float.
#[derive(Debug, Clone, PartialEq)]
pub struct Probe {
    /// Its id.
    pub probe: String,
    /// When it was built.
    pub built_on: Option<Instant>,
    /// Mass of the whole, g.
    pub total_mass_g: Option<f64>,
    /// Mass of the cell, g.
    pub cell_mass_g: Option<f64>,
    /// Outer diameter, mm.
    pub diameter_mm: Option<f64>,
    /// Length from nose to top, mm.
    pub length_mm: Option<f64>,
    /// Shape of the bottom; empty: a hemisphere is assumed and reported.
    pub bottom: Option<EndShape>,
    /// Shape of the top; empty: flat is assumed and reported.
    pub top: Option<EndShape>,
    /// The shell: a plastic (`pet`, `pp`, `pe`, `glass`) or its linear expansion per K, as written.
    pub shell: Option<String>,
    /// Free text.
    pub note: Option<String>,
}

impl Probe {
    /// A probe of which only the id is known.
    pub fn new(probe: impl Into<String>) -> Self {
        Self {
            probe: probe.into(),
            built_on: None,
            total_mass_g: None,
            cell_mass_g: None,
            diameter_mm: None,
            length_mm: None,
            bottom: None,
            top: None,
            shell: None,
            note: None,
        }
    }
}

/// Something that happened to a probe or a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When.
    pub at: Instant,
    /// What: `cell_swap`, `shell`, `board`, `reweighed`, `cleaned`, `knocked`, `dry_hop`, `cold_crash`, `warmed`,
    /// `sugar_added`, `diluted`, `moved`, `packaged` or `other`.
    pub kind: String,
    /// The probe, if one.
    pub probe: Option<String>,
    /// The batch, if one.
    pub batch: Option<String>,
    /// Total mass found, g.
    pub total_mass_g: Option<f64>,
    /// Mass of the new cell, g.
    pub cell_mass_g: Option<f64>,
    /// A value that goes with the kind.
    pub value: Option<f64>,
    /// Free text.
    pub note: Option<String>,
}

impl Event {
    /// Something of that kind, to no probe and no batch yet.
    pub fn new(at: Instant, kind: impl Into<String>) -> Self {
        Self {
            at,
            kind: kind.into(),
            probe: None,
            batch: None,
            total_mass_g: None,
            cell_mass_g: None,
            value: None,
            note: None,
        }
    }

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

/// One step of the temperature schedule ahead.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanStep {
    /// The batch.
    pub batch: String,
    /// From when.
    pub at: Instant,
    /// The set temperature, C.
    pub temp_c: f64,
}
