//! Rows of tables with nothing in them but what every row must have.

use heelwort::Instant;
use heelwort::season::{Batch, Probe, Reference};

/// A batch of which only name, strain and pitching are known.
pub fn batch(name: impl Into<String>, strain: &str, pitched_at: Instant) -> Batch {
    Batch::new(name, strain, pitched_at)
}

/// A reference with the probe's tilt written beside it, at 20 C.
pub fn reference(at: Instant, sg: f64, tilt_deg: f64, tilt_sd_deg: f64) -> Reference {
    Reference { tilt_deg: Some(tilt_deg), tilt_sd_deg: Some(tilt_sd_deg), temp_c: Some(20.0), ..Reference::new(at, sg) }
}

/// A probe of which only name and shell are known.
pub fn probe(name: impl Into<String>) -> Probe {
    Probe { shell: Some("pet".into()), ..Probe::new(name) }
}
