//! The tables of strains, and how they print.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::{Estimate, Finding};
use crate::kinetics::Trait;
use crate::season::FrameBuilder;

use super::result::{StrainContrast, StrainSpread, Strains};

/// Name of the trait "share of stuck batches" in the tables.
const STUCK: &str = "stuck_share";

/// A number of each estimate.
type Of = fn(&Estimate) -> f64;

/// The columns of estimates.
fn estimates<'a>(
    frame: FrameBuilder,
    name: &str,
    rows: impl Iterator<Item = Option<&'a Estimate>> + Clone,
) -> FrameBuilder {
    let number = |of: Of| rows.clone().map(move |row| row.map(of));
    frame
        .number(name, number(|e| e.value))
        .number("se", number(|e| e.se))
        .number("lower", number(|e| e.lower))
        .number("upper", number(|e| e.upper))
        .number("level", number(|e| e.level))
        .text("method", rows.clone().map(|row| row.map(|e| e.method.as_ref())))
}

impl Strains {
    /// The table `strains`: one row per strain and trait, then the shares of stuck batches.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.strains()?.to_frame()?;")]
    pub fn to_frame(&self) -> Result<DataFrame> {
        let (rows, stuck) = (&self.means, &self.stuck);
        let none = || stuck.iter().map(|_| None::<f64>);
        let left_out = |n: usize| if n == 0 { String::new() } else { format!("{n} not at rest") };
        let frame = FrameBuilder::new("strains")
            .text("strain", rows.iter().map(|row| &row.strain).chain(stuck.iter().map(|row| &row.strain)).map(Some))
            .text("trait", rows.iter().map(|row| Some(row.which.name())).chain(stuck.iter().map(|_| Some(STUCK))))
            .count("n", rows.iter().map(|row| row.n).chain(stuck.iter().map(|row| row.n)).map(|n| Some(n as i64)));
        let all = rows.iter().map(|row| row.mean.estimate()).chain(stuck.iter().map(|row| row.share.as_ref()));
        let pooled = |of: Of| rows.iter().map(move |row| row.pooled.estimate().map(of)).chain(none());
        let at = |which: Trait| self.how(which).map(|how| how.conditions.clone());
        estimates(frame, "estimate", all)
            .number("raw_mean", rows.iter().map(|row| row.raw).chain(none()))
            .number("pooled", pooled(|e| e.value))
            .number("pooled_se", pooled(|e| e.se))
            .number("p_highest", rows.iter().map(|row| row.p_highest).chain(none()))
            .number("p_lowest", rows.iter().map(|row| row.p_lowest).chain(none()))
            .text("conditions", rows.iter().map(|row| at(row.which)).chain(stuck.iter().map(|_| None)))
            .text(
                "left_out",
                rows.iter()
                    .map(|row| row.left_out.clone())
                    .chain(stuck.iter().map(|row| left_out(row.unfinished)))
                    .map(Some),
            )
            .text(
                "why",
                rows.iter()
                    .map(|row| row.mean.why())
                    .chain(stuck.iter().map(|row| (row.n == 0).then_some("no batch came to rest"))),
            )
            .finish()
    }

