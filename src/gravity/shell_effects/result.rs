//! Results of the study of cold crashes.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::fit::{Estimate, Finding};
use crate::season::FrameBuilder;
use crate::units::Instant;

use super::settings::ShellEffectSettings;

/// One probe in one batch that was cooled.
#[derive(Debug, Clone, PartialEq)]
pub struct ShellEffect {
    /// The probe.
    pub probe: String,
    /// The batch.
    pub batch: String,
    /// The calibration in force.
    pub calibration: Option<String>,
    /// When the cooling began.
    pub cooled_at: Option<Instant>,
    /// SG of the beer when it was cooled, by this probe.
    pub sg: Option<f64>,
    /// Mean temperatures before and after, C.
    pub temps_c: Option<(f64, f64)>,
    /// Readings before and after.
    pub readings: Option<(usize, usize)>,
    /// Relative change per K of the density that the curve gives, beyond what the liquid's density does: the sum of shell,
    /// sensor temperature error, liquid model and residual fall. A shell alone would give its volume expansion, three times
    /// the linear one.
    pub effective_per_k: Finding,
    /// The stated shell's volume expansion per K.
    pub stated_per_k: Option<f64>,
    /// Its standard deviation.
    pub stated_sd_per_k: Option<f64>,
    /// Probability of so large a difference between the two when the stated shell is all there is.
    pub agreement_p: Option<f64>,
}

impl ShellEffect {
    /// The coefficient as SG per 10 K at its own gravity.
    pub fn sg_per_10k(&self) -> Option<Estimate> {
        self.in_sg(0.0)
    }

    /// What the stated shell leaves over, SG per 10 K: a beer 10 K colder than the shell of the curve reads this much too
    /// low (negative: too high).
    pub fn left_over_sg_per_10k(&self) -> Option<Estimate> {
        self.in_sg(self.stated_per_k?)
    }

    fn in_sg(&self, less_per_k: f64) -> Option<Estimate> {
        let (e, sg) = (self.effective_per_k.estimate()?, self.sg?);
        let scaled = |value: f64| 10.0 * sg * (value - less_per_k);
        Some(Estimate {
            value: scaled(e.value),
            se: 10.0 * sg * e.se,
            lower: scaled(e.lower),
            upper: scaled(e.upper),
            ..e.clone()
        })
    }
}

/// All of a season's cold crashes.
#[derive(Debug, Clone, PartialEq)]
pub struct ShellEffects {
    /// By batch and probe.
    pub effects: Vec<ShellEffect>,
    /// Settings of the study.
    pub settings: ShellEffectSettings,
}

impl ShellEffects {
    /// The table `shell_effects`: one row per batch and probe, with `why` where the coefficient cannot be had.
    /// `elsewhere_se_per_k` is its standard error at other gravities and in other batches.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        let rows = &self.effects;
        let of = |of: fn(&Estimate) -> f64| rows.iter().map(move |r| r.effective_per_k.estimate().map(of));
        let extra = self.settings.elsewhere_sd_per_k;
        FrameBuilder::new("shell_effects")
            .text("probe", rows.iter().map(|r| Some(&r.probe)))
            .text("batch", rows.iter().map(|r| Some(&r.batch)))
            .text("calibration", rows.iter().map(|r| r.calibration.as_ref()))
            .time("cooled_at", rows.iter().map(|r| r.cooled_at))
            .number("sg", rows.iter().map(|r| r.sg))
            .number("warm_temp_c", rows.iter().map(|r| r.temps_c.map(|(warm, _)| warm)))
            .number("cold_temp_c", rows.iter().map(|r| r.temps_c.map(|(_, cold)| cold)))
            .count("n_warm", rows.iter().map(|r| r.readings.map(|(warm, _)| warm as i64)))
            .count("n_cold", rows.iter().map(|r| r.readings.map(|(_, cold)| cold as i64)))
            .number("effective_per_k", of(|e| e.value))
            .number("se", of(|e| e.se))
            .number("lower", of(|e| e.lower))
            .number("upper", of(|e| e.upper))
            .number("level", of(|e| e.level))
            .text("method", rows.iter().map(|r| r.effective_per_k.estimate().map(|e| e.method.as_ref())))
            .number("elsewhere_se_per_k", rows.iter().map(|r| r.effective_per_k.se().map(|se| se.hypot(extra))))
            .number("stated_per_k", rows.iter().map(|r| r.stated_per_k))
            .number("stated_sd_per_k", rows.iter().map(|r| r.stated_sd_per_k))
            .number("agreement_p", rows.iter().map(|r| r.agreement_p))
            .number("sg_per_10k", rows.iter().map(|r| r.sg_per_10k().map(|e| e.value)))
            .number("sg_per_10k_se", rows.iter().map(|r| r.sg_per_10k().map(|e| e.se)))
            .number("left_over_sg_per_10k", rows.iter().map(|r| r.left_over_sg_per_10k().map(|e| e.value)))
            .text("why", rows.iter().map(|r| r.effective_per_k.why()))
            .finish()
    }
}

impl fmt::Display for ShellEffects {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told = self.effects.iter().filter(|e| e.effective_per_k.estimate().is_some()).count();
        writeln!(f, "{told} of {} coolings tell how a probe reads in the cold.", self.effects.len())?;
        writeln!(
            f,
            "Each is the sum of shell, sensor temperature error, liquid model and residual fall, at its own gravity;"
        )?;
        writeln!(
            f,
            "elsewhere and in other batches it has a further SD of {:.0e} per K.",
            self.settings.elsewhere_sd_per_k
        )?;
        for effect in &self.effects {
            let (probe, batch) = (&effect.probe, &effect.batch);
            match (effect.effective_per_k.estimate(), effect.sg, effect.stated_per_k) {
                (Some(e), Some(sg), Some(stated)) => writeln!(
                    f,
                    "  {probe} in {batch}, SG {sg:.3}: {:.1} \u{b1} {:.1} e-5 per K; its shell is stated as {:.1}",
                    1e5 * e.value,
                    1e5 * e.se,
                    1e5 * stated
                )?,
                _ => writeln!(f, "  {probe} in {batch}: {}", effect.effective_per_k.why().unwrap_or_default())?,
            }
        }
        Ok(())
    }
}
