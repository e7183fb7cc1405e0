//! The traits: what is read off a fitted curve. A further one is an entry of the list below; what else it needs is told in
//! DEVELOPERS.md.

use crate::error::Result;
use crate::liquid;

use super::timed::Timed;

/// Unit of a time counted from pitching; a length of time is none.
const HOURS: &str = "hours from pitching";
const SG_PER_DAY: &str = "SG per day";

/// What is known of each trait.
struct Facts {
    /// The name of its standard error in the tables.
    se_name: &'static str,
    /// Its name in words.
    title: &'static str,
    /// Its unit in words, by which times and rates are known.
    unit: &'static str,
    /// Whether it hangs on the terminal gravity.
    needs_terminal: bool,
    /// Difference that begins to matter.
    margin: f64,
    /// The value on a curve, with the tolerance of being at rest, SG.
    value: fn(&Timed<'_>, f64) -> Result<f64>,
}

/// The enum of the traits with its list and the facts of each.
macro_rules! traits {
    ($($(#[$doc:meta])* $which:ident = $name:literal, $se_name:literal, $title:literal, $unit:expr, $needs_terminal:literal,
        $margin:literal, $value:expr;)*) => {
        named! {
            /// A quantity read off the fitted curve, the same for every curve.
            #[derive(serde::Serialize, serde::Deserialize)]
            #[serde(rename_all = "snake_case")]
            pub enum Trait {
                $($(#[$doc])* $which = $name,)*
            }
        }

        impl Trait {
            const fn facts(self) -> Facts {
                match self {
                    $(Self::$which => Facts {
                        se_name: $se_name,
                        title: $title,
                        unit: $unit,
                        needs_terminal: $needs_terminal,
                        margin: $margin,
                        value: $value,
                    },)*
                }
            }
        }
    };
}

traits! {
    /// SG at pitching: the joint estimate from samples, probes and the measured original gravity.
    OriginalSg = "original_sg", "original_sg_se", "Original gravity", "SG", false, 0.001,
        |curve, _| Ok(curve.curve().original_sg);
    /// SG at rest.
    TerminalSg = "terminal_sg", "terminal_sg_se", "Terminal gravity", "SG", true, 0.001,
        |curve, _| Ok(curve.curve().terminal_sg);
    /// Greatest rate of fall, SG per day.
    MaxRateSgPerDay = "max_rate_sg_per_day", "max_rate_se", "Greatest rate of fall", SG_PER_DAY, false, 0.003,
        |curve, _| Ok(24.0 * curve.fall_sg_per_h(curve.steepest_h()));
    /// Where the tangent at the steepest point meets the SG at pitching, hours.
    LagH = "lag_h", "lag_se", "Lag", HOURS, false, 6.0,
        |curve, _| Ok(curve.lag_h());
    /// Half-way from SG at pitching to terminal, hours.
    MidH = "mid_h", "mid_se", "Half-way", HOURS, true, 6.0,
        |curve, _| Ok(curve.mid_h());
    /// Nine tenths of the drop, hours.
    T90H = "t90_h", "t90_se", "Nine tenths of the drop", HOURS, true, 12.0,
        |curve, _| Ok(curve.time_of_progress_h(0.9));
    /// Finish time, hours.
    FinishH = "finish_h", "finish_se_h", "Coming to rest", HOURS, true, 24.0,
        |curve, tolerance_sg| Ok(curve.finish_h(tolerance_sg));
    /// Apparent attenuation in SG points, a fraction.
    Attenuation = "attenuation", "attenuation_se", "Apparent attenuation, SG points", "fraction", true, 0.02,
        |curve, _| liquid::apparent_attenuation(curve.curve().original_sg, curve.curve().terminal_sg);
    /// Apparent attenuation in degrees Plato, a fraction.
    AttenuationExtract = "attenuation_extract", "attenuation_extract_se", "Apparent attenuation, extract", "fraction", true, 0.02,
        |curve, _| liquid::extract_attenuation(curve.curve().original_sg, curve.curve().terminal_sg);
    /// Alcohol by volume at rest, percent; an estimate, not for labels or duty.
    AbvPercent = "abv_percent", "abv_percent_se", "Alcohol (an estimate, not for labels)", "% by volume", true, 0.2,
        |curve, _| liquid::abv_percent(curve.curve().original_sg, curve.curve().terminal_sg);
}

impl Trait {
    /// The name of its standard error in the tables.
    pub(crate) const fn se_name(self) -> &'static str {
        self.facts().se_name
    }

    /// Its name in words.
    pub const fn title(self) -> &'static str {
        self.facts().title
    }

    /// Its unit, in words.
    pub const fn unit(self) -> &'static str {
        self.facts().unit
    }

    /// The unit of a difference of two: a difference of two times counts from no moment.
    pub fn difference_unit(self) -> &'static str {
        if self.is_time() { "hours" } else { self.unit() }
    }

    /// The difference that begins to matter where no setting says otherwise, in its unit.
    pub(crate) const fn margin(self) -> f64 {
        self.facts().margin
    }

    /// True for hours from pitching.
    pub(crate) fn is_time(self) -> bool {
        self.unit() == HOURS
    }

    /// True for times and rates, which are compared by their ratios.
    pub(crate) fn is_pace(self) -> bool {
        self.is_time() || self.unit() == SG_PER_DAY
    }

    /// True where it hangs on the terminal gravity, which has to be known first.
    pub(crate) const fn needs_terminal(self) -> bool {
        self.facts().needs_terminal
    }

    /// Its value on a curve; a batch is at rest within `tolerance_sg` of its terminal gravity.
    pub(super) fn value(self, curve: &Timed<'_>, tolerance_sg: f64) -> Result<f64> {
        (self.facts().value)(curve, tolerance_sg)
    }
}
