//! A mechanistic curve: yeast grows on the sugar and the alcohol it makes slows it down.
//!
//! Monod growth with exponential inhibition by the product (Aiba, Shoda and Nagatani 1968, Biotechnol. Bioeng. 10, 845)
//! and uptake in proportion to the yeast, a model often used for beer (for example Parcunev, Naydenova, Kostov and
//! others, ECMS 2012; both from memory). In shares of the sugar, with `u` the sugar left, `y` the yeast in units of what
//! the sugar lets grow, alcohol `1 - u` and time in units of the uptake:
//!
//! `u' = -y exp(-K (1 - u)) u / (M + u)`, `y' = -u'`, `u(0) = 1`, `y(0) = 1 / (3 p)`.
//!
//! The steepness `p` says how little yeast was pitched against what grows, the asymmetry `s` how little alcohol hurts:
//! `K = 1 / s`. `M` is held at 0.05 of the sugar (the order of magnitude of published half-saturations of maltose, from
//! memory). The solution is brought to the scale on which half is gone at `x = 1`.

use std::f64::consts::LN_2;
use std::sync::Arc;

use crate::fit::ode::OdeSettings;

use super::plain_form::{Hazard, PlainForm, ShareLeft};

/// Half-saturation over the sugar at pitching.
const HALF_SATURATION: f64 = 0.05;
/// Steps of the table over the scale.
const STEP: f64 = 0.05;
/// Rows of the table; beyond the last the specific rate is constant.
const ROWS: usize = 101;
const ODE: OdeSettings = OdeSettings { relative: 1e-8, absolute: 1e-10, max_steps: 20_000 };

/// `h` and its derivatives on a grid.
#[derive(Debug, Clone)]
struct Inhibited {
    rows: Vec<Hazard>,
    /// Derivatives of the slope by ln steepness and ln asymmetry, for interpolation.
    slopes_by: Vec<[f64; 2]>,
}

pub(super) fn form(steepness: f64, asymmetry: f64) -> PlainForm {
    let law = Law { inhibition: 1.0 / asymmetry, pitched: 1.0 / (3.0 * steepness) };
    // A solution that cannot be had (parameters beyond all sense) is a plain exponential.
    Arc::new(law.solve().unwrap_or_else(|| {
        let flat = |row: usize| Hazard { h: LN_2 * STEP * row as f64, slope: LN_2, by: [0.0; 2] };
        Inhibited { rows: (0..ROWS).map(flat).collect(), slopes_by: vec![[0.0; 2]; ROWS] }
    }))
}

impl ShareLeft for Inhibited {
    /// Cubic Hermite interpolation; a straight line beyond the table.
    fn at(&self, x: f64) -> Hazard {
        let row = ((x / STEP) as usize).min(ROWS - 1);
        let (Some(a), Some(da)) = (self.rows.get(row), self.slopes_by.get(row)) else { return Hazard::default() };
        let past = x - STEP * row as f64;
        let (Some(b), Some(db)) = (self.rows.get(row + 1), self.slopes_by.get(row + 1)) else {
            let by = [a.by[0] + past * da[0], a.by[1] + past * da[1]];
            return Hazard { h: a.h + past * a.slope, slope: a.slope, by };
        };
        let t = past / STEP;
        let between = |v: (f64, f64), s: (f64, f64)| {
            let rest = 1.0 - t;
            let level = v.0 * (1.0 + 2.0 * t) * rest * rest + v.1 * t * t * (3.0 - 2.0 * t);
            level + STEP * t * rest * (s.0 * rest - s.1 * t)
        };
        let slope = {
            let rise = (b.h - a.h) / STEP;
            6.0 * t * (1.0 - t) * rise + (1.0 - t) * (1.0 - 3.0 * t) * a.slope + t * (3.0 * t - 2.0) * b.slope
        };
        let by = |i: usize| between((a.by[i], b.by[i]), (da[i], db[i]));
        Hazard { h: between((a.h, b.h), (a.slope, b.slope)), slope, by: [by(0), by(1)] }
    }

    fn inverse(&self, h: f64) -> f64 {
        let row = self.rows.partition_point(|row| row.h <= h).max(1) - 1;
        let Some(at) = self.rows.get(row) else { return 0.0 };
        let mut x = STEP * row as f64;
        if row + 1 >= self.rows.len() {
            return x + (h - at.h) / at.slope.max(1e-12);
        }
        // Newton's iteration on a piece that rises.
        let (low, high) = (x, x + STEP);
        for _ in 0..40 {
            let here = self.at(x);
            let step = (h - here.h) / here.slope.max(1e-12);
            x = (x + step).clamp(low, high);
            if step.abs() < 1e-14 * (1.0 + x) {
                break;
            }
        }
        x
    }

