//! The gravity of every reading in layers: on the curve, the drift of the probe, and what is left after both.

use std::fmt;

use crate::season::Flags;

/// A reading on the curve in force, before any correction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UncorrectedGravity {
    /// Density of the liquid at its own temperature, kg/m3.
    pub density_kg_m3: f64,
    /// SG 20/20.
    pub sg: f64,
    /// Standard error of its own: the short-time noise of the probe.
    pub own_se: f64,
    /// Standard error that all readings of the probe on this curve share: curve, shell and temperature sensor.
    pub curve_se: f64,
}

/// The drift of a probe at one of its readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingDrift {
    /// What is taken from SG; 0 where the drift is not corrected.
    pub correction_sg: f64,
    /// Standard error that readings of the probe share, curve and drift together, after the correction.
    pub shared_se: f64,
}

/// A reading with all that is known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CorrectedGravity {
    /// SG 20/20 of one reading, not smoothed.
    pub sg: f64,
    /// Standard error of `sg`: own and shared part together.
    pub se: f64,
    /// The part that readings of the probe share.
    pub shared_se: f64,
}

/// By how much gas, foam or whatever held a probe moved one of its readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProcessBias {
    /// Row of `Season::readings`.
    pub row: usize,
    /// What is taken from SG.
    pub mean_sg: f64,
    /// Its standard deviation, common to readings near each other, SG.
    pub sd_sg: f64,
}

/// What studies after the calibration say of readings, by row of `Season::readings`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct GravityLayers {
    /// Of the study of drift; empty before it, and where a reading has no gravity.
    pub drift: Vec<Option<ReadingDrift>>,
    /// What moved the probe in its beer: gas and foam, and whatever held it.
    pub process: Vec<ProcessBias>,
    /// Further flags.
    pub flags: Vec<(usize, Flags)>,
}

/// The gravity of every reading, aligned row by row with `Season::readings`; none where a reading has no gravity.
///
/// The layers stand beside one another: `corrected` follows from `uncorrected` and from what later studies say, and no
/// study changes `uncorrected`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Gravity {
    /// On the curve in force.
    pub uncorrected: Vec<Option<UncorrectedGravity>>,
    /// Less the predicted drift, with all errors.
    pub corrected: Vec<Option<CorrectedGravity>>,
    /// The calibration used, an index into `calibration_ids`.
    pub calibration: Vec<Option<u32>>,
    /// Ids of the calibrations.
    pub calibration_ids: Vec<String>,
    /// The reading's own flags, those of its calibration and those of later studies.
    pub flags: Vec<Flags>,
}

impl Gravity {
    /// The same readings with the layers of later studies. `corrected` is computed from `uncorrected`: layers given before
    /// do not count twice.
    #[must_use]
    pub fn with_layers(mut self, layers: &GravityLayers) -> Self {
        let drift = layers.drift.iter().copied().chain(std::iter::repeat(None));
        self.corrected =
            self.uncorrected.iter().zip(drift).map(|(read, drift)| Some((*read)?.corrected(drift))).collect();
        for bias in &layers.process {
            if let Some(Some(read)) = self.corrected.get_mut(bias.row) {
                read.sg -= bias.mean_sg;
                read.shared_se = read.shared_se.hypot(bias.sd_sg);
                read.se = read.se.hypot(bias.sd_sg);
            }
        }
        for &(row, flag) in &layers.flags {
            if let Some(flags) = self.flags.get_mut(row) {
                flags.insert(flag);
            }
        }
        self
    }
}

impl UncorrectedGravity {
    fn corrected(self, drift: Option<ReadingDrift>) -> CorrectedGravity {
        let drift = drift.unwrap_or(ReadingDrift { correction_sg: 0.0, shared_se: self.curve_se });
        CorrectedGravity {
            sg: self.sg - drift.correction_sg,
            se: self.own_se.hypot(drift.shared_se),
            shared_se: drift.shared_se,
        }
    }
}

impl fmt::Display for Gravity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (with, all) = (self.corrected.iter().flatten().count(), self.corrected.len());
        writeln!(f, "gravity of {with} of {all} readings on {} calibrations", self.calibration_ids.len())?;
        for (flag, name) in Flags::ALL {
            let n = self.flags.iter().filter(|flags| flags.intersects(*flag)).count();
            if n > 0 {
                writeln!(f, "  {n:8} {name}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn layers_do_not_add_up_when_given_again() {
        let read = UncorrectedGravity { density_kg_m3: 1010.0, sg: 1.012, own_se: 0.003, curve_se: 0.0004 };
        let gravity =
            Gravity { uncorrected: vec![Some(read), None], flags: vec![Flags::NONE; 2], ..Gravity::default() };
        let drift = ReadingDrift { correction_sg: -0.001, shared_se: 0.004 };
        let layers = GravityLayers {
            drift: vec![Some(drift), None],
            process: vec![ProcessBias { row: 0, mean_sg: 0.001, sd_sg: 0.012 }],
            flags: vec![(1, Flags::OUTLIER)],
        };
        let once = gravity.with_layers(&layers);
        let read = once.corrected[0].unwrap();
        assert!((read.sg - 1.012).abs() < 1e-12 && (read.se - 0.013).abs() < 1e-12, "{read:?}");
        assert!(once.corrected[1].is_none() && once.flags[1].intersects(Flags::OUTLIER));
        assert_eq!(once.clone().with_layers(&layers), once);
    }
}
