//! The estimated error of a probe while one of its calibrations was in force.

use crate::calibration::Calibrations;
use crate::units::Instant;

use crate::drift::model::ProbeModel;
use crate::drift::scale::MONTH_D;

use super::recalibration::Predictor;

/// Gravities at which corrections are worked out; between them they are interpolated.
const AT_SG: [f64; 7] = [1.0, 1.01, 1.02, 1.03, 1.05, 1.07, 1.10];
/// Most weeks of one stretch.
const MOST_WEEKS: usize = 60;

/// The estimated error of a probe while one of its calibrations was in force.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Correction {
    pub probe: String,
    pub calibration: String,
    /// Share of the expected squared error, at the gravity where the beers end, that the correction takes away.
    pub gain: f64,
    pub applied: bool,
    rows: Vec<CorrectionRow>,
    /// Standard error of the curve in force alone, by gravity.
    curve_se: Vec<f64>,
}

/// The error and its SD by gravity at one moment.
#[derive(Debug, Clone, PartialEq)]
struct CorrectionRow {
    at: Instant,
    error: Vec<(f64, f64)>,
}

impl Correction {
    /// Error, its SD, and the SE of the curve alone at a moment and a gravity.
    pub(super) fn at(&self, at: Instant, sg: f64) -> Option<(f64, f64, f64)> {
        let next = AT_SG.iter().position(|grid| *grid >= sg).unwrap_or(AT_SG.len() - 1).max(1);
        let (low, high) = (AT_SG.get(next - 1)?, AT_SG.get(next)?);
        let share = ((sg - low) / (high - low)).clamp(0.0, 1.0);
        let mix = |a: f64, b: f64, share: f64| a + share * (b - a);
        let of_row = |row: &CorrectionRow| -> Option<(f64, f64)> {
            let (a, b) = (row.error.get(next - 1)?, row.error.get(next)?);
            Some((mix(a.0, b.0, share), mix(a.1, b.1, share)))
        };
        let after = self.rows.partition_point(|row| row.at < at).min(self.rows.len().checked_sub(1)?);
        let (right, left) = (self.rows.get(after)?, self.rows.get(after.saturating_sub(1))?);
        let between = (at.days_since(left.at) / right.at.days_since(left.at).max(1e-9)).clamp(0.0, 1.0);
        let (a, b) = (of_row(left)?, of_row(right)?);
        let curve_se = mix(*self.curve_se.get(next - 1)?, *self.curve_se.get(next)?, share);
        Some((mix(a.0, b.0, between), mix(a.1, b.1, between), curve_se))
    }
}

impl Predictor<'_> {
    /// The corrections of probe `p`, one for each of its calibrations.
    pub fn corrections(&self, p: usize, part: &ProbeModel, calibrations: &Calibrations) -> Vec<Correction> {
        let of_probe: Vec<_> = calibrations.of_probe(&part.probe).collect();
        let mut found = Vec::new();
        for (i, curve) in of_probe.iter().enumerate() {
            let from = if i == 0 { part.span.0 } else { part.months_at(curve.calibrated_at) };
            let to = of_probe.get(i + 1).map_or(self.latest, |next| next.calibrated_at);
            let to = part.months_at(to).max(from + 1e-3);
            let weeks = (((to - from) * MONTH_D / 7.0).ceil() as usize).clamp(1, MOST_WEEKS);
            let mut ages: Vec<f64> = (0..=weeks).map(|w| from + (to - from) * w as f64 / weeks as f64).collect();
            let steps = part.steps.iter().filter(|step| step.months > from && step.months < to);
            ages.extend(steps.flat_map(|step| [step.months - 1e-6, step.months + 1e-6]));
            ages.sort_by(f64::total_cmp);
            let error = |sg: f64, months: f64| {
                let error = self.error(p, part, curve, sg, months)?;
                Some((error.mean(), error.sd()))
            };
            let row = |months: f64| {
                let error: Option<Vec<(f64, f64)>> = AT_SG.iter().map(|&sg| error(sg, months)).collect();
                Some(CorrectionRow { at: part.instant(months), error: error? })
            };
            let Some(rows) = ages.iter().map(|&months| row(months)).collect::<Option<Vec<_>>>() else { continue };
            let curve_se: Option<Vec<f64>> = AT_SG.iter().map(|&sg| self.curves.curve_se(curve, sg)).collect();
            let Some(curve_se) = curve_se else { continue };
            let mut one = Correction {
                probe: part.probe.clone(),
                calibration: curve.calibration.clone(),
                gain: 0.0,
                applied: false,
                rows,
                curve_se,
            };
            let middle = self.middle_sg();
            let (mut taken, mut left) = (0.0, 0.0);
            for row in &one.rows {
                if let Some((error, sd, _)) = one.at(row.at, middle) {
                    taken += error * error;
                    left += sd * sd;
                }
            }
            one.gain = taken / (taken + left).max(1e-300);
            one.applied = self.settings.correct && one.gain > self.settings.correct_gain;
            found.push(one);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_correction_lies_between_its_points() {
        let row = |days: f64, error: f64| CorrectionRow {
            at: Instant::default().plus_days(days),
            error: AT_SG.iter().map(|sg| (error + sg - 1.0, 0.0004)).collect(),
        };
        let correction = Correction {
            probe: "knot".into(),
            calibration: "knot/1".into(),
            gain: 0.9,
            applied: true,
            rows: vec![row(0.0, 0.001), row(10.0, 0.003)],
            curve_se: vec![0.0002; AT_SG.len()],
        };
        let at = |days: f64, sg: f64| correction.at(Instant::default().plus_days(days), sg).unwrap();
        assert!((at(5.0, 1.015).0 - 0.017).abs() < 1e-12);
        assert!((at(-3.0, 1.0).0 - 0.001).abs() < 1e-12 && (at(30.0, 1.2).0 - 0.103).abs() < 1e-12);
        assert!((at(2.0, 1.04).1 - 0.0004).abs() < 1e-12);
    }
}
