//! The pass over the rows with normal equations against the general solver and a plain run of the crate below it.

use std::cell::Cell;

use heelwort::Result;
use heelwort::fit::nonlinear::{
    Curve, CurveResiduals, NonlinearFit, NonlinearSettings, Parameter, ParameterState, Residuals,
};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, storage::Owned};
use ndarray::{Array2, ArrayViewMut2};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// A problem that counts which way it was asked; without passes where `hidden`.
struct Watched<'a, P> {
    problem: &'a P,
    hidden: bool,
    passes: Cell<usize>,
    matrices: Cell<usize>,
}

impl<'a, P: Residuals> Watched<'a, P> {
    fn new(problem: &'a P, hidden: bool) -> Self {
        Self { problem, hidden, passes: Cell::new(0), matrices: Cell::new(0) }
    }
}

impl<P: Residuals> Residuals for Watched<'_, P> {
    fn count(&self) -> usize {
        self.problem.count()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        self.problem.residuals(parameters, out)
    }

    fn jacobian(&self, parameters: &[f64], out: ArrayViewMut2<'_, f64>) -> Result<()> {
        self.matrices.set(self.matrices.get() + 1);
        self.problem.jacobian(parameters, out)
    }

    fn sweep(&self, parameters: &[f64], visit: impl FnMut(f64, &[f64])) -> bool {
        self.passes.set(self.passes.get() + 1);
        !self.hidden && self.problem.sweep(parameters, visit)
    }
}

/// The problem as the crate wants it: no bounds, no priors.
struct Plain<'a, P> {
    problem: &'a P,
    values: DVector<f64>,
}

impl<P: Residuals> LeastSquaresProblem<f64, Dyn, Dyn> for Plain<'_, P> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.values.copy_from(x);
    }

    fn params(&self) -> DVector<f64> {
        self.values.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let mut out = DVector::zeros(self.problem.count());
        self.problem.residuals(self.values.as_slice(), out.as_mut_slice()).ok()?;
        Some(out)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let mut out = Array2::zeros((self.problem.count(), self.values.len()));
        self.problem.jacobian(self.values.as_slice(), out.view_mut()).ok()?;
        Some(DMatrix::from_fn(out.nrows(), out.ncols(), |i, j| out[[i, j]]))
    }
}

/// Sum of squares and parameters by the crate alone.
fn by_the_crate(problem: &impl Residuals, start: &[f64]) -> (f64, Vec<f64>) {
    let plain = Plain { problem, values: DVector::from_column_slice(start) };
    let (end, report) = LevenbergMarquardt::new().with_patience(1000).minimize(plain);
    (2.0 * report.objective_function, end.values.as_slice().to_vec())
}

fn named(start: &[f64]) -> Vec<Parameter> {
    ["from", "to", "rate", "middle", "wave", "sixth"]
        .iter()
        .zip(start)
        .map(|(name, value)| Parameter::new(*name, *value))
        .collect()
}

fn both(problem: &impl Residuals, parameters: &[Parameter]) -> (NonlinearFit, bool, NonlinearFit) {
    let (swept, hidden) = (Watched::new(problem, false), Watched::new(problem, true));
    let fast = NonlinearSettings::default().fit(&swept, parameters).unwrap();
    let general = NonlinearSettings::default().fit(&hidden, parameters).unwrap();
    assert!(hidden.matrices.get() > 0);
    (fast, swept.matrices.get() == 0, general)
}

/// The largest difference of two fits in standard errors, and of their standard errors as a share.
fn apart(a: &NonlinearFit, b: &NonlinearFit) -> (f64, f64) {
    let mut most = (0.0_f64, 0.0_f64);
    for (i, (p, q)) in a.parameters.iter().zip(&b.parameters).enumerate() {
        assert_eq!(p.state, q.state);
        if p.state == ParameterState::Free {
            let (s, t) = (a.covariance[[i, i]].sqrt(), b.covariance[[i, i]].sqrt());
            most = (most.0.max((p.value - q.value).abs() / t), most.1.max((s / t - 1.0).abs()));
        }
    }
    most
}

/// From one level to another: a logistic, the same with a wave upon it, Gompertz. The parameters are both levels, the pace, the
/// middle, the size of the wave.
#[derive(Debug, Clone, Copy)]
enum Rise {
    Logistic,
    Wavy,
    Gompertz,
}

impl Rise {
    fn parameters(self) -> usize {
        if matches!(self, Self::Wavy) { 5 } else { 4 }
    }

    /// The share done with its derivative by the place on the pace.
    fn share(self, z: f64) -> (f64, f64) {
        let left = (-z).exp();
        match self {
            Self::Logistic | Self::Wavy => (1.0 / (1.0 + left), left / (1.0 + left).powi(2)),
            Self::Gompertz => ((-left).exp(), left * (-left).exp()),
        }
    }
}

impl Curve for Rise {
    fn value(&self, x: f64, p: &[f64]) -> f64 {
        p[0] + (p[1] - p[0]) * self.share(p[2] * (x - p[3])).0 + p.get(4).map_or(0.0, |size| 0.1 * size * x.sin())
    }

    fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
        let (done, slope) = self.share(p[2] * (x - p[3]));
        let drop = p[1] - p[0];
        let all = [1.0 - done, done, drop * slope * (x - p[3]), -drop * slope * p[2], 0.1 * x.sin()];
        out.copy_from_slice(&all[..self.parameters()]);
    }
}

