//! A curve made ready for evaluation at many times.

use super::gravity_curve::{GravityCurve, TAIL_SCALE};
use super::plain_form::{Hazard, PlainForm};
use super::smooth_correction::{BASIS, CELL, CELLS, N_BASIS, PARAMETERS};

impl GravityCurve {
    /// The curve made ready for many evaluations.
    pub fn tabulate(&self) -> Tabulated {
        Tabulated::new(self)
    }
}

/// A curve with what evaluations at many times have in common.
#[derive(Debug, Clone)]
pub(crate) struct Tabulated {
    curve: GravityCurve,
    plain: PlainForm,
    /// The state at the start of each cell of the correction.
    cells: Vec<CorrectionCell>,
}

#[derive(Debug, Clone, Copy, Default)]
struct CorrectionCell {
    /// `H`.
    left: f64,
    /// The plain form's.
    plain: Hazard,
    /// `exp(b)` of the cell.
    factor: f64,
    /// Derivatives of `H` by ln steepness, ln asymmetry and the coefficients of the correction.
    by: [f64; 2 + N_BASIS],
}

impl Tabulated {
    fn new(curve: &GravityCurve) -> Self {
        let plain = curve.kind.plain_form(curve.steepness, curve.asymmetry);
        let mut table = Self { curve: *curve, plain, cells: Vec::with_capacity(CELLS) };
        let mut cell = CorrectionCell { plain: table.plain.at(0.0), ..CorrectionCell::default() };
        for (j, weights) in BASIS.iter().enumerate() {
            cell.factor = weights.iter().zip(&curve.correction).map(|(w, z)| w * z).sum::<f64>().exp();
            table.cells.push(cell);
            cell = table.advance(&cell, weights, CELL * (j + 1) as f64);
        }
        table
    }

    /// From the start of a cell to a point `x` in it, or its end.
    fn advance(&self, cell: &CorrectionCell, weights: &[f64; N_BASIS], x: f64) -> CorrectionCell {
        let plain = self.plain.at(x);
        let step = cell.factor * (plain.h - cell.plain.h);
        let mut next = CorrectionCell { left: cell.left + step, plain, factor: cell.factor, by: cell.by };
        for (slope, (here, start)) in next.by.iter_mut().zip(plain.by.iter().zip(&cell.plain.by)) {
            *slope += cell.factor * (here - start);
        }
        for (slope, weight) in next.by[2..].iter_mut().zip(weights) {
            *slope += step * weight;
        }
        next
    }

    /// The state at `hours`, with `x`.
    fn at(&self, hours: f64) -> (CorrectionCell, f64) {
        let x = hours.max(0.0) / self.curve.scale_h;
        let j = ((x / CELL) as usize).min(self.cells.len().saturating_sub(1));
        match (self.cells.get(j), BASIS.get(j)) {
            (Some(cell), Some(weights)) => (self.advance(cell, weights, x), x),
            _ => (CorrectionCell::default(), x),
        }
    }

    /// The curve.
    pub fn curve(&self) -> &GravityCurve {
        &self.curve
    }

    /// Share of the drop left at `H`, and minus its derivative.
    fn left(&self, h: f64) -> (f64, f64) {
        let (q, r) = (self.curve.tail_share, self.curve.tail_pace);
        let (main, tail) = ((1.0 - q) * (-h).exp(), q * (-r * h).exp());
        (main + tail, main + r * tail)
    }

    /// `H` at which the share `left` of the drop is left: Newton's iteration on its logarithm, which is convex, from below.
    fn h_of_left(&self, left: f64) -> f64 {
        let target = left.ln();
        let mut h = -target;
        if self.curve.tail_share <= 0.0 {
            return h;
        }
        for _ in 0..60 {
            let (here, slope) = self.left(h);
            let step = (here.ln() - target) * here / slope;
            h += step;
            if step.abs() <= 1e-13 * h {
                break;
            }
        }
        h
    }

    /// SG at `hours` from pitching; the SG at pitching before it.
    pub fn sg(&self, hours: f64) -> f64 {
        self.curve.terminal_sg + self.curve.drop_sg() * self.left(self.at(hours).0.left).0
    }

