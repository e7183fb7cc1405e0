//! Lasting shifts of a batch's probes: a dry hop, a probe moved or knocked is no fermentation.
//!
//! A shift is a step of unknown size in what one probe reads from a moment on, with a normal prior about 0. Readings that are
//! close together tell it from the fall of the gravity, which takes days; across a gap of the readings they cannot, and the
//! prior then stands in the errors.

use crate::gravity::{ErrorStep, GravitySeries};

use super::batch_fit::ProbeStep;
use super::point::{BatchPoint, PointSource};

/// Whether a point was read by a probe from an hour on.
pub(super) fn is_after(probe: usize, hours: f64, point: &BatchPoint) -> bool {
    point.source == PointSource::Probe(probe) && point.hours >= hours
}

/// The steps that a batch's points may have: those that the study of drift knows, and one of each probe at whatever was
/// done to the batch. Only where the probe read before and after, and once between any two of its points.
pub(super) fn steps(series: &GravitySeries, points: &[BatchPoint], disturbed_sd_sg: f64) -> Vec<ErrorStep> {
    let mut found: Vec<(usize, ErrorStep)> = Vec::new();
    let disturbed = series.disturbed.iter().flat_map(|of| {
        let probes = 0..series.probes.len() as u32;
        let mine = probes.filter(move |probe| of.probe.is_none_or(|one| one == *probe));
        let sd_sg = disturbed_sd_sg.max(of.jump_sg.abs());
        mine.map(move |probe| ErrorStep { probe, hours: of.hours, sd_sg })
    });
    for step in series.known.iter().flat_map(|known| known.steps.iter().copied()).chain(disturbed) {
        let mine = || points.iter().filter(|p| p.source == PointSource::Probe(step.probe as usize));
        let (after, all) = (mine().filter(|p| p.hours >= step.hours).count(), mine().count());
        if !(step.sd_sg > 0.0) || after == 0 || after == all {
            continue;
        }
        match found.iter_mut().find(|(place, other)| *place == after && other.probe == step.probe) {
            Some((_, other)) => other.sd_sg = other.sd_sg.max(step.sd_sg),
            None => found.push((after, step)),
        }
    }
    found.into_iter().map(|(_, step)| step).collect()
}

/// The points less the steps of their probes.
pub(super) fn without_steps(points: &[BatchPoint], steps: &[ProbeStep]) -> Vec<BatchPoint> {
    let mut points = points.to_vec();
    for step in steps {
        let Some(by) = step.step_sg.value() else { continue };
        let after = points.iter_mut().filter(|p| is_after(step.place, step.hours, p));
        after.for_each(|p| p.sg -= by);
    }
    points
}
