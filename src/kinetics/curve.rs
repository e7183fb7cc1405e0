//! The curves of a fermentation, in parameters that a brewer recognises.
//!
//! Of the drop from the gravity `O` at pitching (`t = 0`, exactly) to the terminal gravity `T`, a share is left at
//! `x = t / scale`:
//!
//! `SG(t) = T + (O - T) [(1 - q) exp(-H(x)) + q exp(-r H(x))]`,
//! `H(x) = s B * integral from 0 to x of exp(b(v)) / (1 + exp(-B v) / a) dv`.
//!
//! Without a tail (`q = 0`) and the correction (`b = 0`) this is the five-parameter logistic
//! `SG = T + (O - T) [(1 + a) / (1 + a exp(B x))]^s`, whose constants follow from the demand that half of the drop is
//! gone at `x = 1`, from the steepness `p > 0` and from the asymmetry `s > 0`:
//!
//! `c = 1 - 2^(-1/s)`, `w = p / (c s)`, `B = ln 2 / s + w`, `a = c / (exp(w) - 1)`.
//!
//! `s = 1` is the four-parameter logistic used for the fermentability of wort by yeast (ASBC Methods of Analysis,
//! Yeast-14; Speers, Rogers and Smith 2003, J. Inst. Brew. 109(3), 229-235; the form from memory), `s < 1` ends slower
//! than it began, `s > 1` more abruptly. Every `p > 0` gives a falling curve; `p -> 0` is the plain exponential decline
//! of a very active yeast without lag. In the writing with asymptotes, `SG = T + D / (1 + exp(k (t - M)))^s`, the same
//! curve has `k = B / scale`, `M = -ln(a) / k` and `D = (O - T) (1 + a)^s`.
//!
//! The tail is the share `q` of the sugar that the same yeast takes up `r < 1` times as readily as the rest: what is left
//! when the main fermentation is over goes slowly. The correction `b` (see [`BENDS`]) makes the curve follow any smooth fall: it multiplies the specific rate, so that the
//! curve still starts at `O`, only falls, and ends at `T`.

use std::f64::consts::LN_2;

use super::bend::{BASIS, BENDS, CELL, CELLS};

/// Number of parameters of a [`Curve`].
pub const PARAMETERS: usize = 7 + BENDS;
/// The tail's parameter that stands for none.
pub(crate) const NO_TAIL: f64 = -1.0;
/// A tail's parameter well above this is the tail's share itself; below 0 the share goes to nothing.
const TAIL_BEND: f64 = 0.02;

/// Which of the curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveKind {
    /// Four parameters: asymmetry held at 1, no tail, no correction.
    Logistic4,
    /// Five parameters, no tail, no correction.
    Logistic5,
    /// Five parameters, a slow tail and the smooth correction of the rate.
    Smooth,
}

impl CurveKind {
    /// Its name in the tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Logistic4 => "logistic4",
            Self::Logistic5 => "logistic5",
            Self::Smooth => "smooth",
        }
    }

    /// How many parameters are free: the first of [`Curve::to_vector`].
    pub const fn free(self) -> usize {
        match self {
            Self::Logistic4 => 4,
            Self::Logistic5 => 5,
            Self::Smooth => PARAMETERS,
        }
    }
}

impl std::fmt::Display for CurveKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// A fermentation curve: see the module's text for its formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// SG at pitching.
    pub original_sg: f64,
    /// SG at rest.
    pub terminal_sg: f64,
    /// Unit of time of the curve, hours: the middle of the drop where there is no correction.
    pub scale_h: f64,
    /// Steepness `p`, without unit: how far the curve is from a plain exponential decline.
    pub steepness: f64,
    /// Asymmetry `s`, without unit.
    pub asymmetry: f64,
    /// Share `q` of the drop that goes slowly.
    pub tail_share: f64,
    /// How readily it goes, `r`, relative to the rest; under 1.
    pub tail_pace: f64,
    /// Coefficients of the correction; all zero for a logistic.
    pub bend: [f64; BENDS],
}

impl Curve {
    /// A logistic curve.
    pub fn logistic(original_sg: f64, terminal_sg: f64, scale_h: f64, steepness: f64, asymmetry: f64) -> Self {
        let (tail_share, tail_pace) = (0.0, 0.2);
        Self { original_sg, terminal_sg, scale_h, steepness, asymmetry, tail_share, tail_pace, bend: [0.0; BENDS] }
    }

