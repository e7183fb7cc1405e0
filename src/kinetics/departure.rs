//! The error model of a batch: white noise, and a smooth departure of the real fermentation from the fitted curve.
//!
//! A gravity at `t_i` is `SG(t_i) + g(t_i) + offsets + e_i`. The departure is
//! `g(t) = kappa h(t) u(t)`, with `u` a Gaussian process of unit variance and correlation `exp(-|dt| / tau)` (an AR(1)
//! process in continuous time) and `h(t) = f + (1 - f) v(t)`, `v` the rate of fall of the fitted curve over its greatest:
//! a real fermentation runs ahead of a curve or behind it, which shows where the curve is steep, and gas and foam come
//! with the rate; what is left at rest is the probe's own slow noise. It is common to all probes and samples of the batch. The white errors `e_i` are independent; those of readings have
//! the stated variance times a common factor that is estimated, samples their stated one.
//!
//! With these variances the sequence of one-step predictions (Kalman filter of one state) turns the correlated errors
//! into independent ones of unit variance, column by column in O(n): a least-squares fit of the whitened residuals is
//! the generalised least-squares fit.

/// The numbers of the error model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorModel {
    /// Standard deviation of the departure where the curve is steepest, SG.
    pub kappa_sg: f64,
    /// Its correlation time, hours.
    pub tau_h: f64,
    /// Its size where the curve is flat, over that where it is steepest: `f`.
    pub floor: f64,
    /// Factor on the stated variance of the readings' own errors.
    pub factor: f64,
    /// Standard deviation of the coefficients of the smooth correction, as their prior has it.
    pub bend_sd: f64,
}

impl ErrorModel {
    /// Standard deviation of the departure where the rate of fall is `vigour` times its greatest, SG.
    pub fn departure_sd(&self, vigour: f64) -> f64 {
        self.kappa_sg * (self.floor + (1.0 - self.floor) * vigour)
    }
}

/// What turns correlated errors into independent ones of unit variance.
#[derive(Debug, Clone)]
pub(crate) struct Whitener {
    steps: Vec<Step>,
    ln_det: f64,
}

#[derive(Debug, Clone, Copy)]
struct Step {
    /// Correlation of `u` with the point before.
    rho: f64,
    /// Standard deviation of the departure, SG.
    size: f64,
    /// Kalman gain.
    gain: f64,
    /// Standard deviation of the one-step prediction error.
    sd: f64,
}

impl Whitener {
    /// From, for each point in order of time, its hours, the standard deviation of the departure there, and the
    /// variance of its white error; `tau_h` is the correlation time.
    pub fn new(points: impl Iterator<Item = (f64, f64, f64)>, tau_h: f64) -> Self {
        let mut steps: Vec<Step> = Vec::with_capacity(points.size_hint().0);
        let mut ln_det = 0.0;
        let (mut before, mut variance) = (f64::NEG_INFINITY, 1.0);
        for (hours, size, white) in points {
            let rho = (-(hours - before) / tau_h).exp();
            variance = rho * rho * variance + 1.0 - rho * rho;
            let total = size * size * variance + white;
            let gain = variance * size / total;
            variance -= gain * size * variance;
            ln_det += total.ln();
            steps.push(Step { rho, size, gain, sd: total.sqrt() });
            before = hours;
        }
        Self { steps, ln_det }
    }

    /// Whitens a column in place.
    pub fn apply<'a>(&self, column: impl Iterator<Item = &'a mut f64>) {
        let mut state = 0.0;
        for (value, step) in column.zip(&self.steps) {
            state *= step.rho;
            let innovation = *value - step.size * state;
            state += step.gain * innovation;
            *value = innovation / step.sd;
        }
    }

    /// Logarithm of the determinant of the covariance of the errors.
    pub fn ln_det(&self) -> f64 {
        self.ln_det
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{DMatrix, DVector};

    use super::*;

    #[test]
    fn whitening_agrees_with_the_dense_covariance() {
        let hours: [f64; 5] = [0.0, 1.0, 1.0, 4.5, 30.0];
        let size = [0.3, 1.0, 0.8, 0.5, 0.2];
        let white = [0.1, 0.2, 0.05, 0.3, 0.1];
        let column = [1.0, -2.0, 0.5, 3.0, 0.7];
        let dense = DMatrix::from_fn(5, 5, |i, j| {
            let rho = (-(hours[i] - hours[j]).abs() / 6.0).exp();
            size[i] * size[j] * rho + if i == j { white[i] } else { 0.0 }
        });
        let whitener = Whitener::new((0..5).map(|i| (hours[i], size[i], white[i])), 6.0);
        let mut whitened = column;
        whitener.apply(whitened.iter_mut());
        let y = DVector::from_row_slice(&column);
        let factor = dense.cholesky().unwrap();
        assert!((y.dot(&factor.solve(&y)) - whitened.iter().map(|v| v * v).sum::<f64>()).abs() < 1e-10);
        let ln_det = 2.0 * factor.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        assert!((ln_det - whitener.ln_det()).abs() < 1e-10);
    }
}
