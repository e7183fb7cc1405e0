//! What is said of a batch before a curve is fitted, and where none can be.

use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding};
use crate::gravity::GravitySeries;

use super::batch_fit::{AtReference, BatchFit};
use super::bins::BinnedSeries;
use super::point::{BatchPoint, PointSource, median};
use super::status::Status;
use super::traits::Trait;

/// Refuses a series whose columns do not belong together or whose hours go back.
pub(super) fn check_series(series: &GravitySeries) -> Result<()> {
    let n = series.hours.len();
    let columns = [series.sg.len(), series.own_sd.len(), series.shared_sd.len(), series.probe.len(), series.rows.len()];
    let of = &series.batch;
    if columns.iter().any(|length| *length != n) {
        return Err(Error::Usage(format!("the gravity series of batch {of} has columns of different lengths")));
    }
    match series.hours.windows(2).find(|pair| pair[1] < pair[0]) {
        Some(pair) => {
            let (from, to) = (pair[0], pair[1]);
            Err(Error::Usage(format!(
                "the gravity series of batch {of} goes back in time, from hour {from:.2} to {to:.2}"
            )))
        }
        None => Ok(()),
    }
}

/// What is known of a batch without a curve.
pub(super) fn unfitted(series: &GravitySeries, binned: &BinnedSeries) -> BatchFit {
    BatchFit {
        batch: series.batch.clone(),
        strain: series.strain.clone(),
        pitched_at: series.pitched_at,
        fitted: None,
        traits: Trait::ALL.map(|_| Finding::missing("")),
        at_reference: AtReference::missing("no curve"),
        status: Status::TooFewData,
        status_probability: Finding::missing("no curve"),
        status_since_h: None,
        progress: Finding::missing("no curve"),
        n: binned.n,
        whiteness: None,
        foam_sg: Finding::missing("no curve"),
        rmse_sg: None,
        offsets: Vec::new(),
        steps: Vec::new(),
        points: binned.points.clone(),
        residuals_sg: Vec::new(),
        innovations: Vec::new(),
        flags: binned.flags.clone(),
        last_hours: binned.points.last().map_or(0.0, |p| p.hours),
        cooled_hours: series.cooled_hours,
        ended_hours: series.ended_hours,
        left_open: false,
        limit_sg: series.limit_sg,
        p_stuck: None,
        why: String::new(),
    }
}

impl BatchFit {
    /// The batch without a curve, for a reason.
    pub(super) fn without_curve(mut self, status: Status, why: String, notes: &[String]) -> Self {
        let why = notes.iter().cloned().chain([why]).collect::<Vec<_>>().join("; ");
        for finding in &mut self.traits {
            if finding.estimate().is_none() {
                *finding = Finding::missing(why.clone());
            }
        }
        self.status = status;
        self.why = why;
        self
    }
}

/// The median gravity of the first six hours.
pub(super) fn first_gravity(points: &[BatchPoint]) -> f64 {
    let first = points.first().map_or(0.0, |p| p.hours);
    let mut sg: Vec<f64> = points.iter().filter(|p| p.hours <= first + 6.0).map(|p| p.sg).collect();
    median(&mut sg)
}

/// The gravity of a batch that has not started: the mean of its sources, each with its own and its shared error.
pub(super) fn gravity_before_start(points: &[BatchPoint], series: &GravitySeries, level: f64) -> Result<Finding> {
    let (mut sum, mut weights) = (0.0, 0.0);
    let mut add = |sg: f64, variance: f64| {
        if variance > 0.0 {
            sum += sg / variance;
            weights += 1.0 / variance;
        }
    };
    for (probe, of) in series.probes.iter().enumerate() {
        let mine: Vec<&BatchPoint> = points.iter().filter(|p| p.source == PointSource::Probe(probe)).collect();
        let n = mine.len() as f64;
        if n > 0.0 {
            let mean = mine.iter().map(|p| p.sg).sum::<f64>() / n;
            let scatter = mine.iter().map(|p| (p.sg - mean).powi(2)).sum::<f64>() / n;
            let shared = mine.iter().map(|p| p.shared_sd).sum::<f64>() / n;
            let (error, variance) = match &series.known {
                Some(known) => known.at(probe as u32, mean),
                None => (0.0, of.offset_sd.powi(2) + shared * shared),
            };
            // Scatter is not divided by n: neighbours are correlated.
            add(mean - error, variance + scatter);
        }
    }
    for point in points.iter().filter(|p| matches!(p.source, PointSource::Sample(_))) {
        add(point.sg, point.own_sd.powi(2) + point.shared_sd.powi(2));
    }
    if weights <= 0.0 {
        return Ok(Finding::missing("no data"));
    }
    let method = "weighted mean of the sources, normal";
    Ok(Finding::Estimated(Estimate::normal(sum / weights, weights.sqrt().recip(), level, method)?))
}
