//! The fast way for small problems: Levenberg-Marquardt on the normal equations, gathered in one pass over the rows.
//!
//! The steps are those of the general solver (same trust region, same tests for the end), found from `J'J` by Cholesky
//! instead of from `J` by QR. Squaring J squares its condition number: see [`WORST`] and [`SHARP`].

use nalgebra::{DMatrix, SMatrix, SVector};

use super::outcome::{FIRST_STEPS, POLISH, POLISHED, SolverOutcome};
use super::{NonlinearSettings, Parameter, Residuals, SMALL, StopReason};
use crate::fit::matrix::dot;

/// Condition number of the scaled Jacobian above which the general solver takes over: the steps are then good to about
/// four digits still, and mend themselves as the gradient is exact.
const WORST: f64 = 1e6;
/// Condition number up to which `J'J` also serves for the covariance, whose relative error is 1e-16 times its square.
const SHARP: f64 = 1e3;
/// Steps that would leave the bounds before the general solver, which can rest on them, takes over.
const BLOCKED: usize = 3;

/// Minimises, or `None` where the general solver must: priors, parameters that want to leave their bounds, more than
/// [`SMALL`] parameters, rows that cannot be swept, ill-conditioned or not finite derivatives, no convergence.
pub(super) fn minimise(
    settings: &NonlinearSettings,
    problem: &impl Residuals,
    parameters: &[Parameter],
    start: &[f64],
) -> Option<SolverOutcome> {
    if parameters.iter().any(|parameter| parameter.prior.is_some() && !parameter.held) {
        return None;
    }
    match parameters.len() {
        1 => NormalDescent::<_, 1>::new(settings, problem, parameters, start)?.run(),
        2 => NormalDescent::<_, 2>::new(settings, problem, parameters, start)?.run(),
        3 => NormalDescent::<_, 3>::new(settings, problem, parameters, start)?.run(),
        4 => NormalDescent::<_, 4>::new(settings, problem, parameters, start)?.run(),
        5 => NormalDescent::<_, 5>::new(settings, problem, parameters, start)?.run(),
        SMALL => NormalDescent::<_, SMALL>::new(settings, problem, parameters, start)?.run(),
        _ => None,
    }
}

/// What one pass over the rows gathers.
#[derive(Clone, Copy)]
struct NormalSums<const N: usize> {
    squares: f64,
    /// J'r.
    right: [f64; N],
    /// J'J, of which only the lower triangle is filled.
    left: [[f64; N]; N],
}

impl<const N: usize> NormalSums<N> {
    /// The sums at `values`; `None` where the problem has no pass or a sum is not finite.
    fn gather(problem: &impl Residuals, values: &[f64; N]) -> Option<Self> {
        let mut sums = Self { squares: 0.0, right: [0.0; N], left: [[0.0; N]; N] };
        let (mut residuals, mut columns, mut filled) = ([0.0; BLOCK], [[0.0; BLOCK]; N], 0);
        let swept = problem.sweep(values, |residual, slopes| {
            let Some(slopes) = slopes.first_chunk::<N>() else { return };
            residuals[filled] = residual;
            for (column, slope) in columns.iter_mut().zip(slopes) {
                column[filled] = *slope;
            }
            filled += 1;
            if filled == BLOCK {
                sums.add(&residuals, &columns);
                filled = 0;
            }
        });
        residuals[filled..].fill(0.0);
        columns.iter_mut().for_each(|column| column[filled..].fill(0.0));
        sums.add(&residuals, &columns);
        let finite = |(i, (row, b)): (usize, (&[f64; N], &f64))| b.is_finite() && row[i].is_finite();
        let all = sums.left.iter().zip(&sums.right).enumerate().all(finite) && sums.squares.is_finite();
        (swept && all).then_some(sums)
    }

    /// Adds a block of rows.
    fn add(&mut self, residuals: &[f64; BLOCK], columns: &[[f64; BLOCK]; N]) {
        self.squares += dot(residuals, residuals);
        for i in 0..N {
            self.right[i] += dot(&columns[i], residuals);
            for j in 0..=i {
                self.left[i][j] += dot(&columns[i], &columns[j]);
            }
        }
    }
}

/// Rows that are gathered together: few enough to stay at hand, a multiple of four.
const BLOCK: usize = 16;

/// A descent by the normal equations.
struct NormalDescent<'a, P, const N: usize> {
    settings: &'a NonlinearSettings,
    problem: &'a P,
    parameters: &'a [Parameter],
    values: [f64; N],
    here: NormalSums<N>,
    evaluations: usize,
}