    /// Share of the drop that is done at `hours`: 0 at pitching, towards 1.
    pub fn progress(&self, hours: f64) -> f64 {
        1.0 - self.left(self.at(hours).0.left).0
    }

    /// SG at `hours` and its derivatives by the parameters in the order of [`GravityCurve::to_vector`].
    pub fn gradient(&self, hours: f64) -> (f64, [f64; PARAMETERS]) {
        let (state, x) = self.at(hours);
        let (left, by_h) = self.left(state.left);
        let drop = self.curve.drop_sg();
        let (q, r) = (self.curve.tail_share, self.curve.tail_pace);
        let tail = (-r * state.left).exp();
        let mut gradient = [0.0; PARAMETERS];
        gradient[0] = left;
        gradient[1] = 1.0 - left;
        gradient[2] = drop * by_h * state.plain.slope * state.factor * x;
        let [by_steepness, by_asymmetry, by_correction @ ..] = &state.by;
        gradient[3] = -drop * by_h * by_steepness;
        gradient[4] = -drop * by_h * by_asymmetry;
        let by_share = -(-q / TAIL_SCALE).exp_m1();
        gradient[5] = drop * by_share * (tail - (-state.left).exp());
        gradient[6] = -drop * q * r * state.left * tail;
        for (slope, by) in gradient[7..].iter_mut().zip(by_correction) {
            *slope = -drop * by_h * by;
        }
        (self.curve.terminal_sg + drop * left, gradient)
    }

    /// Rate of fall at `hours`, SG per hour, positive while the gravity falls.
    pub fn fall_sg_per_h(&self, hours: f64) -> f64 {
        let (state, _) = self.at(hours);
        let specific = state.plain.slope * state.factor / self.curve.scale_h;
        self.curve.drop_sg() * self.left(state.left).1 * specific
    }

    /// Hours from pitching to the steepest point; 0 where the curve is steepest at pitching.
    pub fn steepest_h(&self) -> f64 {
        let plain = self.curve.tail_share <= 0.0 && self.curve.correction.iter().all(|z| z.abs() < f64::MIN_POSITIVE);
        if let Some(x) = self.plain.steepest().filter(|_| plain) {
            return self.curve.scale_h * x;
        }
        let middle = |j: usize| self.curve.scale_h * CELL * (j as f64 + 0.5);
        let steepest =
            (0..CELLS).max_by(|a, b| self.fall_sg_per_h(middle(*a)).total_cmp(&self.fall_sg_per_h(middle(*b))));
        // Steepest in the first cell is steepest at pitching, as near as the cells tell.
        steepest.filter(|j| *j > 0).map_or(0.0, middle)
    }

    /// Hours from pitching to the share `progress` of the drop, `0 <= progress < 1`.
    pub fn time_of_progress_h(&self, progress: f64) -> f64 {
        let target = self.h_of_left(1.0 - progress);
        let j = self.cells.partition_point(|cell| cell.left <= target).max(1) - 1;
        match self.cells.get(j) {
            Some(cell) => self.curve.scale_h * self.plain.inverse(cell.plain.h + (target - cell.left) / cell.factor),
            None => 0.0,
        }
    }