    /// The curve with these parameters: SG at pitching, terminal SG, ln scale_h, ln steepness, ln asymmetry, the
    /// tail's share (as the inverse of a softplus, so that it cannot be negative), ln of its pace, correction.
    pub fn from_vector(parameters: &[f64; PARAMETERS]) -> Self {
        let [original_sg, terminal_sg, ln_scale, ln_steep, ln_asymmetry, tail, ln_tail_pace, bend @ ..] = *parameters;
        Self {
            original_sg,
            terminal_sg,
            scale_h: ln_scale.exp(),
            steepness: ln_steep.exp(),
            asymmetry: ln_asymmetry.exp(),
            tail_share: if tail <= NO_TAIL { 0.0 } else { TAIL_BEND * softplus(tail / TAIL_BEND) },
            tail_pace: ln_tail_pace.exp(),
            bend,
        }
    }

    /// The parameters in the order of [`Curve::from_vector`].
    pub fn to_vector(&self) -> [f64; PARAMETERS] {
        let tail = (TAIL_BEND * ln_exp_m1(self.tail_share / TAIL_BEND)).max(NO_TAIL);
        let first = [
            self.original_sg,
            self.terminal_sg,
            self.scale_h.ln(),
            self.steepness.ln(),
            self.asymmetry.ln(),
            tail,
            self.tail_pace.ln(),
        ];
        std::array::from_fn(|i| first.get(i).or(self.bend.get(i.wrapping_sub(first.len()))).copied().unwrap_or(0.0))
    }

    /// The drop from pitching to rest, SG.
    pub fn drop_sg(&self) -> f64 {
        self.original_sg - self.terminal_sg
    }

    /// SG at `hours` from pitching; for many times [`Curve::tabulate`] first.
    pub fn sg(&self, hours: f64) -> f64 {
        self.tabulate().sg(hours)
    }

    /// SG at `hours` and its derivatives by the parameters; for many times [`Curve::tabulate`] first.
    pub fn gradient(&self, hours: f64) -> (f64, [f64; PARAMETERS]) {
        self.tabulate().gradient(hours)
    }

    /// The curve made ready for many evaluations.
    pub fn tabulate(&self) -> Tabulated {
        Tabulated::new(self)
    }
}

/// A curve with what evaluations at many times have in common.
#[derive(Debug, Clone)]
pub struct Tabulated {
    curve: Curve,
    ln_a: f64,
    rate: f64,
    /// Derivatives of `ln a` and `B` by ln steepness and ln asymmetry.
    ln_a_by: [f64; 2],
    rate_by: [f64; 2],
    /// At the start of each cell: `H` (`left`), the softplus there, and the factor `exp(b)` of the cell.
    cells: Vec<Cell>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Cell {
    left: f64,
    soft: f64,
    sigma: f64,
    factor: f64,
    /// Derivatives of `H` by ln steepness, ln asymmetry and the coefficients of the correction.
    by: [f64; 2 + BENDS],
}

impl Tabulated {
    fn new(curve: &Curve) -> Self {
        let s = curve.asymmetry;
        let c = -(-LN_2 / s).exp_m1();
        let w = curve.steepness / (c * s);
        let (ln_a, rate) = (c.ln() - ln_exp_m1(w), LN_2 / s + w);
        // Derivatives by ln p and ln s of c, w, B and ln a.
        let ln_c_by_s = -(1.0 - c) * LN_2 / (s * c);
        let w_by = [w, w * (-ln_c_by_s - 1.0)];
        let over = 1.0 / -(-w).exp_m1();
        let rate_by = [w_by[0], w_by[1] - LN_2 / s];
        let ln_a_by = [-w_by[0] * over, ln_c_by_s - w_by[1] * over];
        let mut table = Self { curve: *curve, ln_a, rate, ln_a_by, rate_by, cells: Vec::with_capacity(CELLS) };
        let mut cell = Cell { soft: softplus(ln_a), sigma: logistic(ln_a), ..Cell::default() };
        for (j, weights) in BASIS.iter().enumerate() {
            cell.factor = weights.iter().zip(&curve.bend).map(|(w, z)| w * z).sum::<f64>().exp();
            table.cells.push(cell);
            cell = table.advance(&cell, weights, CELL * j as f64, CELL * (j + 1) as f64);
        }
        table
    }

