//! The filter of one state: what it does at each reading, with derivatives.

use super::times::same_gap;

/// What the filter does at one reading; `_by` are derivatives by the logarithm of the memory and by the white share.
#[derive(Clone, Copy, Default)]
pub(super) struct FilterStep {
    pub carry: f64,
    pub carry_by: f64,
    pub gain: f64,
    pub gain_by: [f64; 2],
    /// One over the standard deviation of an innovation.
    pub precision: f64,
    /// Its variance, and the derivatives over the variance.
    pub total: f64,
    pub relative_by: [f64; 2],
}

/// The variance of the remembering part, given the readings so far.
pub(super) struct Filter {
    memory: f64,
    white: f64,
    gap: Option<f64>,
    forgotten: f64,
    forgotten_by: f64,
    variance: f64,
    variance_by: [f64; 2],
    step: FilterStep,
    settled: bool,
}

impl Filter {
    pub fn new(memory: f64, white: f64) -> Self {
        Self {
            memory,
            white,
            gap: None,
            forgotten: 1.0,
            forgotten_by: 0.0,
            variance: 0.0,
            variance_by: [0.0; 2],
            step: FilterStep::default(),
            settled: false,
        }
    }

    /// The step of the next reading; `None` where two readings are one and not told apart.
    pub fn next<const SLOPES: bool>(&mut self, gap: Option<f64>) -> Option<&FilterStep> {
        let same = same_gap(gap, self.gap);
        if same && self.settled {
            return Some(&self.step);
        }
        if !same {
            let share = gap.map_or(f64::INFINITY, |gap| gap / self.memory);
            self.step.carry = (-share).exp();
            self.step.carry_by = if share.is_finite() { self.step.carry * share } else { 0.0 };
            self.forgotten = forgotten(self.step.carry, share);
            self.forgotten_by = -2.0 * self.step.carry * self.step.carry_by;
            self.gap = gap;
        }
        let step = &mut self.step;
        let square = step.carry * step.carry;
        let predicted = square * self.variance + (1.0 - self.white) * self.forgotten;
        let total = predicted + self.white;
        if !(total > 1e-14) {
            return None;
        }
        let still = |a: f64, b: f64| (a - b).abs() <= 4.0 * f64::EPSILON * (a.abs() + total);
        step.precision = 1.0 / total.sqrt();
        step.total = total;
        step.gain = predicted / total;
        let variance = self.white * step.gain;
        self.settled = same && still(variance, self.variance);
        let before = self.variance;
        self.variance = variance;
        if !SLOPES {
            return Some(&self.step);
        }
        let predicted_by = [
            square * self.variance_by[0] - self.forgotten_by * before + (1.0 - self.white) * self.forgotten_by,
            square * self.variance_by[1] - self.forgotten,
        ];
        let total_by = [predicted_by[0], predicted_by[1] + 1.0];
        step.gain_by = [0, 1].map(|k| (predicted_by[k] - step.gain * total_by[k]) / total);
        step.relative_by = total_by.map(|by| by / total);
        let variance_by = [self.white * step.gain_by[0], step.gain + self.white * step.gain_by[1]];
        self.settled &= still(variance_by[0], self.variance_by[0]) && still(variance_by[1], self.variance_by[1]);
        self.variance_by = variance_by;
        Some(&self.step)
    }
}

/// 1 - exp(-2 share) from exp(-share).
pub(super) fn forgotten(carry: f64, share: f64) -> f64 {
    if share > 0.1 { 1.0 - carry * carry } else { -(-2.0 * share).exp_m1() }
}
