//! Control charts of each probe.

use nalgebra::{Cholesky, DMatrix};

use crate::fit::control::{ChartSettings, Cusum, Ewma, Side};
use crate::units::Instant;

use super::average::Averaged;
use super::model::Variances;
use super::part::{MONTH_D, Part};

/// A probe's errors in units of their standard deviation, with both charts.
///
/// Each error is what its reference showed less what the earlier ones let expect of a probe that has not changed since its
/// first calibration, over the SD of that: curve, own noise, reference, instrument and the spread of pairs are in it, drift is
/// not. Known events are (their size is not known, so the first references after one hardly count), shifts that were found are
/// not, as the charts are to show them; pairs that only tell the probe from another have no part. Without a change they are
/// independent with variance 1.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlChart {
    /// The probe.
    pub probe: String,
    /// Moments.
    pub at: Vec<Instant>,
    /// Standardised errors.
    pub errors: Vec<f64>,
    /// Exponentially weighted means.
    pub ewma: Ewma,
    /// Cumulative sums.
    pub cusum: Cusum,
}

/// A moment at which a chart left its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftSignal {
    /// The probe.
    pub probe: String,
    /// `ewma` or `cusum`.
    pub chart: &'static str,
    /// When.
    pub at: Instant,
    /// True when the probe reads too high.
    pub high: bool,
    /// The statistic, in standard deviations.
    pub statistic: f64,
    /// The limit it passed.
    pub limit: f64,
    /// When the change began, by the chart of sums.
    pub began: Option<Instant>,
}

/// The charts of all probes of the model; a probe whose pairs make none is left out.
pub(super) fn charts(averaged: &Averaged, settings: &ChartSettings) -> Vec<ControlChart> {
    let variances = Variances { walk_sd: 0.0, pair_sd: averaged.variance_sd(|v| v.pair_sd).0 };
    let prior = &averaged.model.prior_sd;
    averaged.model.probes.iter().filter_map(|part| chart(part, variances, prior, settings)).collect()
}

fn chart(part: &Part, variances: Variances, prior: &[Option<f64>], settings: &ChartSettings) -> Option<ControlChart> {
    let part = &without_found_steps(&told_alone(part));
    let block = part.block(variances);
    let mut covariance: DMatrix<f64> = block.covariance;
    for (column, effect) in part.touching.columns.column_iter().zip(&part.touching.effects) {
        // The slope is what the chart is to show.
        if let Some(sd) = prior.get(*effect).copied().flatten() {
            covariance += column * column.transpose() * (sd * sd);
        }
    }
    let root = Cholesky::new(covariance)?;
    let mut errors = part.y.clone();
    root.l_dirty().solve_lower_triangular_mut(&mut errors);
    let errors: Vec<f64> = errors.iter().copied().collect();
    let times_d: Vec<f64> = part.rows.iter().map(|row| row.months * MONTH_D).collect();
    let at = part.rows.iter().map(|row| part.instant(row.months)).collect();
    let (ewma, cusum) = (settings.ewma(&times_d, &errors).ok()?, settings.cusum(&times_d, &errors).ok()?);
    Some(ControlChart { probe: part.probe.clone(), at, errors, ewma, cusum })
}

/// The part without the pairs that tell it from another probe only.
fn told_alone(part: &Part) -> Part {
    let columns = part.touching.columns.column_iter().zip(&part.touching.effects);
    let unknown: Vec<_> =
        columns.filter(|(_, effect)| part.touching.unknown.contains(effect)).map(|(c, _)| c).collect();
    part.only(|row| unknown.iter().all(|column| column.get(row).is_none_or(|by| *by == 0.0)))
}

/// The part as it was before shifts were found in it.
fn without_found_steps(part: &Part) -> Part {
    let mut part = part.clone();
    let (known, found): (Vec<_>, Vec<_>) = part.steps.drain(..).partition(|step| step.event.is_some());
    for step in &found {
        part.y += part.column_of(step) * step.mean;
    }
    part.steps = known;
    part
}

impl ControlChart {
    /// The dated signals: each time the weighted mean leaves its limits, and the first of each sum.
    pub fn signals(&self) -> Vec<DriftSignal> {
        let at = |row: usize| self.at.get(row).copied();
        let mut found = Vec::new();
        let mut last = None;
        for &row in &self.ewma.signals {
            if last.is_none_or(|last: usize| row > last + 1) {
                let (statistic, limit) = (self.ewma.statistic.get(row), self.ewma.limit.get(row));
                if let (Some(at), Some(&statistic), Some(&limit)) = (at(row), statistic, limit) {
                    let probe = self.probe.clone();
                    let high = statistic > 0.0;
                    found.push(DriftSignal { probe, chart: "ewma", at, high, statistic, limit, began: None });
                }
            }
            last = Some(row);
        }
        for signal in &self.cusum.signals {
            let high = signal.side == Side::Up;
            let sums = if high { &self.cusum.up } else { &self.cusum.down };
            if let (Some(when), Some(&statistic)) = (at(signal.at), sums.get(signal.at)) {
                let (probe, limit, began) = (self.probe.clone(), self.cusum.limit, at(signal.began));
                found.push(DriftSignal { probe, chart: "cusum", at: when, high, statistic, limit, began });
            }
        }
        found.sort_by_key(|signal| signal.at);
        found
    }
}

#[cfg(test)]
mod tests {
    use super::super::changed::tests::{part, step};
    use super::*;

    #[test]
    fn a_shift_that_was_found_stays_in_sight() {
        let bare = part(Vec::new());
        let mut found = step(&bare, 3.3, 0.004);
        found.mean = 0.003;
        let mut known = step(&bare, 1.5, 0.004);
        known.event = Some("knocked".to_owned());
        let mut shifted = part(vec![known.clone(), found.clone()]);
        shifted.y -= shifted.column_of(&found) * found.mean;
        let seen = without_found_steps(&shifted);
        assert_eq!(seen.steps, [known]);
        assert!((&seen.y - &bare.y).amax() < 1e-15);

        let variances = Variances { walk_sd: 0.0, pair_sd: 0.0006 };
        let signals = |part: &Part| chart(part, variances, &[None], &ChartSettings::default()).unwrap().signals().len();
        assert!(signals(&part(vec![found])) > 0);
    }
}
