//! The bias that gas and foam put into each reading of a season.

use std::collections::HashSet;

use crate::gravity::{GravitySeries, HeldReading, ProcessBias};
use crate::season::Flags;

use super::batch_fit::{BatchFit, Kinetics, ProbeStep};
use super::point::{BatchPoint, PointSource};
use super::probe_bias::{DELAY, FOAM, memory};
use super::timed::Timed;

assumed! {
    /// What moved a reading off the curve is known to this share of it: the curve itself may follow a little.
    const MOVED_SHARE: f64 = 0.2, "share";
}

impl BatchFit {
    /// How far readings of a series are off its curve by what held a probe, and how far its outliers are, beyond the bias that they
    /// `would` have floating freely. The curve is read as the probe shows it: less what the fit leaves of the probe's nearest point.
    fn moved(&self, series: &GravitySeries, curve: &Timed<'_>, would: &[ProcessBias]) -> Vec<ProcessBias> {
        let outliers: HashSet<usize> =
            self.flags.iter().filter(|(_, flag)| flag.intersects(Flags::OUTLIER)).map(|(row, _)| *row).collect();
        let points: Vec<_> = self.points.iter().zip(&self.residuals_sg).collect();
        let off = |reading: HeldReading| {
            let of_probe = |point: &BatchPoint| point.source == PointSource::Probe(reading.probe as usize);
            let away = |point: &BatchPoint| (point.hours - reading.hours).abs();
            let (point, residual) =
                points.iter().filter(|(p, _)| of_probe(p)).min_by(|(a, _), (b, _)| away(a).total_cmp(&away(b)))?;
            let off_sg = reading.sg - (point.sg - *residual + curve.sg(reading.hours) - curve.sg(point.hours));
            Some(ProcessBias { row: reading.row, mean_sg: off_sg, sd_sg: *MOVED_SHARE * off_sg.abs() })
        };
        let held = |reading: &HeldReading| {
            let next = series.hours.partition_point(|hours| *hours < reading.hours);
            let free_sg = would.get(next).or(would.last()).map_or(0.0, |bias| bias.mean_sg);
            off(*reading).map(|bias| ProcessBias { mean_sg: bias.mean_sg + free_sg, ..bias })
        };
        let readings = series.rows.iter().zip(&series.probe).zip(series.hours.iter().zip(&series.sg));
        let readings = readings.map(|((&row, &probe), (&hours, &sg))| HeldReading { row, hours, sg, probe });
        let outliers = readings.filter(|reading| outliers.contains(&reading.row)).filter_map(off);
        outliers.chain(series.held.iter().filter_map(held)).collect()
    }
}

impl BatchFit {
    /// How far readings are off since their probe was seen to jump.
    fn jumped(&self, series: &GravitySeries) -> Vec<ProcessBias> {
        let off = series.jumps().filter_map(|(probe, hours, rows)| {
            let is_its = |step: &&ProbeStep| step.place as u32 == probe && (step.hours - hours).abs() < 1e-9;
            let step_sg = &self.steps.iter().find(is_its)?.step_sg;
            let (mean_sg, sd_sg) = (step_sg.value()?, step_sg.se()?);
            Some(rows.map(move |row| ProcessBias { row, mean_sg, sd_sg }))
        });
        off.flatten().collect()
    }
}

impl Kinetics {
    /// The bias of each reading of these batches, in the order of their `series`, by gas and foam: the fitted delay by gas times the rate of fall, and the fitted bias by
    /// foam times the memory of the relative rate, with the SD that their covariance gives. Readings of batches without a curve
    /// have none. A reading of a probe that was held, and one that the fit calls an outlier, is off the curve.
    pub fn process_bias(&self, series: &[GravitySeries]) -> Vec<ProcessBias> {
        let mut found = Vec::new();
        for (fit, series) in self.batches.iter().zip(series) {
            let Some(fitted) = &fit.fitted else { continue };
            let curve = fitted.timed();
            let greatest = curve.fall_sg_per_h(curve.steepest_h()).max(1e-9);
            let falls: Vec<f64> = series.hours.iter().map(|&hours| curve.fall_sg_per_h(hours).max(0.0)).collect();
            let foam = memory(series.hours.iter().copied().zip(falls.iter().map(|fall| fall / greatest)));
            let ([delay_h, foam_sg], covariance) = (fitted.bias, &fitted.covariance);
            let of = |((row, fall), foam): ((&usize, &f64), f64)| {
                let variance = covariance[DELAY][DELAY] * fall * fall
                    + 2.0 * covariance[DELAY][FOAM] * fall * foam
                    + covariance[FOAM][FOAM] * foam * foam;
                ProcessBias { row: *row, mean_sg: delay_h * fall + foam_sg * foam, sd_sg: variance.max(0.0).sqrt() }
            };
            let free: Vec<ProcessBias> = series.rows.iter().zip(&falls).zip(foam).map(of).collect();
            found.extend(fit.moved(series, &curve, &free));
            found.extend(free);
            found.extend(fit.jumped(series));
        }
        found
    }

    /// The flags of readings by their batch's curve and by what held or moved their probe.
    pub fn reading_flags(&self, series: &[GravitySeries]) -> Vec<(usize, Flags)> {
        let held = series.iter().flat_map(|series| &series.held).map(|held| (held.row, Flags::DISTURBED));
        let moved = series.iter().flat_map(GravitySeries::jumps).flat_map(|(.., rows)| rows);
        let moved = moved.map(|row| (row, Flags::DISTURBED));
        self.batches.iter().flat_map(|fit| fit.flags.iter().copied()).chain(held).chain(moved).collect()
    }
}
