//! Units that a mapping may name, and how a number in them becomes one in the column's own unit.

use crate::error::Result;
use crate::units::{celsius_from_fahrenheit, celsius_from_kelvin};

use super::table::Quantity;

/// How a number of a file becomes a number of its column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Unit {
    /// It is in the column's unit already.
    AsIs,
    /// It is multiplied by this.
    Times(f64),
    /// Degrees Fahrenheit to C.
    Fahrenheit,
    /// Kelvin to C.
    Kelvin,
    /// Extract, mass percent, to SG.
    Plato,
    /// Density at 20 C in this many kg/m3 to SG.
    Density(f64),
}

/// Temperature at which a density stands for an SG 20/20, C.
const SG_TEMP_C: f64 = 20.0;

impl Unit {
    /// The units of a quantity, by the names that a mapping may use; the column's own is first.
    pub(crate) const fn of(quantity: Quantity) -> &'static [(&'static str, Self)] {
        match quantity {
            Quantity::Angle | Quantity::AngleSd => {
                &[("deg", Self::AsIs), ("rad", Self::Times(180.0 / std::f64::consts::PI))]
            }
            Quantity::Temperature => {
                &[("degC", Self::AsIs), ("C", Self::AsIs), ("degF", Self::Fahrenheit), ("K", Self::Kelvin)]
            }
            Quantity::Gravity => &[
                ("sg", Self::AsIs),
                ("plato", Self::Plato),
                ("kg/m3", Self::Density(1.0)),
                ("g/L", Self::Density(1.0)),
                ("g/cm3", Self::Density(1000.0)),
                ("g/mL", Self::Density(1000.0)),
            ],
            Quantity::Voltage => &[("V", Self::AsIs), ("mV", Self::Times(1e-3))],
            Quantity::Mass => &[("g", Self::AsIs), ("mg", Self::Times(1e-3)), ("kg", Self::Times(1e3))],
            Quantity::Length => {
                &[("mm", Self::AsIs), ("cm", Self::Times(10.0)), ("m", Self::Times(1e3)), ("in", Self::Times(25.4))]
            }
            Quantity::Volume => &[("L", Self::AsIs), ("mL", Self::Times(1e-3)), ("hL", Self::Times(100.0))],
            Quantity::RawGravity | Quantity::GravitySd | Quantity::Plain => &[],
        }
    }

    /// `value` in the column's unit.
    ///
    /// # Errors
    /// What `liquid` says of a gravity outside the range of its formulas.
    pub(crate) fn convert(self, value: f64) -> Result<f64> {
        Ok(match self {
            Self::AsIs => value,
            Self::Times(factor) => value * factor,
            Self::Fahrenheit => celsius_from_fahrenheit(value),
            Self::Kelvin => celsius_from_kelvin(value),
            Self::Plato => crate::liquid::sg_from_plato(value)?,
            Self::Density(kg_m3) => value * kg_m3 / crate::liquid::water_density_kg_m3(SG_TEMP_C)?,
        })
    }
}