    fn steepest(&self) -> Option<f64> {
        None
    }
}

/// The equation of `h`: with `u = exp(-h)` and `y = y(0) + 1 - u` it is free of trouble near `u = 0`.
struct Law {
    inhibition: f64,
    pitched: f64,
}

impl Law {
    /// `dh/dt`, and the derivatives of its logarithm by `h`, ln steepness and ln asymmetry.
    fn speed(&self, h: f64) -> (f64, f64, [f64; 2]) {
        let left = (-h).exp();
        let yeast = self.pitched + 1.0 - left;
        let speed = yeast * (-self.inhibition * (1.0 - left)).exp() / (HALF_SATURATION + left);
        let by_h = left / yeast - self.inhibition * left + left / (HALF_SATURATION + left);
        (speed, by_h, [-self.pitched / yeast, self.inhibition * (1.0 - left)])
    }

    fn solve(&self) -> Option<Inhibited> {
        // Time of the half with its derivatives: integrals over h of 1 / h' and of what moves it.
        let over_speed = |h: f64, _: &[f64; 3], out: &mut [f64; 3]| {
            let (speed, _, by) = self.speed(h);
            *out = [1.0 / speed, -by[0] / speed, -by[1] / speed];
        };
        let half = ODE.solve(over_speed, 0.0, &[0.0; 3], &[LN_2]).ok()?;
        let &[half, half_by_steepness, half_by_asymmetry] = half.first()?;
        // In time over that of the half: h and its derivatives by the two logarithms.
        let slopes = |h: f64, by: [f64; 2]| {
            let (speed, by_h, by_own) = self.speed(h);
            let moved = |i: usize, half_by: f64| half * speed * (by_h * by[i] + by_own[i]) + speed * half_by;
            (half * speed, [moved(0, half_by_steepness), moved(1, half_by_asymmetry)])
        };
        let times: Vec<f64> = (0..ROWS).map(|row| STEP * row as f64).collect();
        let derivative = |_: f64, &[h, a, b]: &[f64; 3], out: &mut [f64; 3]| {
            let (slope, [by_a, by_b]) = slopes(h, [a, b]);
            *out = [slope, by_a, by_b];
        };
        let states = ODE.solve(derivative, 0.0, &[0.0; 3], &times).ok()?;
        let (mut rows, mut slopes_by) = (Vec::with_capacity(ROWS), Vec::with_capacity(ROWS));
        for &[h, a, b] in &states {
            let (slope, by) = slopes(h, [a, b]);
            rows.push(Hazard { h, slope, by: [a, b] });
            slopes_by.push(by);
        }
        rows.iter().all(|row| row.h.is_finite() && row.slope.is_finite()).then_some(Inhibited { rows, slopes_by })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The equations as they stand in the text, by small Euler steps with Richardson's extrapolation.
    fn left_by_steps(p: f64, s: f64, steps: usize) -> f64 {
        let half = {
            let mut state = (1.0, 1.0 / (3.0 * p), 0.0);
            let dt = 1e-5;
            while state.0 > 0.5 {
                state = step(state, s, dt);
            }
            state.2 - dt * (0.5 - state.0) / (step(state, s, -dt).0 - state.0)
        };
        let euler = |n: usize| {
            let mut state = (1.0, 1.0 / (3.0 * p), 0.0);
            for _ in 0..n {
                state = step(state, s, 1.5 * half / n as f64);
            }
            state.0
        };
        2.0 * euler(2 * steps) - euler(steps)
    }

    fn step((u, y, t): (f64, f64, f64), s: f64, dt: f64) -> (f64, f64, f64) {
        let rate = y * (-(1.0 - u) / s).exp() * u / (HALF_SATURATION + u);
        (u - dt * rate, y + dt * rate, t + dt)
    }

    #[test]
    fn the_table_is_the_solution_of_the_equations() {
        for (p, s) in [(0.3, 0.5), (1.2, 1.0), (4.0, 3.0)] {
            let table = form(p, s);
            assert!((table.at(1.0).h - LN_2).abs() < 1e-7);
            let left = (-table.at(1.5).h).exp();
            let steps = left_by_steps(p, s, 40_000);
            assert!((left - steps).abs() < 2e-5, "{p} {s}: {left} {steps}");
            for h in [0.01, 0.5, 2.0, 6.0, 30.0] {
                assert!((table.at(table.inverse(h)).h - h).abs() < 1e-9, "{p} {s} {h}");
            }
        }
    }
}
