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
pub(crate) struct ErrorModel {
    /// Standard deviation of the departure where the curve is steepest, SG.
    pub kappa_sg: f64,
    /// Its correlation time, hours.
    pub tau_h: f64,
    /// Its size where the curve is flat, over that where it is steepest: `f`.
    pub floor: f64,
    /// Factor on the stated variance of the readings' own errors.
    pub factor: f64,
    /// Standard deviation of the coefficients of the smooth correction, as their prior has it.
    pub correction_sd: f64,
}

impl ErrorModel {
    /// From its numbers: size, correlation time, factor, floor, standard deviation of the correction.
    pub fn of([kappa_sg, tau_h, factor, floor, correction_sd]: [f64; 5]) -> Self {
        Self { kappa_sg, tau_h, floor: floor.min(1.0), factor, correction_sd }
    }

    /// Its numbers in the order of [`ErrorModel::of`].
    pub const fn numbers(&self) -> [f64; 5] {
        [self.kappa_sg, self.tau_h, self.factor, self.floor, self.correction_sd]
    }

    /// Standard deviation of the departure where the rate of fall is `relative_rate` times its greatest, SG.
    pub fn departure_sd(&self, relative_rate: f64) -> f64 {
        self.kappa_sg * (self.floor + (1.0 - self.floor) * relative_rate)
    }
}
