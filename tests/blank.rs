//! Rows of tables with nothing in them but what every row must have.

use heelwort::Instant;
use heelwort::season::{Batch, Flags, Probe, Reference};

/// A batch of which only name, strain and pitching are known.
pub fn batch(name: impl Into<String>, strain: &str, pitched_at: Instant) -> Batch {
    Batch {
        batch: name.into(),
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

/// A reference with the probe's tilt written beside it, at 20 C.
pub fn reference(at: Instant, sg: f64, tilt_deg: f64, tilt_sd_deg: f64) -> Reference {
    Reference {
        at,
        sg,
        sg_given: true,
        probe: None,
        batch: None,
        bath: None,
        method: None,
        instrument: None,
        use_as: None,
        tilt_deg: Some(tilt_deg),
        tilt_sd_deg: Some(tilt_sd_deg),
        temp_c: Some(20.0),
        sg_sd: None,
        raw_sg: None,
        raw_brix: None,
        instrument_temp_c: None,
        known_at: None,
        note: None,
        flags: Flags::NONE,
    }
}

/// A probe of which only name and shell are known.
pub fn probe(name: impl Into<String>) -> Probe {
    Probe {
        probe: name.into(),
        built_on: None,
        total_mass_g: None,
        cell_mass_g: None,
        diameter_mm: None,
        length_mm: None,
        bottom: None,
        top: None,
        shell: Some("pet".into()),
        note: None,
    }
}
