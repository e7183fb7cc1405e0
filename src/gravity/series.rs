//! The gravity of one batch over time: what the study of kinetics takes.

use crate::fit::robust::median;
use crate::units::Instant;

use super::episodes::{Edge, Episodes, GAP_H, episodes};
use super::known::{Disturbance, KnownErrors};
use super::layers::Gravity;
use super::rises::rises;

assumed! {
    /// A probe that something moved by less goes on as it is.
    const LEAST_EDGE_SG: f64 = 0.002, "SG";
    /// What a probe reads below this in a batch is no gravity: beer and wine end above 0.985, and no probe in use is off by so much.
    const NO_GRAVITY_SG: f64 = 0.975, "SG";
}

/// A step of a coarse sensor is smaller than so many SDs of a reading that it leaves.
const STEP_SDS: f64 = 4.0;

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

/// A reading of a probe that did not float freely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldReading {
    /// Row of `Readings`.
    pub row: usize,
    /// Hours from pitching.
    pub hours: f64,
    /// SG on the curve in force.
    pub sg: f64,
    /// Index into the probes of the series.
    pub probe: u32,
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
#[derive(Debug, Clone, Default, PartialEq)]
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
    /// When sugar was added, hours from pitching.
    pub sugar_hours: Vec<f64>,
    /// Readings left out because something held, loaded or lifted their probe for hours.
    pub held: Vec<HeldReading>,
    /// Samples left out because the rest of the season contradicts them.
    pub doubted: Vec<SeriesSample>,
    /// What is known from other times of the errors of the probes, without the samples above.
    pub known: Option<KnownErrors>,
}

impl GravitySeries {
    /// The series of a batch of which nothing is known yet.
    pub fn empty(batch: impl Into<String>, strain: impl Into<String>, pitched_at: Instant) -> Self {
        Self { batch: batch.into(), strain: strain.into(), pitched_at, ..Self::default() }
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
        cut.probe.truncate(n);
        cut.columns().into_iter().for_each(|column| column.truncate(n));
        cut.corrected_sg.clear();
        for samples in [&mut cut.samples, &mut cut.doubted] {
            samples.retain(|sample| sample.hours <= hours && sample.known_hours <= hours);
        }
        cut.disturbed.retain(|disturbance| disturbance.hours <= hours);
        cut.sugar_hours.retain(|sugared| *sugared <= hours);
        cut.cooled_hours = self.cooled_hours.filter(|&at| at <= hours);
        cut.ended_hours = self.ended_hours.filter(|&at| at <= hours);
        Some(cut)
    }

    /// The same with the corrected gravities as all layers leave them, so that pictures show what the table says.
    pub fn with_gravity(mut self, gravity: &Gravity) -> Self {
        for (sg, row) in self.corrected_sg.iter_mut().zip(&self.rows) {
            *sg = gravity.corrected.get(*row).copied().flatten().map_or(*sg, |read| read.sg);
        }
        self
    }

    /// Hours from pitching between which a probe was held, each time from the first reading to the last.
    pub fn held_spans(&self) -> Vec<(f64, f64)> {
        let mut spans: Vec<(f64, f64)> = Vec::new();
        let mut held: Vec<f64> = self.held.iter().map(|held| held.hours).collect();
        held.sort_by(f64::total_cmp);
        for hours in held {
            match spans.last_mut() {
                Some(span) if hours - span.1 < *GAP_H => span.1 = hours,
                _ => spans.push((hours, hours)),
            }
        }
        spans
    }

    /// The jumps that probes were seen to make, each with its probe, its hour and the rows of that probe since then.
    pub(crate) fn jumps(&self) -> impl Iterator<Item = (u32, f64, impl Iterator<Item = usize>)> {
        let seen = self.disturbed.iter().filter(|of| of.jump_sg != 0.0);
        seen.filter_map(|of| {
            let (probe, from) = (of.probe?, of.hours);
            let readings = self.rows.iter().zip(&self.probe).zip(&self.hours);
            let since = readings.filter(move |((_, of), hours)| **of == probe && **hours >= from);
            Some((probe, from, since.map(|((row, _), _)| *row)))
        })
    }

    /// The series without the readings of episodes and those that no beer has, which `held` names instead. A probe that mostly reads
    /// what no beer has is on a wrong curve.
    pub(super) fn without_episodes(mut self) -> Self {
        for probe in 0..self.probes.len() as u32 {
            let of_probe = self.probe.iter().enumerate().filter(|(_, of)| **of == probe);
            let own: Vec<usize> = of_probe.map(|(i, _)| i).collect();
            let column = |from: &[f64]| -> Vec<f64> { own.iter().filter_map(|i| from.get(*i).copied()).collect() };
            let (hours, sg, sd) = (column(&self.hours), column(&self.sg), column(&self.own_sd));
            let held = |i: usize| {
                Some(HeldReading { row: *self.rows.get(*own.get(i)?)?, hours: *hours.get(i)?, sg: *sg.get(i)?, probe })
            };
            let no_beer = |i: &usize| sg.get(*i).is_some_and(|sg| *sg < *NO_GRAVITY_SG);
            let is_right = 2 * (0..sg.len()).filter(no_beer).count() < sg.len();
            let no_beer = (0..sg.len()).filter(|i| is_right && no_beer(i));
            let is_mine = |told: &&Disturbance| told.jump_sg == 0.0 && told.probe.is_none_or(|of| of == probe);
            let told: Vec<f64> = self.disturbed.iter().filter(is_mine).map(|told| told.hours).collect();
            let Episodes { held: mut spans, lasting } =
                episodes(&hours, &sg, &sd, *LEAST_EDGE_SG, &self.sugar_hours, &told);
            let is_warm_until = self.cooled_hours.unwrap_or(f64::INFINITY);
            let jump =
                |edge: &Edge| Some(Disturbance { hours: *hours.get(edge.at)?, probe: Some(probe), jump_sg: edge.size });
            self.disturbed.extend(lasting.iter().filter_map(jump).filter(|jump| jump.hours < is_warm_until));
            let is_warm = |_: f64, to: f64| to < is_warm_until;
            let least = LEAST_EDGE_SG.max(STEP_SDS * median(&sd).unwrap_or(0.0));
            spans.extend(rises(&hours, &sg, least, &spans, &self.sugar_hours, is_warm));
            self.held.extend(spans.into_iter().flatten().chain(no_beer).filter_map(held));
        }
        self.disturbed.sort_by(|a, b| a.hours.total_cmp(&b.hours));
        self.held.sort_by_key(|held| held.row);
        self.held.dedup_by_key(|held| held.row);
        let kept: Vec<bool> =
            self.rows.iter().map(|row| self.held.binary_search_by_key(row, |held| held.row).is_err()).collect();
        keep(&mut self.rows, &kept);
        keep(&mut self.probe, &kept);
        self.columns().into_iter().for_each(|column| keep(column, &kept));
        self
    }

    /// The numbers of its readings, column by column.
    fn columns(&mut self) -> [&mut Vec<f64>; 6] {
        [&mut self.hours, &mut self.sg, &mut self.corrected_sg, &mut self.own_sd, &mut self.shared_sd, &mut self.temp_c]
    }
}

fn keep<T>(column: &mut Vec<T>, kept: &[bool]) {
    let mut kept = kept.iter();
    column.retain(|_| kept.next().is_none_or(|kept| *kept));
}

#[cfg(test)]
#[path = "../../tests/inside/series.rs"]
mod tests;
