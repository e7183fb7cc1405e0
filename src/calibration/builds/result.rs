//! The builds of a season's probes.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::Finding;
use crate::float::Hull;
use crate::season::{FrameBuilder, each_once};

/// Builds by their fields: `plain` ones, and the findings, which are columns as well, in the order of the table.
macro_rules! build {
    ($(#[$doc:meta])* pub struct $build:ident {
        plain { $($(#[$pdoc:meta])* $plain:ident: $kind:ty,)* }
        findings { $($(#[$fdoc:meta])* $finding:ident,)* }
    }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $build {
            $($(#[$pdoc])* pub $plain: $kind,)*
            $($(#[$fdoc])* pub $finding: Finding,)*
        }

        type FindingColumn = (&'static str, fn(&$build) -> &Finding);
        const FINDINGS: [FindingColumn; N] = [$((stringify!($finding), |build| &build.$finding),)*];
        /// How many findings there are.
        pub(super) const N: usize = [$(stringify!($finding)),*].len();

        impl $build {
            /// One of which only the findings are known.
            pub(super) fn of([$($finding),*]: [Finding; N]) -> Self {
                Self { $($plain: Default::default(),)* $($finding),* }
            }
        }
    };
}

build! {
    /// How one probe is built and how it rests for that.
    pub struct Build {
        plain {
            /// The probe.
            probe: String,
            /// The calibration whose baths were used; empty where there is none.
            calibration: Option<String>,
            /// Mass of the whole at that calibration, g.
            total_mass_g: f64,
            /// Mass of the cell then, g.
            cell_mass_g: Option<f64>,
            /// True when it tells gravities from water to SG 1.100: 0.010 SG turn it by a degree or more at SG 1.010 and
            /// 1.050, and its top stays dry.
            usable_to_1100: Option<bool>,
            /// The hull with its centre of gravity, for pictures.
            hull: Option<Hull>,
            /// False where the hull is taken as endless, because nobody measured its length.
            length_known: bool,
            /// True where no body of its mass and size could rest as it did in its baths.
            contradicted: bool,
            /// What to move where, in words.
            advice: String,
            /// What was assumed, in words.
            remarks: Vec<String>,
        }
        findings {
            /// Tilt in pure water at 20 C, degrees: that of the curve in force, as in the table of calibrations.
            water_tilt_deg,
            /// Tilt at SG 1.050, degrees.
            tilt_at_1050_deg,
            /// Tilt at SG 1.100, degrees.
            tilt_at_1100_deg,
            /// Degrees of tilt per 0.010 of SG at SG 1.010.
            deg_per_0010_at_1010,
            /// The same at SG 1.050.
            deg_per_0010_at_1050,
            /// SG from which the high edge of the water plane reaches the top.
            top_wets_at_sg,
            /// How much SG the curve reads too high per gram added at the nose, at SG 1.020 (negative: too low).
            sg_per_gram_at_nose,
            /// Centre of gravity off the axis, mm.
            cg_offset_mm,
            /// Centre of gravity above the nose, mm.
            cg_height_mm,
            /// How far the centre of gravity has to go towards the heavy side for the wanted tilts, mm.
            cg_move_across_mm,
            /// The same up, away from the nose, mm.
            cg_move_up_mm,
        }
    }
}

impl Build {
    /// Why some of its numbers cannot be had; each reason once.
    pub fn why(&self) -> Option<String> {
        let whys = each_once(FINDINGS.iter().filter_map(|(_, of)| of(self).why()));
        (!whys.is_empty()).then(|| whys.join("; "))
    }
}

/// The builds of all probes with a mass.
#[derive(Debug, Clone, PartialEq)]
pub struct Builds {
    /// One per probe, in the order of the table of probes.
    pub builds: Vec<Build>,
}

impl Builds {
    /// The table `builds`; each estimate has its standard error beside it (`_se`).
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.builds()?.to_frame()?;")]
    pub fn to_frame(&self) -> Result<DataFrame> {
        let rows = &self.builds;
        let mut frame = FrameBuilder::new("builds")
            .text("probe", rows.iter().map(|b| Some(&b.probe)))
            .text("calibration", rows.iter().map(|b| b.calibration.as_ref()))
            .number("total_mass_g", rows.iter().map(|b| Some(b.total_mass_g)))
            .number("cell_mass_g", rows.iter().map(|b| b.cell_mass_g))
            .truth("usable_to_1100", rows.iter().map(|b| b.usable_to_1100));
        for (name, of) in FINDINGS {
            frame = frame
                .number(name, rows.iter().map(|b| of(b).value()))
                .number(&format!("{name}_se"), rows.iter().map(|b| of(b).se()));
        }
        frame
            .text("advice", rows.iter().map(|b| Some(&b.advice)))
            .text("remarks", rows.iter().map(|b| (!b.remarks.is_empty()).then(|| b.remarks.join("; "))))
            .text("why", rows.iter().map(Build::why))
            .finish()
    }
}

impl fmt::Display for Builds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for build in &self.builds {
            writeln!(f, "{}: {}", build.probe, build.advice)?;
        }
        Ok(())
    }
}
