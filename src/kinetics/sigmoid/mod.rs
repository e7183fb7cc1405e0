//! Curves of any quantity that goes once from one level to another, on plain slices.
//!
//! Growth, sugar, alcohol, turbidity: all curves here share four parameters of one meaning,
//!
//! | parameter | meaning | unit |
//! | --- | --- | --- |
//! | `from` | the level it comes from | of y |
//! | `to` | the level it goes to | of y |
//! | `rate` | the greatest rate of change, as a size | y per x |
//! | `lag` | where the tangent at the steepest point meets `from` | of x |
//! | `asymmetry` | of [`SigmoidKind::Logistic5`] alone: 1 is symmetric, under 1 ends slower than it began | - |
//!
//! so that to convert one curve into another of the same lag, rate and levels is to keep the numbers. With
//! `D = |to - from|` and `z = rate (x - lag) / D`, the share done is
//!
//! | kind | share done |
//! | --- | --- |
//! | logistic, four parameters | `1 / (1 + exp(2 - 4 z))` |
//! | logistic, five parameters | `1 - [1 + exp(k (z - m))]^-s`, `k = (1 + 1/s)^(s + 1)`, `m = 1 - (1 + 1/s)^-s + ln(s) / k` |
//! | modified Gompertz | `exp(-exp(1 - e z))` |
//! | lag, then exponential | `1 - exp(-z)` for `z > 0`, else 0 |
//!
//! The first and third are equations 9 and 11 of Zwietering, Jongenburger, Rombouts and van 't Riet (1990, Appl. Environ.
//! Microbiol. 56, 1875) with a level to start from; the second is the Richards family written for an end that differs
//! from the onset (as in [`super::Curve`]).

mod errors;
mod fit;
mod points;
mod result;
mod settings;
mod starts;

use crate::fit::nonlinear::Curve;

pub use result::{SigmoidFit, SigmoidTrait};
pub use settings::SigmoidSettings;

/// Names of the parameters, in order.
pub const SIGMOID_PARAMETERS: [&str; 5] = ["from", "to", "rate", "lag", "asymmetry"];

/// Which curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SigmoidKind {
    /// Symmetric.
    #[default]
    Logistic4,
    /// With an asymmetry.
    Logistic5,
    /// Modified Gompertz.
    Gompertz,
    /// Nothing before the lag, an exponential approach after it.
    LagExponential,
}

/// The share done at `z` with its derivatives by `z` and by the asymmetry.
struct Share {
    done: f64,
    slope: f64,
    by_asymmetry: f64,
}

fn logistic4(z: f64) -> Share {
    let done = 1.0 / (1.0 + (2.0 - 4.0 * z).exp());
    Share { done, slope: 4.0 * done * (1.0 - done), by_asymmetry: 0.0 }
}

fn gompertz(z: f64) -> Share {
    let inner = (1.0 - std::f64::consts::E * z).exp();
    let done = (-inner).exp();
    let slope = if done > 0.0 { std::f64::consts::E * inner * done } else { 0.0 };
    Share { done, slope, by_asymmetry: 0.0 }
}

fn lag_exponential(z: f64) -> Share {
    let left = if z > 0.0 { (-z).exp() } else { 1.0 };
    Share { done: 1.0 - left, slope: if z > 0.0 { left } else { 0.0 }, by_asymmetry: 0.0 }
}

/// Of the five-parameter logistic: `k`, `m` and their derivatives by `s`.
#[derive(Clone, Copy)]
struct Logistic5 {
    s: f64,
    k: f64,
    m: f64,
    k_by: f64,
    m_by: f64,
}

impl Logistic5 {
    fn new(s: f64) -> Self {
        let ln = (1.0 / s).ln_1p();
        let k = ((s + 1.0) * ln).exp();
        let at_steepest = (-s * ln).exp();
        let k_by = k * (ln - 1.0 / s);
        let m = 1.0 - at_steepest + s.ln() / k;
        let m_by = at_steepest * (ln - 1.0 / (s + 1.0)) + 1.0 / (s * k) - s.ln() * k_by / (k * k);
        Self { s, k, m, k_by, m_by }
    }

    fn share(&self, z: f64) -> Share {
        let Self { s, k, m, k_by, m_by } = *self;
        let u = k * (z - m);
        let small = (-u.abs()).exp();
        let soft = u.max(0.0) + small.ln_1p();
        let sigma = if u > 0.0 { 1.0 } else { small } / (1.0 + small);
        let left = (-s * soft).exp();
        let u_by = k_by * (z - m) - k * m_by;
        Share { done: 1.0 - left, slope: s * k * sigma * left, by_asymmetry: left * (soft + s * sigma * u_by) }
    }
}

impl SigmoidKind {
    /// All kinds.
    pub const ALL: [Self; 4] = [Self::Logistic4, Self::Logistic5, Self::Gompertz, Self::LagExponential];