/// The normal equations with rows and columns divided by `scale`; held parameters have a row of the identity.
struct ScaledEquations<const N: usize> {
    left: SMatrix<f64, N, N>,
    /// Downhill: -J'r.
    right: SVector<f64, N>,
}

impl<'a, P: Residuals, const N: usize> NormalDescent<'a, P, N> {
    fn new(
        settings: &'a NonlinearSettings,
        problem: &'a P,
        parameters: &'a [Parameter],
        start: &[f64],
    ) -> Option<Self> {
        let values = *start.first_chunk::<N>()?;
        let here = NormalSums::gather(problem, &values)?;
        Some(Self { settings, problem, parameters, values, here, evaluations: 1 })
    }

    fn is_held(&self, i: usize) -> bool {
        self.parameters.get(i).is_some_and(|parameter| parameter.held)
    }

    /// Lengths of the columns of J; `None` when a free parameter has no effect.
    fn norms(&self) -> Option<SVector<f64, N>> {
        let norms = SVector::<f64, N>::from_fn(|i, _| if self.is_held(i) { 1.0 } else { self.here.left[i][i].sqrt() });
        norms.iter().all(|norm| *norm > 0.0).then_some(norms)
    }

    fn scaled(&self, scale: &SVector<f64, N>) -> ScaledEquations<N> {
        let left = SMatrix::from_fn(|i, j| {
            if self.is_held(i) || self.is_held(j) {
                f64::from(u8::from(i == j))
            } else {
                self.here.left[i.max(j)][i.min(j)] / (scale[i] * scale[j])
            }
        });
        let right = SVector::from_fn(|i, _| if self.is_held(i) { 0.0 } else { -self.here.right[i] / scale[i] });
        ScaledEquations { left, right }
    }

    fn moved(&self, step: &SVector<f64, N>, scale: &SVector<f64, N>) -> [f64; N] {
        std::array::from_fn(|i| if self.is_held(i) { self.values[i] } else { self.values[i] + step[i] / scale[i] })
    }

    fn is_inside(&self, values: &[f64; N]) -> bool {
        values.iter().zip(self.parameters).all(|(value, p)| p.held || (*value > p.lower && *value < p.upper))
    }

    /// The descent of MINPACK's `lmder` (Moré 1978), then the last digits where they are asked for.
    fn run(mut self) -> Option<SolverOutcome> {
        let stop = self.descend()?;
        if self.settings.tolerance <= POLISHED && stop != StopReason::ExactFit {
            self.polish()?;
        }
        let norms = self.norms()?;
        let sizes = SVector::<f64, N>::from_fn(|i, _| norms[i] * self.values[i].abs());
        if (0..N).any(|i| !self.is_held(i) && sizes[i] <= 1e-12 * sizes.amax()) {
            return None;
        }
        let condition = condition(&self.scaled(&norms).left)?;
        if condition > WORST {
            return None;
        }
        let normal = (condition < SHARP).then(|| DMatrix::from_fn(N, N, |i, j| self.here.left[i.max(j)][i.min(j)]));
        let (values, resting) = (self.values.to_vec(), vec![0; N]);
        Some(SolverOutcome { values, resting, stop, evaluations: self.evaluations, sigma: 1.0, normal })
    }

