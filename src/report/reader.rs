//! The reader's clock and scales.

use jiff::tz::TimeZone;

use crate::chart::{signed, written};
use crate::fit::{Estimate, decimals_for};
use crate::liquid::plato_from_sg;
use crate::study::{GravityScale, SeasonStudy, TemperatureScale};
use crate::units::{Instant, fahrenheit_from_celsius};

/// Where a difference of gravities is turned into degrees Plato, SG: where beers end.
const ENDS_SG: f64 = 1.010;

/// How one reader wants times, gravities and temperatures.
#[derive(Debug, Clone)]
pub(super) struct Reader {
    zone: TimeZone,
    gravity: GravityScale,
    temperature: TemperatureScale,
}

impl Reader {
    /// The reader of a study.
    pub(super) fn of(study: &SeasonStudy) -> Self {
        let report = &study.report;
        // The name was checked before the study ran.
        let zone = report.zone().unwrap_or(TimeZone::UTC);
        Self { zone, gravity: report.gravity, temperature: report.temperature }
    }

    /// The name of the clock.
    pub(super) fn clock(&self) -> &str {
        self.zone.iana_name().unwrap_or("UTC")
    }

    /// A day: `Sa 5 Jul`.
    pub(super) fn day(&self, at: Instant) -> String {
        let weekday: String = written(at, &self.zone, "%a").chars().take(2).collect();
        format!("{weekday} {}", written(at, &self.zone, "%-d %b"))
    }

    /// A moment to the hour: `Sa 5 Jul 14:00`.
    pub(super) fn hour(&self, at: Instant) -> String {
        let rounded = Instant::from_micros(at.plus_hours(0.5).micros());
        format!("{} {}", self.day(rounded), written(rounded, &self.zone, "%H:00"))
    }

    /// The same with its year.
    pub(super) fn moment(&self, at: Instant) -> String {
        format!("{} {}", self.day(at), written(at, &self.zone, "%Y %H:%M"))
    }

    /// A gravity to the decimals of its error, with the scale.
    fn on_scale(&self, sg: f64) -> Option<f64> {
        match self.gravity {
            GravityScale::Sg => Some(sg),
            GravityScale::Plato => plato_from_sg(sg).ok(),
        }
    }

    /// A gravity and how far it may reach: `SG 1.0112 (1.0098 to 1.0126)`.
    pub(super) fn gravity_range(&self, [middle, low, high]: [f64; 3]) -> Option<String> {
        let [middle, low, high] = [self.on_scale(middle)?, self.on_scale(low)?, self.on_scale(high)?];
        Some(match self.gravity {
            GravityScale::Sg => format!("SG {middle:.4} ({low:.4} to {high:.4})"),
            GravityScale::Plato => format!("{middle:.2} \u{b0}P ({low:.2} to {high:.2})"),
        })
    }

    /// A gravity with its standard error: `gravity 1.0120 ± 0.0007`.
    pub(super) fn gravity(&self, e: &Estimate) -> Option<String> {
        let (value, error) = (self.on_scale(e.value)?, self.on_scale(e.value + e.se)? - self.on_scale(e.value)?);
        Some(match self.gravity {
            GravityScale::Sg => format!("gravity {value:.4}\u{a0}\u{b1}\u{a0}{error:.4}"),
            GravityScale::Plato => format!("gravity {value:.2}\u{a0}\u{b1}\u{a0}{error:.2}\u{a0}\u{b0}P"),
        })
    }

    /// By how much a probe is off, without its sign: `0.0130 ± 0.0005`.
    pub(super) fn off(&self, e: &Estimate) -> String {
        let off = e.value.abs();
        match self.on_scale(ENDS_SG + off).zip(self.on_scale(ENDS_SG)).filter(|_| self.gravity == GravityScale::Plato) {
            Some((there, here)) => {
                format!("{:.2}\u{a0}\u{b1}\u{a0}{:.2}\u{a0}\u{b0}P", there - here, (there - here) / off * e.se)
            }
            None => {
                let decimals = decimals_for(e.se).min(4);
                format!("{off:.decimals$}\u{a0}\u{b1}\u{a0}{:.decimals$}", e.se)
            }
        }
    }

    /// A temperature.
    pub(super) fn temperature(&self, celsius: f64) -> String {
        match self.temperature {
            TemperatureScale::Celsius => format!("{}\u{a0}\u{b0}C", signed(celsius, 1, false)),
            TemperatureScale::Fahrenheit => {
                format!("{}\u{a0}\u{b0}F", signed(fahrenheit_from_celsius(celsius), 1, false))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reader(zone: &str, gravity: GravityScale, temperature: TemperatureScale) -> Reader {
        Reader { zone: TimeZone::get(zone).unwrap(), gravity, temperature }
    }

    #[test]
    fn times_are_those_of_the_readers_clock() {
        let at = Instant::parse("2031-03-05T23:30:00Z").unwrap();
        let here = reader("UTC", GravityScale::Sg, TemperatureScale::Celsius);
        assert_eq!((here.day(at).as_str(), here.hour(at).as_str()), ("We 5 Mar", "Th 6 Mar 00:00"));
        let there = reader("Europe/Oslo", GravityScale::Sg, TemperatureScale::Celsius);
        assert_eq!(there.moment(at), "Th 6 Mar 2031 00:30");
    }

    #[test]
    fn gravities_and_temperatures_are_on_the_readers_scales() {
        let e = Estimate { value: 1.048, se: 0.001, lower: 1.047, upper: 1.049, level: 0.9, method: "t".into() };
        let here = reader("UTC", GravityScale::Sg, TemperatureScale::Celsius);
        let there = reader("UTC", GravityScale::Plato, TemperatureScale::Fahrenheit);
        assert_eq!(here.gravity(&e).unwrap(), "gravity 1.0480\u{a0}\u{b1}\u{a0}0.0010");
        // SG 1.048 is 11.9 degrees Plato, and 0.001 is a quarter of one.
        assert!(there.gravity(&e).unwrap().starts_with("gravity 11.9"), "{:?}", there.gravity(&e));
        assert_eq!(there.temperature(20.0), "68.0\u{a0}\u{b0}F");
        let off = Estimate { value: -0.0130, se: 0.0005, ..e };
        assert_eq!(here.off(&off), "0.0130\u{a0}\u{b1}\u{a0}0.0005");
        assert!(there.off(&off).starts_with("3.27"), "{}", there.off(&off));
    }
}
