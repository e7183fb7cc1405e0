//! How a report is written: its title, the reader's clock, scales and decimal mark.

use jiff::tz::{TimeZone, TimeZoneDatabase};
use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};

/// How the page and the summary of a report are written, in `season.toml`:
///
/// ```toml
/// [report]
/// title = "Spring on Tern Island"
/// time_zone = "Europe/Oslo"              # else that of the season
/// gravity = "plato"                      # or "sg"
/// temperature = "degF"                   # or "degC"
/// decimal_comma = true                  # 1,048 for 1.048
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ReportSettings {
    /// The title; else the season's name stands there.
    pub title: Option<String>,
    /// IANA name of the time zone; else that of the season, else UTC.
    pub time_zone: Option<String>,
    /// The scale of gravities.
    pub gravity: GravityScale,
    /// The scale of temperatures.
    pub temperature: TemperatureScale,
    /// Whether decimals stand behind a comma.
    pub decimal_comma: bool,
}

/// A scale of gravity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum GravityScale {
    /// Specific gravity 20/20.
    #[default]
    Sg,
    /// Degrees Plato.
    Plato,
}

/// A scale of temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum TemperatureScale {
    /// Degrees Celsius.
    #[default]
    #[serde(rename = "degC")]
    Celsius,
    /// Degrees Fahrenheit.
    #[serde(rename = "degF")]
    Fahrenheit,
}

impl ReportSettings {
    pub(crate) fn zone(&self) -> Result<TimeZone> {
        let Some(name) = &self.time_zone else { return Ok(TimeZone::UTC) };
        let wanted = "an IANA time zone such as Europe/Oslo";
        let refused = || Error::Usage(format!("setting `report.time_zone` is {name:?}; wanted {wanted}"));
        TimeZoneDatabase::bundled().get(name).map_err(|_| refused())
    }
}