    /// From the start of a cell at `from` to a point `x` in it, or its end.
    fn advance(&self, cell: &Cell, weights: &[f64; BENDS], from: f64, x: f64) -> Cell {
        let z = self.ln_a + self.rate * x;
        let (soft, sigma) = (softplus(z), logistic(z));
        let factor = self.curve.asymmetry * cell.factor;
        let step = factor * (soft - cell.soft);
        let by = |i: usize| {
            sigma * (self.ln_a_by[i] + x * self.rate_by[i]) - cell.sigma * (self.ln_a_by[i] + from * self.rate_by[i])
        };
        let mut next = Cell { left: cell.left + step, soft, sigma, factor: cell.factor, by: cell.by };
        next.by[0] += factor * by(0);
        next.by[1] += factor * by(1) + step;
        for (slope, weight) in next.by[2..].iter_mut().zip(weights) {
            *slope += step * weight;
        }
        next
    }

    /// The state at `hours`, with `x`.
    fn at(&self, hours: f64) -> (Cell, f64) {
        let x = hours.max(0.0) / self.curve.scale_h;
        let j = ((x / CELL) as usize).min(CELLS - 1);
        match (self.cells.get(j), BASIS.get(j)) {
            (Some(cell), Some(weights)) => (self.advance(cell, weights, CELL * j as f64, x), x),
            _ => (Cell::default(), x),
        }
    }

