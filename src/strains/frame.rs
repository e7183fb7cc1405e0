//! The tables `strains` and `strain_contrasts`, and how they print.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::Estimate;
use crate::kinetics::Trait;
use crate::season::FrameBuilder;

use super::result::Strains;

impl Strains {
    /// The table `strains`: one row per strain and trait.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.strains()?.to_frame()?;")]
    pub fn to_frame(&self) -> Result<DataFrame> {
        let rows = &self.means;
        let number = |of: fn(&Estimate) -> f64| rows.iter().map(move |row| row.mean.estimate().map(of));
        FrameBuilder::new("strains")
            .text("strain", rows.iter().map(|row| Some(&row.strain)))
            .text("trait", rows.iter().map(|row| Some(row.which.name())))
            .count("n", rows.iter().map(|row| Some(row.n as i64)))
            .number("estimate", number(|e| e.value))
            .number("se", number(|e| e.se))
            .number("lower", number(|e| e.lower))
            .number("upper", number(|e| e.upper))
            .number("level", number(|e| e.level))
            .text("method", rows.iter().map(|row| row.mean.estimate().map(|e| &e.method)))
            .text("why", rows.iter().map(|row| row.mean.why()))
            .finish()
    }

    /// The table `strain_contrasts`: one row per pair and trait.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.strains()?.contrasts_frame()?;")]
    pub fn contrasts_frame(&self) -> Result<DataFrame> {
        let rows = &self.contrasts;
        let number = |of: fn(&Estimate) -> f64| rows.iter().map(move |row| row.difference.estimate().map(of));
        FrameBuilder::new("strain_contrasts")
            .text("trait", rows.iter().map(|row| Some(row.which.name())))
            .text("a", rows.iter().map(|row| Some(&row.a)))
            .text("b", rows.iter().map(|row| Some(&row.b)))
            .number("difference", number(|e| e.value))
            .number("se", number(|e| e.se))
            .number("lower", number(|e| e.lower))
            .number("upper", number(|e| e.upper))
            .number("level", number(|e| e.level))
            .number("p_adjusted", rows.iter().map(|row| row.p_adjusted))
            .number("p_holm", rows.iter().map(|row| row.p_holm))
            .text("method", rows.iter().map(|row| row.difference.estimate().map(|e| &e.method)))
            .text("why", rows.iter().map(|row| row.difference.why()))
            .finish()
    }
}

impl fmt::Display for Strains {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.means.iter().map(|mean| mean.strain.len()).max().unwrap_or(0);
        let mut last: Option<Trait> = None;
        for row in &self.means {
            if last != Some(row.which) {
                writeln!(f, "{}", row.which)?;
                last = Some(row.which);
            }
            writeln!(f, "  {:width$}  {} batches: {}", row.strain, row.n, row.mean)?;
        }
        let level = 100.0 * self.contrast_level;
        writeln!(f, "differences whose simultaneous {level:.0} % interval leaves out 0:")?;
        let mut any = false;
        for row in &self.contrasts {
            let Some(estimate) = row.difference.estimate().filter(|e| e.lower > 0.0 || e.upper < 0.0) else { continue };
            any = true;
            writeln!(f, "  {}: {} - {} = {estimate}", row.which, row.a, row.b)?;
        }
        if any { Ok(()) } else { writeln!(f, "  none") }
    }
}
