//! The process itself, and the filter that whitens by it.

use ndarray::ArrayViewMut2;

use crate::fit::nonlinear::Residuals;
use crate::{Error, Result};

/// A stationary process of unit variance: CAR(1) plus white noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Car1 {
    /// Correlation of the remembering part at one unit of time, 0 <= phi < 1.
    pub phi: f64,
    /// Share of the variance that is white noise, 0 to 1.
    pub white_share: f64,
}

impl Car1 {
    /// A process with the given correlation at one unit of time and share of white noise.
    ///
    /// # Errors
    /// [`Error::Setting`] unless 0 <= phi < 1 and 0 <= `white_share` <= 1.
    pub fn new(phi: f64, white_share: f64) -> Result<Self> {
        if !(0.0..1.0).contains(&phi) {
            return Err(Error::Setting { name: "phi", value: phi.to_string(), wanted: "0 or more, below 1" });
        }
        if !(0.0..=1.0).contains(&white_share) {
            return Err(Error::Setting { name: "white_share", value: white_share.to_string(), wanted: "0 to 1" });
        }
        Ok(Self { phi, white_share })
    }

    /// Independent errors.
    pub fn white() -> Self {
        Self { phi: 0.0, white_share: 1.0 }
    }

    /// The correlation of two errors a time `lag` apart.
    pub fn correlation(&self, lag: f64) -> f64 {
        if lag == 0.0 { 1.0 } else { (1.0 - self.white_share) * self.phi.powf(lag.abs()) }
    }

    /// The filter that turns errors of this process at the given times into independent ones of unit variance.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when times are not finite or fall, or when two are equal and there is no white noise
    /// (the two errors would then be one).
    pub fn whitener(&self, times: &[f64]) -> Result<Whitener> {
        check_times(times)?;
        let remembering = 1.0 - self.white_share;
        let ln_phi = self.phi.ln();
        let mut steps = Vec::with_capacity(times.len());
        let mut variance = remembering;
        let mut last: Option<f64> = None;
        for time in times {
            let carry = match last {
                // Before the first reading nothing is known: the state has its stationary variance.
                None => 0.0,
                Some(last) if *time == last => 1.0,
                Some(last) => (ln_phi * (time - last)).exp(),
            };
            let forgotten = match last {
                Some(last) if *time > last => -(2.0 * ln_phi * (time - last)).exp_m1(),
                Some(_) => 0.0,
                None => 1.0,
            };
            let predicted = carry * carry * variance + remembering * forgotten;
            let total = predicted + self.white_share;
            if !(total > 1e-14) {
                return Err(Error::not_estimable(
                    "an autocorrelation without white noise",
                    format!("two readings at time {time} are not told apart"),
                ));
            }
            steps.push(Step { carry, gain: predicted / total, spread: total.sqrt() });
            variance = predicted * self.white_share / total;
            last = Some(*time);
        }
        Ok(Whitener { steps })
    }

    /// How many independent errors would give the mean the same variance: n^2 / sum of all correlations.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for no times, or times that fall or are not finite.
    pub fn effective_sample_size(&self, times: &[f64]) -> Result<f64> {
        if times.is_empty() {
            return Err(Error::not_estimable("an effective sample size", "there are no readings"));
        }
        check_times(times)?;
        let n = times.len() as f64;
        let (mut before, mut pairs) = (0.0, 0.0);
        for (last, time) in times.iter().zip(times.iter().skip(1)) {
            before = (before + 1.0) * if time > last { self.phi.powf(time - last) } else { 1.0 };
            pairs += before;
        }
        Ok(n * n / (n + 2.0 * (1.0 - self.white_share) * pairs))
    }
}

pub(super) fn check_times(times: &[f64]) -> Result<()> {
    let falling = times.iter().zip(times.iter().skip(1)).find(|(a, b)| b < a);
    if let Some((a, b)) = falling {
        return Err(Error::not_estimable("an autocorrelation", format!("times fall from {a} to {b}; sort them first")));
    }
    if let Some(bad) = times.iter().find(|time| !time.is_finite()) {
        return Err(Error::not_estimable("an autocorrelation", format!("a time is {bad}")));
    }
    Ok(())
}

/// One step of the filter.
#[derive(Debug, Clone, Copy)]
struct Step {
    /// Correlation of the state with the one before.
    carry: f64,
    /// Share of an innovation that goes into the state.
    gain: f64,
    /// Standard deviation of an innovation.
    spread: f64,
}

/// Whitens columns: multiplies by the inverse of the Cholesky factor of the correlation matrix, in time linear in n.
#[derive(Debug, Clone)]
pub struct Whitener {
    steps: Vec<Step>,
}

impl Whitener {
    /// Whitens a column in place. Values beyond the number of times are left as they are.
    pub fn whiten<'a>(&self, column: impl IntoIterator<Item = &'a mut f64>) {
        let mut state = 0.0;
        for (value, step) in column.into_iter().zip(&self.steps) {
            let predicted = step.carry * state;
            let innovation = *value - predicted;
            state = predicted + step.gain * innovation;
            *value = innovation / step.spread;
        }
    }

    /// The natural logarithm of the determinant of the correlation matrix.
    pub fn ln_determinant(&self) -> f64 {
        2.0 * self.steps.iter().map(|step| step.spread.ln()).sum::<f64>()
    }
}

/// A least-squares problem with correlated residuals, whitened: fitting it is generalised least squares.
#[derive(Debug, Clone)]
pub struct Whitened<'a, P> {
    problem: &'a P,
    whitener: Whitener,
}

impl<'a, P: Residuals> Whitened<'a, P> {
    /// The problem whose residuals, at the given times in order, are errors of the given process.
    ///
    /// # Errors
    /// [`Error::Usage`] when there are not as many times as residuals; else as [`Car1::whitener`].
    pub fn new(problem: &'a P, process: &Car1, times: &[f64]) -> Result<Self> {
        if times.len() != problem.count() {
            return Err(Error::Usage(format!("{} times for {} residuals", times.len(), problem.count())));
        }
        Ok(Self { problem, whitener: process.whitener(times)? })
    }
}

impl<P: Residuals> Residuals for Whitened<'_, P> {
    fn count(&self) -> usize {
        self.problem.count()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        self.problem.residuals(parameters, out)?;
        self.whitener.whiten(out);
        Ok(())
    }

    fn jacobian(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        self.problem.jacobian(parameters, out.view_mut())?;
        for column in out.columns_mut() {
            self.whitener.whiten(column);
        }
        Ok(())
    }
}