    fn descend(&mut self) -> Option<StopReason> {
        let tolerance = self.settings.tolerance;
        // Rounding in the sum of squares.
        let noise = f64::EPSILON * self.problem.count() as f64;
        let most = self.settings.patience * (N + 1);
        let mut scale = SVector::<f64, N>::zeros();
        let (mut radius, mut damping) = (0.0, 0.0);
        let mut blocked = 0;
        loop {
            if self.here.squares == 0.0 {
                return Some(StopReason::ExactFit);
            }
            let norms = self.norms()?;
            let first = radius == 0.0;
            scale = scale.sup(&norms);
            let steepest = (0..N)
                .filter(|i| !self.is_held(*i))
                .map(|i| (self.here.right[i] / norms[i]).abs() / self.here.squares.sqrt())
                .fold(0.0, f64::max);
            if steepest <= tolerance {
                return Some(StopReason::GradientZero);
            }
            let size = |values: &[f64; N]| {
                (0..N).filter(|i| !self.is_held(*i)).map(|i| (scale[i] * values[i]).powi(2)).sum::<f64>().sqrt()
            };
            let length = size(&self.values);
            if first {
                radius = if length > 0.0 { FIRST_STEPS * length } else { FIRST_STEPS };
            }
            let equations = self.scaled(&scale);
            let squares = self.here.squares;
            loop {
                if self.evaluations >= most {
                    return None;
                }
                let step = bounded(&equations, radius, &mut damping)?;
                let reach = step.norm();
                if first && blocked == 0 {
                    radius = f64::min(radius, reach);
                }
                let trial = self.moved(&step, &scale);
                if !self.is_inside(&trial) {
                    blocked += 1;
                    if blocked > BLOCKED {
                        return None;
                    }
                    radius = 0.5 * f64::min(radius, reach);
                    continue;
                }
                self.evaluations += 1;
                let there = NormalSums::gather(self.problem, &trial);
                let fall = there.as_ref().map_or(-1.0, |there| (1.0 - there.squares / squares).max(-99.0));
                // What the linear model promises, as shares of the sum of squares.
                let damped = damping * reach * reach / squares;
                let linear = (equations.right.dot(&step) / squares - damped).max(0.0);
                let promised = linear + 2.0 * damped;
                let ratio = if promised > 0.0 { fall / promised } else { 0.0 };
                if ratio <= 0.25 {
                    let slope = -(linear + damped);
                    let shrink = if fall >= 0.0 { 0.5 } else { (0.5 * slope / (slope + 0.5 * fall)).max(0.1) };
                    radius = shrink * f64::min(radius, reach / 0.1);
                    damping /= shrink;
                } else if damping == 0.0 || ratio >= 0.75 {
                    radius = reach / 0.5;
                    damping *= 0.5;
                }
                let accepted = ratio >= 1e-4;
                let settled = promised <= tolerance && fall.abs() <= tolerance.max(noise) && ratio <= 2.0;
                let still = radius <= tolerance.max(f64::EPSILON) * length;
                if let Some(there) = there.filter(|_| accepted) {
                    (self.here, self.values) = (there, trial);
                }
                if settled || still {
                    return Some(StopReason::Converged);
                }
                if accepted {
                    break;
                }
            }
        }
    }

    /// Gauss-Newton steps that bring out the last digits, as long as each is much shorter than the one before.
    fn polish(&mut self) -> Option<()> {
        let mut last = f64::INFINITY;
        for _ in 0..POLISH {
            let norms = self.norms()?;
            let equations = self.scaled(&norms);
            let step = equations.left.cholesky()?.solve(&equations.right);
            // The length of the step in units of the residuals.
            let size = (equations.right.dot(&step).max(0.0) / self.here.squares).sqrt();
            let trial = self.moved(&step, &norms);
            if !(size > 1e-16 && size < 1e-3 && size < 0.7 * last && self.is_inside(&trial)) {
                return Some(());
            }
            self.evaluations += 1;
            let there = NormalSums::gather(self.problem, &trial)?;
            if there.squares > self.here.squares * (1.0 + 1e-12) {
                return Some(());
            }
            (self.here, self.values) = (there, trial);
            last = size;
        }
        Some(())
    }
}

/// The step of least squares no longer than `radius` by a tenth, with the damping it takes (MINPACK's `lmpar`).
fn bounded<const N: usize>(equations: &ScaledEquations<N>, radius: f64, damping: &mut f64) -> Option<SVector<f64, N>> {
    let solve = |damping: f64| {
        let factor = (equations.left + SMatrix::identity() * damping).cholesky()?;
        let step = factor.solve(&equations.right);
        let length = step.norm();
        // The derivative of the length by the damping, over the length.
        let unit = step / length;
        let slope = factor.l_dirty().solve_lower_triangular(&unit)?.norm_squared();
        Some((step, length, slope))
    };
    let (step, length, slope) = solve(0.0)?;
    let mut excess = length - radius;
    if excess <= 0.1 * radius {
        *damping = 0.0;
        return Some(step);
    }
    let (mut low, mut high) = (excess / radius / slope, equations.right.norm() / radius);
    let mut now = damping.clamp(low.min(high), high);
    if now == 0.0 {
        now = equations.right.norm() / length;
    }
    for round in 0.. {
        let (step, length, slope) = solve(now)?;
        excess = length - radius;
        if excess.abs() <= 0.1 * radius || round == 10 {
            *damping = now;
            return Some(step);
        }
        if excess > 0.0 {
            low = low.max(now);
        } else {
            high = high.min(now);
        }
        now = (now + excess / radius / slope).max(low);
    }
    None
}

/// An upper bound of the condition number of J from `J'J` with a diagonal of ones: at most `N` times too large. `None`
/// where it cannot be factorised.
fn condition<const N: usize>(left: &SMatrix<f64, N, N>) -> Option<f64> {
    let inverse = left.cholesky()?.inverse();
    Some((N as f64 * inverse.trace()).sqrt())
}
