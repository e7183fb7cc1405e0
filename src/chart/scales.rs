//! The clock and the scales of whoever looks at tables and pictures.
//!
//! Results are in UTC, SG and degrees Celsius. A column and an axis say what their numbers are: a gravity, a difference of
//! gravities, a temperature. [`Scales`] then say how these are shown.

use jiff::tz::TimeZone;

use crate::fit::Estimate;
use crate::kinetics::Trait;
use crate::liquid::{plato_from_sg, sg_from_plato};
use crate::units::{celsius_from_fahrenheit, fahrenheit_from_celsius};

/// Where a difference of gravities is turned into degrees Plato, SG: where beers end. On both sides of it half a step.
const ENDS_SG: [f64; 2] = [1.0095, 1.0105];

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

/// How numbers of one kind are shown.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shown {
    form: Form,
    /// The unit, or words with the unit in them.
    pub(crate) unit: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Same,
    Plato,
    PlatoDifference,
    Fahrenheit,
    Percent,
}

impl Scales {
    /// Those of the results: UTC, SG, degrees Celsius.
    pub(crate) const fn of_results() -> Self {
        Self { zone: TimeZone::UTC, plato: false, fahrenheit: false }
    }

    /// The name of the clock.
    pub(crate) fn clock(&self) -> &str {
        self.zone.iana_name().unwrap_or("UTC")
    }

    /// Gravities; `words` hold the unit `SG`.
    pub(crate) fn gravity(&self, words: &str) -> Shown {
        if self.plato { Shown::plato(Form::Plato, words) } else { words.into() }
    }

    /// Differences of two gravities, their errors and their rates; `words` hold the unit `SG`.
    pub(crate) fn difference(&self, words: &str) -> Shown {
        if self.plato { Shown::plato(Form::PlatoDifference, words) } else { words.into() }
    }

    /// Temperatures; `words` hold the unit `°C`.
    pub(crate) fn temperature(&self, words: &str) -> Shown {
        if self.fahrenheit {
            Shown { form: Form::Fahrenheit, unit: words.replace("\u{b0}C", "\u{b0}F") }
        } else {
            words.into()
        }
    }

    /// A limit of differences, with its unit: `0.002 SG`.
    pub(crate) fn limit(&self, sg: f64) -> String {
        let shown = self.difference("SG");
        format!("{}\u{a0}{}", shown.exact(sg), shown.unit)
    }

    /// Values of a trait.
    pub(crate) fn of(&self, which: Trait) -> Shown {
        match which {
            Trait::OriginalSg | Trait::TerminalSg => self.gravity(which.unit()),
            Trait::MaxRateSgPerDay => self.difference(which.unit()),
            Trait::LagH | Trait::MidH | Trait::T90H | Trait::FinishH => which.unit().into(),
            Trait::Attenuation | Trait::AttenuationExtract => Shown { form: Form::Percent, unit: "%".to_owned() },
            Trait::AbvPercent => which.unit().into(),
        }
    }

    /// Differences between two values of a trait.
    pub(crate) fn difference_of(&self, which: Trait) -> Shown {
        let one = self.of(which);
        match one.form {
            Form::Same => which.difference_unit().into(),
            Form::Plato => self.difference(which.unit()),
            _ => one,
        }
    }
}

impl From<&str> for Shown {
    /// Numbers that are shown as they are.
    fn from(unit: &str) -> Self {
        Self { form: Form::Same, unit: unit.to_owned() }
    }
}

impl Shown {
    fn plato(form: Form, words: &str) -> Self {
        Self { form, unit: words.replace("SG at 20 \u{b0}C", "SG").replace("SG", "\u{b0}P") }
    }

    /// The number as it is shown; not a number beyond the scale.
    pub(crate) fn value(&self, value: f64) -> f64 {
        match self.form {
            Form::Same => value,
            Form::Plato => plato_from_sg(value).unwrap_or(f64::NAN),
            Form::PlatoDifference => value * plato_per_sg(),
            Form::Fahrenheit => fahrenheit_from_celsius(value),
            Form::Percent => 100.0 * value,
        }
    }

    /// The number of an axis that is shown so.
    pub(super) fn place(&self, shown: f64) -> f64 {
        match self.form {
            Form::Same => shown,
            Form::Plato => sg_from_plato(shown).unwrap_or(f64::NAN),
            Form::PlatoDifference => shown / plato_per_sg(),
            Form::Fahrenheit => celsius_from_fahrenheit(shown),
            Form::Percent => shown / 100.0,
        }
    }

    /// A number without an error, such as a limit.
    pub(crate) fn exact(&self, value: f64) -> String {
        match self.form {
            Form::Same | Form::Percent => self.value(value).to_string(),
            _ => format!("{:.1}", self.value(value)),
        }
    }

    /// The estimate as it is shown.
    pub(crate) fn estimate(&self, e: &Estimate) -> Estimate {
        let [value, lower, upper, above] = [e.value, e.lower, e.upper, e.value + e.se].map(|v| self.value(v));
        let se = if self.form == Form::Same { e.se } else { above - value };
        Estimate { value, se, lower, upper, ..e.clone() }
    }

    /// The decimals that say as much: a degree Plato is some 0.004 SG.
    pub(crate) fn decimals(&self, decimals: usize) -> usize {
        match self.form {
            Form::Plato | Form::PlatoDifference | Form::Percent => decimals.saturating_sub(2),
            Form::Same | Form::Fahrenheit => decimals,
        }
    }
}

fn plato_per_sg() -> f64 {
    let [below, above] = ENDS_SG.map(|sg| plato_from_sg(sg).unwrap_or(f64::NAN));
    (above - below) / (ENDS_SG[1] - ENDS_SG[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_of_number_is_shown_on_its_scale() {
        let scales = Scales { zone: TimeZone::UTC, plato: true, fahrenheit: true };
        let (gravity, rate, temp) =
            (scales.gravity("SG at 20 \u{b0}C"), scales.difference("SG/day"), scales.temperature("warmth, \u{b0}C"));
        // SG 1.048 is 11.9 degrees Plato; 0.004 is one degree where beers end.
        assert!((gravity.value(1.048) - 11.9).abs() < 0.05 && gravity.unit == "\u{b0}P");
        assert!((rate.value(-0.004) + 1.0).abs() < 0.03 && rate.unit == "\u{b0}P/day");
        assert_eq!((temp.value(20.0), temp.unit.as_str()), (68.0, "warmth, \u{b0}F"));
        for (shown, number) in [(&gravity, 1.03), (&rate, 0.7), (&temp, 20.0)] {
            assert!((shown.place(shown.value(number)) - number).abs() < 1e-9);
        }
        assert_eq!(Scales::of_results().gravity("SG"), "SG".into());
        assert_eq!(scales.of(Trait::TerminalSg).value(1.01), gravity.value(1.01));
        assert_eq!(scales.difference_of(Trait::TerminalSg).value(0.7), rate.value(0.7));
        assert_eq!(scales.difference_of(Trait::LagH), "hours".into());
    }
}
