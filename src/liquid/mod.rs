//! Liquids: density of water, sugar and ethanol solutions, extract scales, attenuation, alcohol.
//!
//! Plain formulas on numbers. SG is always 20/20, the ratio of true densities; density is of the liquid at its own
//! temperature. A tilt gives a density, and a density gives an SG: two separate steps, and this module is the second.
//! Each formula names its source and the range for which it is stated; outside it there is an
//! [`Error::Domain`](crate::Error::Domain), never a number.

mod attenuation;
mod beer;
mod beer_table;
mod ethanol;
mod extract;
mod instruments;
pub(crate) mod solve;
mod sucrose;
mod water;

pub(crate) use attenuation::apparent_attenuation;
pub use attenuation::{abv_percent, extract_attenuation, real_extract_plato};
pub use beer::beer_density_kg_m3;
pub(crate) use beer::{TEMP_C, sucrose_bath_density_kg_m3};
pub(crate) use beer_table::BeerDensity;
pub use ethanol::ethanol_density_kg_m3;
pub(crate) use extract::plato_from_sg;
pub use extract::sg_from_plato;
pub(crate) use instruments::{hydrometer_sg, hydrometer_sg_in_beer, refractometer_sg};
pub use sucrose::sucrose_density_kg_m3;
pub use water::{WATER_20C_KG_M3, water_density_kg_m3};

// Not all that is tested is public, so these tests are compiled here.
#[cfg(test)]
#[path = "../../tests/liquid/mod.rs"]
pub(crate) mod published_values;