    /// Its name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Logistic4 => "logistic4",
            Self::Logistic5 => "logistic5",
            Self::Gompertz => "gompertz",
            Self::LagExponential => "lag_exponential",
        }
    }

    /// How many of the parameters it has: the first of [`SIGMOID_PARAMETERS`].
    pub const fn parameters(self) -> usize {
        if matches!(self, Self::Logistic5) { 5 } else { 4 }
    }

    fn share(self, z: f64, s: f64) -> Share {
        match self {
            Self::Logistic4 => logistic4(z),
            Self::Logistic5 => Logistic5::new(s).share(z),
            Self::Gompertz => gompertz(z),
            Self::LagExponential => lag_exponential(z),
        }
    }

    /// The `z` at which the share `done` is done, 0 < `done` < 1.
    fn z_of(self, done: f64, s: f64) -> f64 {
        match self {
            Self::Logistic4 => 0.5 + 0.25 * (done / (1.0 - done)).ln(),
            Self::Logistic5 => {
                let Logistic5 { k, m, .. } = Logistic5::new(s);
                m + (-(-done).ln_1p() / s).exp_m1().ln() / k
            }
            Self::Gompertz => (1.0 - (-done.ln()).ln()) / std::f64::consts::E,
            Self::LagExponential => -(-done).ln_1p(),
        }
    }

    /// Where the share `done` is done, with its derivatives by the parameters.
    pub fn x_of_share(self, parameters: &[f64], done: f64) -> (f64, Vec<f64>) {
        let [from, to, rate, lag, s] = unpack(parameters);
        let (size, sign) = ((to - from).abs(), (to - from).signum());
        let z = self.z_of(done, s);
        let mut gradient = vec![-z * sign / rate, z * sign / rate, -z * size / (rate * rate), 1.0];
        if self.parameters() == 5 {
            let step = 1e-5 * s;
            let z_by = (self.z_of(done, s + step) - self.z_of(done, s - step)) / (2.0 * step);
            gradient.push(size / rate * z_by);
        }
        (lag + z * size / rate, gradient)
    }
}

fn unpack(parameters: &[f64]) -> [f64; 5] {
    std::array::from_fn(|i| parameters.get(i).copied().unwrap_or(1.0))
}

impl Curve for SigmoidKind {
    fn value(&self, x: f64, parameters: &[f64]) -> f64 {
        let [from, to, rate, lag, s] = unpack(parameters);
        from + (to - from) * self.share(rate * (x - lag) / (to - from).abs().max(f64::MIN_POSITIVE), s).done
    }

    fn gradient(&self, x: f64, parameters: &[f64], out: &mut [f64]) {
        let [from, to, rate, lag, s] = unpack(parameters);
        let (drop, sign) = (to - from, (to - from).signum());
        let z = rate / drop.abs().max(f64::MIN_POSITIVE) * (x - lag);
        let share = self.share(z, s);
        let part = share.done - share.slope * z;
        let all =
            [1.0 - part, part, sign * share.slope * (x - lag), -sign * share.slope * rate, drop * share.by_asymmetry];
        out.iter_mut().zip(all).for_each(|(cell, slope)| *cell = slope);
    }
}

impl std::fmt::Display for SigmoidKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::nonlinear::{CurveResiduals, Residuals, numeric_jacobian};

    const SETS: [[f64; 5]; 4] = [
        [0.2, 3.0, 0.4, 2.0, 1.0],
        [3.0, 0.2, 0.4, 2.0, 0.4],
        [1.05, 1.01, 0.002, -3.0, 2.5],
        [-1.0, 4.0, 2.0, 6.0, 8.0],
    ];

    #[test]
    fn gradients_agree_with_differences() {
        let x: Vec<f64> = (0..40).map(|i| f64::from(i) * 0.731 - 4.0).collect();
        let y = vec![0.0; x.len()];
        for kind in SigmoidKind::ALL {
            for set in SETS {
                let p = &set[..kind.parameters()];
                let problem = CurveResiduals::new(&kind, &x, &y, None).unwrap();
                let mut analytic = ndarray::Array2::zeros((x.len(), p.len()));
                problem.jacobian(p, analytic.view_mut()).unwrap();
                let numeric = numeric_jacobian(&problem, p).unwrap();
                for (row, (a, b)) in analytic.rows().into_iter().zip(numeric.rows()).enumerate() {
                    // The kink of the lag has no derivative.
                    if kind == SigmoidKind::LagExponential && (x[row] - p[3]).abs() < 0.1 {
                        continue;
                    }
                    for (a, b) in a.iter().zip(b) {
                        assert!((a - b).abs() < 1e-7 * (1.0 + a.abs()), "{kind} {p:?} {}: {a} {b}", x[row]);
                    }
                }
            }
        }
    }

    #[test]
    fn lag_and_rate_are_the_tangents() {
        for kind in SigmoidKind::ALL {
            for set in SETS {
                let p = &set[..kind.parameters()];
                let span = (p[1] - p[0]).abs() / p[2];
                let slope = |x: f64| (kind.value(x + 1e-5 * span, p) - kind.value(x, p)).abs() / (1e-5 * span);
                let xs: Vec<f64> = (0..40_000).map(|i| p[3] - span + 3e-4 * span * f64::from(i)).collect();
                let steepest = xs.iter().copied().max_by(|a, b| slope(*a).total_cmp(&slope(*b))).unwrap();
                assert!((slope(steepest) / p[2] - 1.0).abs() < 1e-3, "{kind} {p:?}: {}", slope(steepest));
                let meets = steepest - (kind.value(steepest, p) - p[0]).abs() / slope(steepest);
                assert!((meets - p[3]).abs() < 2e-3 * span, "{kind} {p:?}: {meets}");
                for done in [0.1, 0.5, 0.9] {
                    let (x, _) = kind.x_of_share(p, done);
                    assert!((kind.value(x, p) - p[0] - done * (p[1] - p[0])).abs() < 1e-9);
                }
            }
        }
    }
}