#[test]
fn curves_from_random_starts_end_where_the_other_two_solvers_end() {
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    let (mut runs, mut fast_ones, mut elsewhere) = (0, 0, 0);
    let (mut most, mut most_se) = (0.0_f64, 0.0_f64);
    for kind in [Rise::Logistic, Rise::Wavy, Rise::Gompertz] {
        for _ in 0..300 {
            let truth =
                [rng.random_range(0.0..1.0), rng.random_range(2.0..4.0), rng.random_range(0.08..0.4), 20.0, 1.5];
            // The data end anywhere from a fifth of the change to long after it.
            let (n, last) = (rng.random_range(30..120), rng.random_range(22.0..90.0));
            let x: Vec<f64> = (0..n).map(|i| last * f64::from(i) / f64::from(n - 1)).collect();
            let p = &truth[..kind.parameters()];
            let mut noise = || 0.03 * rng.sample::<f64, _>(StandardNormal);
            let y: Vec<f64> = x.iter().map(|x| kind.value(*x, p) + noise()).collect();
            let start: Vec<f64> = p.iter().map(|value| value * rng.random_range(0.7..1.4)).collect();
            let problem = CurveResiduals::new(&kind, &x, &y, None).unwrap();
            let parameters: Vec<Parameter> = named(&start).into_iter().map(|p| p.within(-1e6, 1e6)).collect();
            let (fast, was_fast, general) = both(&problem, &parameters);
            runs += 1;
            if !(fast.stop.is_converged() && general.stop.is_converged()) {
                assert_eq!(fast.stop.is_converged(), general.stop.is_converged());
                continue;
            }
            if (fast.sum_of_squares / general.sum_of_squares - 1.0).abs() > 1e-9 {
                elsewhere += 1;
                continue;
            }
            let (squares, values) = by_the_crate(&problem, &start);
            if was_fast && (squares / fast.sum_of_squares - 1.0).abs() < 1e-9 {
                for (i, (a, b)) in fast.values().iter().zip(&values).enumerate() {
                    let se = fast.covariance[[i, i]].sqrt();
                    assert!((a - b).abs() < 1e-4 * se, "{kind:?} {start:?}: {a} {b} +- {se}");
                }
            }
            if was_fast {
                fast_ones += 1;
                let (values, errors) = apart(&fast, &general);
                most = most.max(values);
                most_se = most_se.max(errors);
            }
        }
    }
    println!(
        "{runs} problems, {fast_ones} by passes alone, {elsewhere} ended in another minimum; \
         most apart {most:.1e} standard errors, these by {most_se:.1e}"
    );
    assert!(fast_ones > runs * 8 / 10 && elsewhere * 50 < runs);
    assert!(most < 1e-6 && most_se < 1e-7, "{most:e} {most_se:e}");
}

/// A polynomial in x, written as badly as can be: powers of x itself.
struct Powers;

impl Curve for Powers {
    fn value(&self, x: f64, p: &[f64]) -> f64 {
        p.iter().rev().fold(0.0, |sum, c| sum * x + c)
    }

    fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
        let mut power = 1.0;
        for cell in out.iter_mut().take(p.len()) {
            *cell = power;
            power *= x;
        }
    }
}

#[test]
fn the_worse_the_condition_the_less_is_left_to_the_normal_equations() {
    let mut rng = ChaCha8Rng::seed_from_u64(42);
    for (offset, fast) in [(0.0, true), (3.0, true), (300.0, false), (3e4, false)] {
        for _ in 0..20 {
            let x: Vec<f64> = (0..40).map(|i| offset + f64::from(i) / 39.0).collect();
            let y: Vec<f64> =
                x.iter().map(|x| (x - offset).sin() + 0.1 * rng.sample::<f64, _>(StandardNormal)).collect();
            let problem = CurveResiduals::new(&Powers, &x, &y, None).unwrap();
            let (found, was_fast, general) = both(&problem, &named(&[0.1, 0.1, 0.1]));
            assert_eq!(was_fast, fast, "offset {offset}: condition {:.1e}", general.condition);
            let (values, errors) = apart(&found, &general);
            assert!(values < 1e-5 && errors < 1e-6, "offset {offset}: {values:e} {errors:e}");
        }
    }
}

#[test]
fn held_parameters_and_bounds_not_met_are_kept_bounds_met_are_the_general_solvers() {
    let x: Vec<f64> = (0..60).map(f64::from).collect();
    let y: Vec<f64> = x.iter().map(|x| Rise::Logistic.value(*x, &[0.0, 3.0, 0.27, 19.5]) + 0.02 * x.sin()).collect();
    let problem = CurveResiduals::new(&Rise::Logistic, &x, &y, None).unwrap();
    let [from, to, rate, lag] = <[Parameter; 4]>::try_from(named(&[0.0, 2.5, 0.2, 17.0])).unwrap();
    for (parameters, fast) in [
        ([from.clone().held(), to.clone(), rate.clone().within(0.0, 9.0), lag.clone()], true),
        ([from.clone(), to.clone().within(1.0, 2.8), rate.clone(), lag.clone()], false),
        ([from, to.with_prior(3.0, 0.1), rate, lag], false),
    ] {
        let (found, was_fast, general) = both(&problem, &parameters);
        assert_eq!(was_fast, fast);
        let (values, errors) = apart(&found, &general);
        assert!(values < 1e-6 && errors < 1e-8, "{values:e} {errors:e}");
        assert!((found.df - general.df).abs() < 1e-9 && (found.condition / general.condition - 1.0).abs() < 1e-8);
    }
}
