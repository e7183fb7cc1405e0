//! Rows with nothing in them but what every row must have; the rest is filled in by struct update.

use crate::units::Instant;

use super::flags::Flags;
use super::schema::{Batch, Event, Probe, Reference};

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
}