    /// Finish time, hours from pitching: where the curve comes within `tolerance_sg` of its terminal gravity. The
    /// curve only falls, so it stays there; 0 for a curve that starts there.
    pub fn finish_h(&self, tolerance_sg: f64) -> f64 {
        let left = tolerance_sg / self.curve.drop_sg();
        if left > 0.0 && left < 1.0 { self.time_of_progress_h(1.0 - left) } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kinetics::FermentationCurve;

    fn logistic(original: f64, terminal: f64, scale_h: f64, steepness: f64, asymmetry: f64) -> GravityCurve {
        GravityCurve::plain(FermentationCurve::Logistic5, original, terminal, scale_h, steepness, asymmetry)
    }

    fn curves() -> Vec<GravityCurve> {
        let mut curves = Vec::new();
        for steepness in [0.02, 0.5, 1.3, 6.0] {
            for asymmetry in [0.2, 1.0, 4.0] {
                curves.push(logistic(1.052, 1.011, 38.0, steepness, asymmetry));
                let correction = std::array::from_fn(|k| 0.3 * (1.7 * k as f64).sin());
                let plain = logistic(1.052, 1.011, 38.0, steepness, asymmetry);
                curves.push(GravityCurve { correction, ..plain });
                curves.push(GravityCurve { correction, tail_share: 0.15, tail_pace: 0.12, ..plain });
                curves.push(GravityCurve::plain(FermentationCurve::Gompertz, 1.052, 1.011, 38.0, steepness, asymmetry));
            }
        }
        curves
    }

    #[test]
    fn the_parameters_are_what_they_say() {
        for curve in curves() {
            let table = curve.tabulate();
            assert!((table.sg(0.0) - 1.052).abs() < 1e-14);
            assert!((table.sg(1e4) - 1.011).abs() < 1e-5);
            assert!((table.sg(table.time_of_progress_h(0.5)) - 1.0315).abs() < 1e-12);
            let finish = table.finish_h(0.001);
            assert!((table.sg(finish) - 1.012).abs() < 1e-12);
            if curve.correction == [0.0; N_BASIS] && curve.tail_share == 0.0 {
                assert!((table.time_of_progress_h(0.5) - 38.0).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn the_gradient_agrees_with_differences() {
        for curve in curves() {
            for hours in [0.0, 0.5, 10.1, 38.7, 60.1, 300.0] {
                let (value, gradient) = curve.tabulate().gradient(hours);
                assert!((value - curve.tabulate().sg(hours)).abs() < 1e-15);
                for (i, &analytic) in gradient.iter().enumerate() {
                    let step = 1e-6;
                    let moved = |by: f64| {
                        let mut vector = curve.to_vector();
                        vector[i] += by;
                        GravityCurve::from_vector(curve.kind, &vector).tabulate().sg(hours)
                    };
                    let numeric = (moved(step) - moved(-step)) / (2.0 * step);
                    assert!((analytic - numeric).abs() < 1e-8, "{curve:?} {hours} {i}: {analytic} {numeric}");
                }
            }
        }
    }

    #[test]
    fn four_parameters_are_the_plain_logistic() {
        let curve = logistic(1.05, 1.01, 40.0, 1.2, 1.0);
        let table = curve.tabulate();
        // The formulas of the module's text with s = 1: c = 1/2, w = 2 p, B = ln 2 + w, a = 1 / (2 (exp(w) - 1)).
        let k = (std::f64::consts::LN_2 + 2.4) / 40.0;
        let a = 0.5 / 2.4_f64.exp_m1();
        let m = -a.ln() / k;
        let d = curve.drop_sg() * (1.0 + a);
        for hours in [0.0, 13.0, 40.0, 90.0, 500.0] {
            let plain = 1.01 + d / (1.0 + (k * (hours - m)).exp());
            assert!((table.sg(hours) - plain).abs() < 1e-14);
        }
    }

    #[test]
    fn the_gompertz_form_is_the_modified_one_from_pitching_on() {
        let curve = GravityCurve::plain(FermentationCurve::Gompertz, 1.05, 1.01, 40.0, 1.5, 1.0);
        let table = curve.tabulate();
        // Zwietering's writing: exp(-exp(e R (lag - t) + 1)) of what is left at pitching without its start.
        let c = 6.0_f64;
        let k = (c / -(0.5 * (1.0 + (-c).exp())).ln()).ln() / 40.0;
        let rate = k / std::f64::consts::E;
        let lag = (c.ln() - 1.0) / k;
        let rise = |t: f64| (-((std::f64::consts::E * rate * (lag - t) + 1.0).exp())).exp();
        for hours in [0.0, 5.0, 40.0, 90.0] {
            let left = (1.0 - rise(hours)) / (1.0 - rise(0.0));
            assert!((table.sg(hours) - (1.01 + 0.04 * left)).abs() < 1e-14);
        }
        assert!((table.steepest_h() - c.ln() / k).abs() < 1e-9);
    }
}
