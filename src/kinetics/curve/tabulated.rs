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
#[path = "../../../tests/inside/tabulated_curve.rs"]
mod tests;
