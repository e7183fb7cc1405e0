//! Words of the tables: what a reference may be used for, and the shape of an end of a probe.

use std::fmt;

/// The methods of a reference that have a meaning.
pub(crate) const METHODS: [&str; 7] =
    ["water", "tap_water", "weighed", "hydrometer", "refractometer", "density_meter", "pycnometer"];

named! {
    /// What a reference may be used for.
    pub enum ReferenceUse {
        /// Part of a calibration.
        Calibrate = "calibrate",
        /// A check, never part of a calibration.
        Check = "check",
        /// Both.
        Both = "both",
        /// Nothing: it is known to be wrong. The row stays in its table.
        Ignore = "ignore",
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
