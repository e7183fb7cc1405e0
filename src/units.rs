//! Instants and conversions of units.

use std::fmt;

use crate::error::{Error, Place, Result};

pub(crate) const HOURS_PER_DAY: f64 = 24.0;
pub(crate) const MINUTES_PER_HOUR: f64 = 60.0;
/// Zero of the Celsius scale, K (exact by definition).
pub(crate) const ZERO_CELSIUS_K: f64 = 273.15;
const MICROS_PER_HOUR: f64 = 3_600e6;

/// A moment in UTC, to the microsecond.
///
/// Prints as RFC 3339 with `Z`, and with a fraction only where there is one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(transparent)]
pub struct Instant(i64);

impl Instant {
    /// The instant `micros` microseconds after 1970-01-01T00:00:00Z.
    pub const fn from_micros(micros: i64) -> Self {
        Self(micros)
    }

    /// Microseconds since 1970-01-01T00:00:00Z.
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// Hours from `earlier` to `self`, negative when `earlier` is the later one.
    pub fn hours_since(self, earlier: Self) -> f64 {
        (self.0 - earlier.0) as f64 / MICROS_PER_HOUR
    }

    /// Days from `earlier` to `self`.
    pub fn days_since(self, earlier: Self) -> f64 {
        self.hours_since(earlier) / HOURS_PER_DAY
    }

    /// The instant `hours` later, rounded to the microsecond; saturates at the ends of the range.
    #[must_use]
    pub fn plus_hours(self, hours: f64) -> Self {
        Self(self.0.saturating_add((hours * MICROS_PER_HOUR).round() as i64))
    }

    /// The instant `days` later.
    #[must_use]
    pub fn plus_days(self, days: f64) -> Self {
        self.plus_hours(days * HOURS_PER_DAY)
    }

    /// The instants `hours` earlier and later.
    pub(crate) fn around(self, hours: f64) -> (Self, Self) {
        (self.plus_hours(-hours), self.plus_hours(hours))
    }

    /// The last whole multiple of so many hours since 1970, at this instant or before it.
    pub(crate) fn begun(self, hours: f64) -> Self {
        let micros = (hours * MICROS_PER_HOUR) as i64;
        Self(self.0.div_euclid(micros).saturating_mul(micros))
    }

    /// Reads an RFC 3339 text with an offset or `Z`.
    ///
    /// # Errors
    /// [`Error::Input`] when the text is no such instant.
    pub fn parse(text: &str) -> Result<Self> {
        text.trim().parse::<jiff::Timestamp>().map(Self::from).map_err(|_| {
            Error::input(Place::default(), format!("`{text}`"), "an RFC 3339 time such as 2031-03-04T05:06:07Z")
        })
    }
}

impl From<jiff::Timestamp> for Instant {
    fn from(at: jiff::Timestamp) -> Self {
        Self(at.as_microsecond())
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match jiff::Timestamp::from_microsecond(self.0) {
            Ok(at) => write!(f, "{at}"),
            Err(_) => write!(f, "{} microseconds from 1970", self.0),
        }
    }
}

/// Degrees Fahrenheit to degrees Celsius (exact by definition).
pub(crate) fn celsius_from_fahrenheit(degrees_f: f64) -> f64 {
    (degrees_f - 32.0) * 5.0 / 9.0
}

/// Degrees Celsius to degrees Fahrenheit (exact by definition).
pub(crate) fn fahrenheit_from_celsius(degrees_c: f64) -> f64 {
    degrees_c * 9.0 / 5.0 + 32.0
}

/// Kelvin to degrees Celsius (exact by definition).
pub(crate) fn celsius_from_kelvin(kelvin: f64) -> f64 {
    kelvin - ZERO_CELSIUS_K
}

/// Degrees Celsius to kelvin (exact by definition).
pub(crate) fn kelvin_from_celsius(degrees_c: f64) -> f64 {
    degrees_c + ZERO_CELSIUS_K
}

/// The gas constant, kJ/(mol K) (CODATA 2018).
pub(crate) const GAS_KJ_MOL_K: f64 = 8.314_462_618e-3;

/// Pace at a temperature over that at another by Arrhenius' law, `exp(-E/R (1/T - 1/T_ref))`, for an activation energy in kJ/mol.
pub(crate) fn arrhenius_pace(activation_kj_mol: f64, temp_c: f64, reference_c: f64) -> f64 {
    let inverse = 1.0 / kelvin_from_celsius(temp_c) - 1.0 / kelvin_from_celsius(reference_c);
    (-activation_kj_mol / GAS_KJ_MOL_K * inverse).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_prints_as_it_was_read() {
        for text in ["2031-03-04T05:06:07Z", "1969-12-31T23:59:59.25Z"] {
            assert_eq!(Instant::parse(text).unwrap().to_string(), text);
        }
    }

    #[test]
    fn an_offset_is_brought_to_utc() {
        let there = Instant::parse("2031-03-04T06:06:07+01:00").unwrap();
        assert_eq!(there, Instant::parse("2031-03-04T05:06:07Z").unwrap());
        assert!((there.plus_days(1.5).hours_since(there) - 36.0).abs() < 1e-12);
    }

    #[test]
    fn a_text_that_is_no_time_is_told_what_would_be() {
        let message = Instant::parse("yesterday").unwrap_err().to_string();
        assert!(message.contains("yesterday") && message.contains("RFC 3339"), "{message}");
    }
}
