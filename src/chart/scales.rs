//! The clock and the scales of whoever looks at tables and pictures.
//!
//! Results are in UTC, SG and degrees Celsius. A report that is read on another clock or scale sets it while it is written
//! ([`Scales::during`]); a table and an axis ask for it where they write a number with a unit.

use std::cell::RefCell;

use jiff::tz::TimeZone;

use crate::liquid::{plato_from_sg, sg_from_plato};
use crate::units::{celsius_from_fahrenheit, fahrenheit_from_celsius};

/// Where a difference of gravities is turned into degrees Plato, SG: where beers end.
const ENDS_SG: f64 = 1.010;
/// A number in SG above this is a gravity, one below it a difference of two.
const LEAST_GRAVITY: f64 = 0.5;

thread_local! {
    static NOW: RefCell<Scales> = const { RefCell::new(Scales { zone: TimeZone::UTC, plato: false, fahrenheit: false }) };
}

/// A clock and scales.
#[derive(Debug, Clone)]
pub(crate) struct Scales {
    /// The clock.
    pub(crate) zone: TimeZone,
    /// Gravities in degrees Plato, else in SG.
    pub(crate) plato: bool,
    /// Temperatures in degrees Fahrenheit, else Celsius.
    pub(crate) fahrenheit: bool,
}

/// How numbers of one unit are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ShownScale {
    /// As they are.
    Same,
    /// SG in degrees Plato.
    Plato,
    /// Degrees Celsius in degrees Fahrenheit.
    Fahrenheit,
}

impl Scales {
    /// Those that are set on this thread.
    pub(crate) fn now() -> Self {
        NOW.with_borrow(Self::clone)
    }

    /// What `show` makes, on these scales.
    pub(crate) fn during<T>(&self, show: impl FnOnce() -> T) -> T {
        let before = NOW.replace(self.clone());
        let shown = show();
        NOW.set(before);
        shown
    }

    /// The name of the clock.
    pub(crate) fn clock(&self) -> &str {
        self.zone.iana_name().unwrap_or("UTC")
    }

    /// How numbers of this unit are shown.
    pub(crate) fn of(&self, unit: &str) -> ShownScale {
        match (unit.contains("SG"), unit.contains("\u{b0}C")) {
            (true, _) if self.plato => ShownScale::Plato,
            (false, true) if self.fahrenheit => ShownScale::Fahrenheit,
            _ => ShownScale::Same,
        }
    }
}

impl ShownScale {
    /// The unit as it is shown.
    pub(crate) fn unit(self, unit: &str) -> String {
        match self {
            Self::Same => unit.to_owned(),
            Self::Plato => unit.replace("SG at 20 \u{b0}C", "SG").replace("SG", "\u{b0}P"),
            Self::Fahrenheit => unit.replace("\u{b0}C", "\u{b0}F"),
        }
    }

    /// The number as it is shown; not a number beyond the scale.
    pub(crate) fn value(self, value: f64) -> f64 {
        let plato = |sg: f64| plato_from_sg(sg).unwrap_or(f64::NAN);
        match self {
            Self::Same => value,
            Self::Plato if value > LEAST_GRAVITY => plato(value),
            Self::Plato => (plato(ENDS_SG + value.abs()) - plato(ENDS_SG)) * value.signum(),
            Self::Fahrenheit => fahrenheit_from_celsius(value),
        }
    }

    /// The standard error of a number as it is shown.
    pub(crate) fn error(self, value: f64, se: f64) -> f64 {
        if self == Self::Same { se } else { self.value(value + se) - self.value(value) }
    }

    /// The decimals that say as much: a degree Plato is some 0.004 SG.
    pub(crate) fn decimals(self, decimals: usize) -> usize {
        if self == Self::Plato { decimals.saturating_sub(2) } else { decimals }
    }

    /// Where a number that is shown lies on an axis; `gravity` for an axis of gravities, not of differences.
    pub(super) fn place(self, shown: f64, gravity: bool) -> f64 {
        match self {
            Self::Same => shown,
            Self::Plato if gravity => sg_from_plato(shown).unwrap_or(f64::NAN),
            Self::Plato => shown / (self.value(0.001) / 0.001),
            Self::Fahrenheit => celsius_from_fahrenheit(shown),
        }
    }

    /// Whether an axis that begins there is one of gravities.
    pub(super) fn is_gravity(self, low: f64) -> bool {
        self == Self::Plato && low > LEAST_GRAVITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_holds_while_something_is_shown_and_no_longer() {
        let there = Scales { zone: TimeZone::UTC, plato: true, fahrenheit: true };
        let (gravity, rate, temp) = there.during(|| {
            let now = Scales::now();
            (now.of("SG at 20 \u{b0}C"), now.of("SG/day"), now.of("temperature, \u{b0}C"))
        });
        // SG 1.048 is 11.9 degrees Plato; 0.004 is one degree where beers end.
        assert!((gravity.value(1.048) - 11.9).abs() < 0.05 && gravity.unit("SG at 20 \u{b0}C") == "\u{b0}P");
        assert!((rate.value(-0.004) + 1.0).abs() < 0.02 && rate.unit("SG/day") == "\u{b0}P/day");
        assert_eq!((temp.value(20.0), temp.unit("\u{b0}C").as_str()), (68.0, "\u{b0}F"));
        assert!((gravity.place(gravity.value(1.03), true) - 1.03).abs() < 1e-9);
        assert!((temp.place(68.0, false) - 20.0).abs() < 1e-9);
        assert_eq!(Scales::now().of("SG"), ShownScale::Same);
    }
}
