//! Settings of the build check.

use crate::error::inside;

settings! {
    /// What the study of the builds aims at.
    ///
    /// The wanted tilts, 25 +- 5 degrees in water and 65 +- 10 at SG 1.100, and the usual cells, 42 to 46 g, are common practice;
    /// no reference.
    pub struct BuildSettings {
        /// Wanted tilt in pure water at 20 C, degrees.
        water_tilt_deg: f64 = 25.0, 5.0..=60.0, "5 to 60 degrees";
        /// How far from it what to move is said, degrees.
        water_band_deg: f64 = 5.0, 0.0..=45.0, "0 to 45 degrees";
        /// Wanted tilt at SG 1.100, degrees.
        strong_tilt_deg: f64 = 65.0;
        /// How far from it what to move is said, degrees.
        strong_band_deg: f64 = 10.0, 0.0..=45.0, "0 to 45 degrees";
        /// Lightest and heaviest usual cell, g.
        cell_mass_g: (f64, f64) = (42.0, 46.0);
    }
    with common
    also |settings| {
        let (water, strong) = (settings.water_tilt_deg, settings.strong_tilt_deg);
        inside("strong_tilt_deg", strong, water..=85.0, "above the tilt in water, to 85 degrees")?;
        let (light, heavy) = settings.cell_mass_g;
        inside("cell_mass_g", light, 0.0..=heavy, "lightest first, in g")
    }
}
