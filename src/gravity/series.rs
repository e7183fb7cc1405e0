//! The gravity of one batch over time: what the study of kinetics takes.

use crate::units::Instant;

use super::known::{Disturbance, KnownErrors};

/// A gravity sample of a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct SeriesSample {
    /// Hours from pitching.
    pub hours: f64,
    /// SG 20/20.
    pub sg: f64,
    /// Its standard deviation.
    pub sd: f64,
    /// Hours from pitching at which its value became known; `hours` when at once.
    pub known_hours: f64,
    /// The instrument, whose bias all its samples share.
    pub instrument: Option<String>,
}

/// One probe's part in a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct SeriesProbe {
    /// The probe.
    pub probe: String,
    /// Prior standard deviation of this probe's offset in this batch (drift since its calibration), SG; its mean is 0. It
    /// counts where other times tell nothing of the probe.
    pub offset_sd: f64,
}

/// Gravity readings of one batch in order of time, with own and shared error, and its samples.
///
/// The error of reading i is `own_i + shared_i z[probe_i] + offset[probe_i]` with one standard normal `z`
/// a probe: the error of the curve, which no number of readings averages out. Where other times tell more of the probes,
/// `known` takes the place of the last two.
#[derive(Debug, Clone, PartialEq)]
pub struct GravitySeries {
    /// The batch.
    pub batch: String,
    /// The strain.
    pub strain: String,
    /// When the yeast went in: zero of `hours`.
    pub pitched_at: Instant,
    /// The end of the batch, hours from pitching, where known.
    pub ended_hours: Option<f64>,
    /// SG at pitching as measured, with its standard deviation.
    pub original_sg: Option<(f64, f64)>,
    /// The limit of this wort as measured, with its standard deviation.
    pub limit_sg: Option<(f64, f64)>,
    /// The probes.
    pub probes: Vec<SeriesProbe>,
    /// Rows of `Readings` that the entries below come from.
    pub rows: Vec<usize>,
    /// Hours from pitching, rising.
    pub hours: Vec<f64>,
    /// SG 20/20 on the curve in force, not corrected for drift.
    pub sg: Vec<f64>,
    /// The same less the predicted drift, as the gravities show it; empty in a series that was not made from gravities.
    pub corrected_sg: Vec<f64>,
    /// Standard deviation of the own, independent error.
    pub own_sd: Vec<f64>,
    /// Standard deviation of the shared error (curve) of each reading: perfectly correlated within a probe.
    pub shared_sd: Vec<f64>,
    /// Temperature, C.
    pub temp_c: Vec<f64>,
    /// Index into `probes`.
    pub probe: Vec<u32>,
    /// The samples, in order of time.
    pub samples: Vec<SeriesSample>,
    /// Hours from pitching at which the temperature schedule, an event or the log shows the start of cooling.
    pub cooled_hours: Option<f64>,
    /// When something was done that may have moved the probes, in order of time.
    pub disturbed: Vec<Disturbance>,
    /// What is known from other times of the errors of the probes, without the samples above.
    pub known: Option<KnownErrors>,
}

impl GravitySeries {
    /// The series of a batch of which nothing is known yet.
    pub fn empty(batch: impl Into<String>, strain: impl Into<String>, pitched_at: Instant) -> Self {
        Self {
            batch: batch.into(),
            strain: strain.into(),
            pitched_at,
            ended_hours: None,
            original_sg: None,
            limit_sg: None,
            probes: Vec::new(),
            rows: Vec::new(),
            hours: Vec::new(),
            sg: Vec::new(),
            corrected_sg: Vec::new(),
            own_sd: Vec::new(),
            shared_sd: Vec::new(),
            temp_c: Vec::new(),
            probe: Vec::new(),
            samples: Vec::new(),
            cooled_hours: None,
            disturbed: Vec::new(),
            known: None,
        }
    }

    /// The series cut at a moment: readings up to it, samples whose value was known by it, cooling and end only where
    /// they had come. None when the batch was pitched later. What was computed from data of other times (a calibration,
    /// the prior of an offset) stays as it is, but for the correction, which rests on later checks and goes.
    pub fn as_of(&self, as_of: Instant) -> Option<Self> {
        let hours = as_of.hours_since(self.pitched_at);
        if hours < 0.0 {
            return None;
        }
        let n = self.hours.partition_point(|&at| at <= hours);
        let mut cut = self.clone();
        cut.rows.truncate(n);
        cut.corrected_sg.clear();
        for column in [&mut cut.hours, &mut cut.sg, &mut cut.own_sd, &mut cut.shared_sd, &mut cut.temp_c] {
            column.truncate(n);
        }
        cut.probe.truncate(n);
        cut.samples.retain(|sample| sample.hours <= hours && sample.known_hours <= hours);
        cut.disturbed.retain(|disturbance| disturbance.hours <= hours);
        cut.cooled_hours = self.cooled_hours.filter(|&at| at <= hours);
        cut.ended_hours = self.ended_hours.filter(|&at| at <= hours);
        Some(cut)
    }
}