    /// The curve.
    pub fn curve(&self) -> &Curve {
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

    /// SG at `hours` and its derivatives by the parameters in the order of [`Curve::to_vector`].
    pub fn gradient(&self, hours: f64) -> (f64, [f64; PARAMETERS]) {
        let (state, x) = self.at(hours);
        let (left, by_h) = self.left(state.left);
        let drop = self.curve.drop_sg();
        let (q, r) = (self.curve.tail_share, self.curve.tail_pace);
        let tail = (-r * state.left).exp();
        let mut gradient = [0.0; PARAMETERS];
        gradient[0] = left;
        gradient[1] = 1.0 - left;
        gradient[2] = drop * by_h * self.curve.asymmetry * state.sigma * self.rate * state.factor * x;
        let [by_steepness, by_asymmetry, by_bend @ ..] = &state.by;
        gradient[3] = -drop * by_h * by_steepness;
        gradient[4] = -drop * by_h * by_asymmetry;
        let by_share = -(-q / TAIL_BEND).exp_m1();
        gradient[5] = drop * by_share * (tail - (-state.left).exp());
        gradient[6] = -drop * q * r * state.left * tail;
        for (slope, by) in gradient[7..].iter_mut().zip(by_bend) {
            *slope = -drop * by_h * by;
        }
        (self.curve.terminal_sg + drop * left, gradient)
    }

    /// Rate of fall at `hours`, SG per hour, positive while the gravity falls.
    pub fn fall_sg_per_h(&self, hours: f64) -> f64 {
        let (state, _) = self.at(hours);
        let specific = self.curve.asymmetry * state.sigma * self.rate * state.factor / self.curve.scale_h;
        self.curve.drop_sg() * self.left(state.left).1 * specific
    }

    /// Hours from pitching to the steepest point; 0 where the curve is steepest at pitching.
    pub fn steepest_h(&self) -> f64 {
        if self.curve.tail_share <= 0.0 && self.curve.bend.iter().all(|z| z.abs() < f64::MIN_POSITIVE) {
            // e^-H has its inflection where the logistic of ln a + B x is 1 / (1 + s).
            return (self.curve.scale_h * (-self.curve.asymmetry.ln() - self.ln_a) / self.rate).max(0.0);
        }
        let middle = |j: usize| self.curve.scale_h * CELL * (j as f64 + 0.5);
        let steepest =
            (0..CELLS).max_by(|a, b| self.fall_sg_per_h(middle(*a)).total_cmp(&self.fall_sg_per_h(middle(*b))));
        // Steepest in the first cell is steepest at pitching, as near as the cells tell.
        steepest.filter(|j| *j > 0).map_or(0.0, middle)
    }

    /// Lag: hours from pitching to where the tangent at the steepest point meets the SG at pitching.
    pub fn lag_h(&self) -> f64 {
        let steepest = self.steepest_h();
        let fall = self.fall_sg_per_h(steepest);
        if steepest <= 0.0 || fall <= 0.0 {
            return 0.0;
        }
        (steepest - (self.curve.original_sg - self.sg(steepest)) / fall).max(0.0)
    }

    /// Hours from pitching to the middle of the drop.
    pub fn mid_h(&self) -> f64 {
        self.time_of_progress_h(0.5)
    }

    /// Hours from pitching to the share `progress` of the drop, `0 <= progress < 1`.
    pub fn time_of_progress_h(&self, progress: f64) -> f64 {
        let target = self.h_of_left(1.0 - progress);
        let j = self.cells.partition_point(|cell| cell.left <= target).max(1) - 1;
        match self.cells.get(j) {
            Some(cell) => {
                let soft = cell.soft + (target - cell.left) / (self.curve.asymmetry * cell.factor);
                self.curve.scale_h * (ln_exp_m1(soft) - self.ln_a) / self.rate
            }
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

/// `ln(1 + exp(z))` without overflow.
fn softplus(z: f64) -> f64 {
    if z > 0.0 { z + (-z).exp().ln_1p() } else { z.exp().ln_1p() }
}

/// `ln(exp(z) - 1)` for `z > 0` without overflow.
fn ln_exp_m1(z: f64) -> f64 {
    if z > 30.0 { z + (-(-z).exp()).ln_1p() } else { z.exp_m1().ln() }
}

/// `1 / (1 + exp(-z))`.
fn logistic(z: f64) -> f64 {
    if z >= 0.0 { 1.0 / (1.0 + (-z).exp()) } else { z.exp() / (1.0 + z.exp()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curves() -> Vec<Curve> {
        let mut curves = Vec::new();
        for steepness in [0.02, 0.5, 1.3, 6.0] {
            for asymmetry in [0.2, 1.0, 4.0] {
                curves.push(Curve::logistic(1.052, 1.011, 38.0, steepness, asymmetry));
                let bend = std::array::from_fn(|k| 0.3 * (1.7 * k as f64).sin());
                let plain = Curve::logistic(1.052, 1.011, 38.0, steepness, asymmetry);
                curves.push(Curve { bend, ..plain });
                curves.push(Curve { bend, tail_share: 0.15, tail_pace: 0.12, ..plain });
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
            assert!((table.sg(table.mid_h()) - 1.0315).abs() < 1e-12);
            let finish = table.finish_h(0.001);
            assert!((table.sg(finish) - 1.012).abs() < 1e-12);
            if curve.bend == [0.0; BENDS] && curve.tail_share == 0.0 {
                assert!((table.mid_h() - 38.0).abs() < 1e-9);
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
                        Curve::from_vector(&vector).tabulate().sg(hours)
                    };
                    let numeric = (moved(step) - moved(-step)) / (2.0 * step);
                    assert!((analytic - numeric).abs() < 1e-8, "{curve:?} {hours} {i}: {analytic} {numeric}");
                }
            }
        }
    }

    #[test]
    fn the_lag_is_the_tangents() {
        for curve in curves() {
            let table = curve.tabulate();
            let steepest = table.steepest_h();
            assert!(table.fall_sg_per_h(steepest) >= table.fall_sg_per_h(steepest + 4.0));
            let tangent = table.sg(steepest) + (steepest - table.lag_h()) * table.fall_sg_per_h(steepest);
            assert!((tangent - 1.052).abs() < 1e-9 || steepest == 0.0 || table.lag_h() == 0.0);
        }
    }

    #[test]
    fn four_parameters_are_the_plain_logistic() {
        let curve = Curve::logistic(1.05, 1.01, 40.0, 1.2, 1.0);
        let table = curve.tabulate();
        let k = table.rate / curve.scale_h;
        let m = -table.ln_a / k;
        let d = curve.drop_sg() * (1.0 + table.ln_a.exp());
        for hours in [0.0, 13.0, 40.0, 90.0, 500.0] {
            let plain = 1.01 + d / (1.0 + (k * (hours - m)).exp());
            assert!((table.sg(hours) - plain).abs() < 1e-14);
        }
    }
}