    /// The table `strain_contrasts`: one row per pair and trait, then those of the shares of stuck batches.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.strains()?.contrasts_frame()?;")]
    pub fn contrasts_frame(&self) -> Result<DataFrame> {
        let (rows, stuck) = (&self.contrasts, &self.stuck_contrasts);
        let none = || stuck.iter().map(|_| None::<f64>);
        let own = |of: fn(&StrainContrast) -> Option<f64>| rows.iter().map(of).chain(none());
        let frame = FrameBuilder::new("strain_contrasts")
            .text("trait", rows.iter().map(|row| Some(row.which.name())).chain(stuck.iter().map(|_| Some(STUCK))))
            .text("a", rows.iter().map(|row| &row.a).chain(stuck.iter().map(|row| &row.a)).map(Some))
            .text("b", rows.iter().map(|row| &row.b).chain(stuck.iter().map(|row| &row.b)).map(Some));
        let all = rows.iter().map(|row| row.difference.estimate()).chain(stuck.iter().map(|row| Some(&row.difference)));
        let error = |row: &StrainContrast| self.how(row.which)?.numerical_error.filter(|_| row.p_adjusted.is_some());
        estimates(frame, "difference", all)
            .number(
                "p_adjusted",
                rows.iter().map(|row| row.p_adjusted).chain(stuck.iter().map(|row| Some(row.p_adjusted))),
            )
            .number("p_error", rows.iter().map(error).chain(none()))
            .number("p_holm", rows.iter().map(|row| row.p_holm).chain(stuck.iter().map(|row| Some(row.p_holm))))
            .number("ratio", own(|row| row.ratio.as_ref().map(|e| e.value)))
            .number("ratio_lower", own(|row| row.ratio.as_ref().map(|e| e.lower)))
            .number("ratio_upper", own(|row| row.ratio.as_ref().map(|e| e.upper)))
            .number("margin", own(|row| Some(row.margin)))
            .number("p_equivalent", own(|row| row.p_equivalent))
            .text("verdict", rows.iter().map(|row| row.verdict.map(|v| v.name())).chain(stuck.iter().map(|_| None)))
            .number("house_lower", own(|row| row.house.as_ref().map(|house| house.difference.lower)))
            .number("house_upper", own(|row| row.house.as_ref().map(|house| house.difference.upper)))
            .number("p_house", own(|row| row.house.as_ref().map(|house| house.p)))
            .text("why", rows.iter().map(|row| row.difference.why()).chain(stuck.iter().map(|_| None)))
            .finish()
    }

    /// The table `strain_repeatability`: how far batches spread, by trait for all strains (`strain` empty) and by strain.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn repeatability_frame(&self) -> Result<DataFrame> {
        let rows = &self.spreads;
        let frame = FrameBuilder::new("strain_repeatability")
            .text("trait", rows.iter().map(|row| Some(row.which.name())))
            .text("strain", rows.iter().map(|row| row.strain.as_ref()))
            .count("n", rows.iter().map(|row| Some(row.n as i64)));
        let p = |row: &StrainSpread| self.how(row.which)?.p_equal_spread.filter(|_| row.strain.is_none());
        estimates(frame, "sd", rows.iter().map(|row| row.sd.estimate()))
            .truth("relative", rows.iter().map(|row| Some(row.relative)))
            .number("p_equal", rows.iter().map(p))
            .text("why", rows.iter().map(|row| row.sd.why()))
            .finish()
    }

    /// The table `strain_power`: the pairs that are open, and how many batches would settle them.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn power_frame(&self) -> Result<DataFrame> {
        let rows: Vec<&StrainContrast> = self.open().collect();
        let power = |row: &&StrainContrast| row.power;
        FrameBuilder::new("strain_power")
            .text("trait", rows.iter().map(|row| Some(row.which.name())))
            .text("a", rows.iter().map(|row| Some(&row.a)))
            .text("b", rows.iter().map(|row| Some(&row.b)))
            .count("n_a", rows.iter().map(|row| Some(row.n.0 as i64)))
            .count("n_b", rows.iter().map(|row| Some(row.n.1 as i64)))
            .number("difference", rows.iter().map(|row| Some(row.margin)))
            .number("power_now", rows.iter().map(|row| power(row).map(|power| power.now)))
            .count("more_of_each", rows.iter().map(|row| Some(power(row)?.more_of_each? as i64)))
            .finish()
    }
}

impl fmt::Display for Strains {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.means.iter().map(|mean| mean.strain.len()).max().unwrap_or(0);
        for how in &self.traits {
            writeln!(f, "{}, {}", how.which, how.conditions)?;
            for row in self.means.iter().filter(|mean| mean.which == how.which) {
                writeln!(f, "  {:width$}  {} batches: {}", row.strain, row.n, row.mean)?;
            }
        }
        let level = 100.0 * self.contrast_level;
        writeln!(f, "differences whose simultaneous {level:.0} % interval leaves out 0:")?;
        let apart = |finding: &Finding| finding.estimate().is_some_and(|e| e.lower > 0.0 || e.upper < 0.0);
        let shown: Vec<_> = self.contrasts.iter().filter(|row| apart(&row.difference)).collect();
        for row in &shown {
            writeln!(f, "  {}: {} - {} = {}", row.which, row.a, row.b, row.difference)?;
        }
        if shown.is_empty() { writeln!(f, "  none") } else { Ok(()) }
    }
}
