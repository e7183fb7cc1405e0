//! The reader's clock and scales.

use crate::chart::{Scales, signed, written};
use crate::fit::{Estimate, decimals_for};
use crate::study::{GravityScale, SeasonStudy, TemperatureScale};
use crate::units::Instant;

/// How one reader wants times, gravities and temperatures.
#[derive(Debug, Clone)]
pub(super) struct Reader {
    /// The same for tables and pictures.
    pub(super) scales: Scales,
}

impl Reader {
    /// The reader of a study.
    pub(super) fn of(study: &SeasonStudy) -> Self {
        let report = &study.report;
        // The name was checked before the study ran.
        let zone = report.zone().unwrap_or(jiff::tz::TimeZone::UTC);
        let (plato, fahrenheit) =
            (report.gravity == GravityScale::Plato, report.temperature == TemperatureScale::Fahrenheit);
        Self { scales: Scales { zone, plato, fahrenheit } }
    }

    /// A day: `Sa 5 Jul`.
    pub(super) fn day(&self, at: Instant) -> String {
        let weekday: String = written(at, &self.scales.zone, "%a").chars().take(2).collect();
        format!("{weekday} {}", written(at, &self.scales.zone, "%-d %b"))
    }

    /// A moment to the hour: `Sa 5 Jul 14:00`.
    pub(super) fn hour(&self, at: Instant) -> String {
        let rounded = Instant::from_micros(at.plus_hours(0.5).micros());
        format!("{} {}", self.day(rounded), written(rounded, &self.scales.zone, "%H:00"))
    }

    /// The same with its year.
    pub(super) fn moment(&self, at: Instant) -> String {
        format!("{} {}", self.day(at), written(at, &self.scales.zone, "%Y %H:%M"))
    }

    /// What stands before and behind a gravity, and behind a difference of two.
    fn gravities(&self) -> (&'static str, &'static str) {
        if self.scales.plato { ("", "\u{a0}\u{b0}P") } else { ("SG ", "") }
    }

    /// A gravity without an error: `SG 1.0480`.
    pub(super) fn plain(&self, sg: f64) -> String {
        let (shown, (before, behind)) = (self.scales.gravity(""), self.gravities());
        format!("{before}{:.*}{behind}", shown.decimals(4), shown.value(sg))
    }

    /// How far a gravity may reach: `SG 1.0098 to 1.0126`.
    pub(super) fn gravity_range(&self, low: f64, high: f64) -> String {
        let (shown, (before, behind)) = (self.scales.gravity(""), self.gravities());
        let (n, [low, high]) = (shown.decimals(4), [low, high].map(|sg| shown.value(sg)));
        format!("{before}{low:.n$} to {high:.n$}{behind}")
    }

    /// A gravity with its standard error: `gravity 1.0120 ± 0.0007`.
    pub(super) fn gravity(&self, e: &Estimate) -> String {
        let (shown, (_, behind)) = (self.scales.gravity(""), self.gravities());
        let (n, e) = (shown.decimals(4), shown.estimate(e));
        format!("gravity {:.n$}\u{a0}\u{b1}\u{a0}{:.n$}{behind}", e.value, e.se)
    }

    /// The size of a difference of gravities that is known to a thousandth: `0.004`.
    pub(super) fn size(&self, sg: f64) -> String {
        let (shown, (_, behind)) = (self.scales.difference(""), self.gravities());
        format!("{:.*}{behind}", shown.decimals(3), shown.value(sg.abs()))
    }

    /// By how much a probe is off, with its sign where that is wanted: `0.0130 ± 0.0005`.
    pub(super) fn off(&self, e: &Estimate, with_sign: bool) -> String {
        let (shown, (_, behind)) = (self.scales.difference(""), self.gravities());
        let e = shown.estimate(e);
        let n = decimals_for(e.se).min(shown.decimals(4));
        let value = if with_sign { signed(e.value, n, true) } else { format!("{:.n$}", e.value.abs()) };
        format!("{value}\u{a0}\u{b1}\u{a0}{:.n$}{behind}", e.se)
    }

    /// A temperature.
    pub(super) fn temperature(&self, celsius: f64) -> String {
        let shown = self.scales.temperature("\u{b0}C");
        format!("{}\u{a0}{}", signed(shown.value(celsius), 1, false), shown.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reader(zone: &str, plato: bool, fahrenheit: bool) -> Reader {
        Reader { scales: Scales { zone: jiff::tz::TimeZone::get(zone).unwrap(), plato, fahrenheit } }
    }

    #[test]
    fn times_are_those_of_the_readers_clock() {
        let at = Instant::parse("2031-03-05T23:30:00Z").unwrap();
        let here = reader("UTC", false, false);
        assert_eq!((here.day(at).as_str(), here.hour(at).as_str()), ("We 5 Mar", "Th 6 Mar 00:00"));
        let there = reader("Europe/Oslo", false, false);
        assert_eq!(there.moment(at), "Th 6 Mar 2031 00:30");
    }

    #[test]
    fn gravities_and_temperatures_are_on_the_readers_scales() {
        let e = Estimate { value: 1.048, se: 0.001, lower: 1.047, upper: 1.049, level: 0.9, method: "t".into() };
        let here = reader("UTC", false, false);
        let there = reader("UTC", true, true);
        assert_eq!(here.gravity(&e), "gravity 1.0480\u{a0}\u{b1}\u{a0}0.0010");
        // SG 1.048 is 11.9 degrees Plato, and 0.001 is a quarter of one.
        assert!(there.gravity(&e).starts_with("gravity 11.9"), "{:?}", there.gravity(&e));
        assert_eq!(there.temperature(20.0), "68.0\u{a0}\u{b0}F");
        let off = Estimate { value: -0.0130, se: 0.0005, ..e };
        assert_eq!(here.off(&off, false), "0.0130\u{a0}\u{b1}\u{a0}0.0005");
        assert!(there.off(&off, false).starts_with("3.31"), "{}", there.off(&off, false));
        assert_eq!(
            (here.scales.limit(0.002).as_str(), there.scales.limit(0.002).as_str()),
            ("0.002\u{a0}SG", "0.5\u{a0}\u{b0}P")
        );
        assert_eq!(here.off(&off, true), "\u{2212}0.0130\u{a0}\u{b1}\u{a0}0.0005");
    }
}
