//! How far a reference may be off that does not say so itself.

use super::table_rows::Reference;

assumed! {
    /// Water: tap water for distilled is the main error.
    pub(crate) const WATER_SD_SG: f64 = 0.0001, "SG";
    /// A pycnometer or a density meter.
    const METER_SD_SG: f64 = 0.0002, "SG";
    /// A bath made by mass.
    pub(crate) const WEIGHED_SD_SG: f64 = 0.0005, "SG";
    /// A hydrometer, and an original or limit gravity without standard deviation.
    pub(crate) const HYDROMETER_SD_SG: f64 = 0.001, "SG";
    /// A refractometer and anything else.
    const OTHER_SD_SG: f64 = 0.002, "SG";
}

impl Reference {
    /// Standard deviation of `sg`: as given, else a default by method (see [`crate::assumed`]): water 0.0001,
    /// pycnometer and density meter 0.0002, weighed 0.0005, hydrometer 0.001, refractometer and anything else 0.002.
    pub fn sd(&self) -> f64 {
        self.sg_sd.unwrap_or(match self.method.as_deref() {
            Some("water") => *WATER_SD_SG,
            Some("pycnometer" | "density_meter") => *METER_SD_SG,
            Some("weighed") => *WEIGHED_SD_SG,
            Some("hydrometer") => *HYDROMETER_SD_SG,
            _ => *OTHER_SD_SG,
        })
    }
}
