//! The filter that whitens.

use ndarray::ArrayViewMut2;

use super::Car1;
use crate::fit::nonlinear::Residuals;
use crate::{Error, Result};

/// One step of the filter.
#[derive(Debug, Clone, Copy)]
struct WhitenerStep {
    /// Correlation of the state with the one before.
    carry: f64,
    /// What one unit of the state does to the value.
    size: f64,
    /// What one unit of an innovation does to the state.
    gain: f64,
    /// One over the standard deviation of an innovation.
    precision: f64,
}

impl WhitenerStep {
    /// The white part of a value, given the state after the value before; moves the state on.
    fn whiten(&self, state: &mut f64, value: f64) -> f64 {
        let before = *state * self.carry;
        let innovation = value - self.size * before;
        *state = before + self.gain * innovation;
        innovation * self.precision
    }
}

impl Car1 {
    /// The filter that turns errors of this process at the given times into independent ones of unit variance.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when times are not finite or fall, or when two are equal and there is no white noise
    /// (the two errors would then be one).
    pub fn whitener(&self, times: &[f64]) -> Result<Whitener> {
        Whitener::stationary(times, self.memory(), self.white_share)
    }
}

/// Refuses times that are not finite or fall.
pub(super) fn check_times(times: &[f64]) -> Result<()> {
    if let Some(bad) = times.iter().find(|time| !time.is_finite()) {
        return Err(Error::not_estimable("an autocorrelation", format!("a time is {bad}")));
    }
    match times.iter().zip(times.iter().skip(1)).position(|(time, next)| next < time) {
        Some(row) => {
            let why =
                format!("the time falls by {} at row {}; sort the rows first", times[row] - times[row + 1], row + 1);
            Err(Error::not_estimable("an autocorrelation", why))
        }
        None => Ok(()),
    }
}

/// Whitens columns: multiplies by the inverse of the Cholesky factor of the covariance, in time linear in n.
///
/// The covariance is that of `s_i u(t_i) + w_i`, with u of unit variance and correlation exp(-|dt| / memory), and
/// independent w of variance v_i. [`Car1::whitener`] has s and v the same for all rows.
#[derive(Debug, Clone)]
pub struct Whitener {
    steps: Vec<WhitenerStep>,
}

impl Whitener {
    /// A filter for remembering and white parts that vary from row to row: `sizes` are the standard deviations s_i of the
    /// remembering part, `white` the variances v_i of the white one, `memory` the time in which the correlation falls to 1/e.
    ///
    /// # Errors
    /// [`Error::Usage`] for different lengths; [`Error::Setting`] for a memory not above 0, a size that is not finite or
    /// a variance below 0; else as [`Car1::whitener`].
    pub fn varying(times: &[f64], sizes: &[f64], white: &[f64], memory: f64) -> Result<Self> {
        if sizes.len() != times.len() || white.len() != times.len() {
            let text = format!("{} times, {} sizes, {} variances", times.len(), sizes.len(), white.len());
            return Err(Error::Usage(text));
        }
        if !(memory > 0.0) {
            return Err(Error::Setting { name: "memory", value: memory.to_string(), wanted: "a time above 0" });
        }
        if let Some((size, white)) = sizes.iter().zip(white).find(|(s, v)| !(s.is_finite() && **v >= 0.0)) {
            let value = format!("size {size}, white variance {white}");
            return Err(Error::Setting { name: "errors", value, wanted: "finite sizes and variances of at least 0" });
        }
        Self::from_rows(times, memory, sizes.iter().copied().zip(white.iter().copied()))
    }

    /// The filter of a process of unit variance.
    pub(super) fn stationary(times: &[f64], memory: f64, white_share: f64) -> Result<Self> {
        Self::from_rows(times, memory, std::iter::repeat(((1.0 - white_share).sqrt(), white_share)))
    }

    fn from_rows(times: &[f64], memory: f64, rows: impl Iterator<Item = (f64, f64)>) -> Result<Self> {
        check_times(times)?;
        let mut steps = Vec::with_capacity(times.len());
        // Variance of the state, given the rows so far; at the start nothing is known, and it has its stationary variance.
        let (mut variance, mut last) = (1.0, f64::NEG_INFINITY);
        for (row, (time, (size, white))) in times.iter().zip(rows).enumerate() {
            // Rows at one time share the state, whatever the memory.
            let share = if *time > last { (time - last) / memory } else { 0.0 };
            let (carry, forgotten) = ((-share).exp(), -(-2.0 * share).exp_m1());
            last = *time;
            variance = carry * carry * variance + forgotten;
            let total = size * size * variance + white;
            if !(total > 1e-14 * (size * size + white)) {
                return Err(Error::not_estimable(
                    "an autocorrelation without white noise",
                    format!("rows {} and {row} have one time and are not told apart", row.saturating_sub(1)),
                ));
            }
            steps.push(WhitenerStep { carry, size, gain: size * variance / total, precision: 1.0 / total.sqrt() });
            variance *= white / total;
        }
        Ok(Self { steps })
    }

    /// Whitens a column in place. Values beyond the number of times are left as they are.
    pub fn whiten<'a>(&self, column: impl IntoIterator<Item = &'a mut f64>) {
        let mut state = 0.0;
        for (value, step) in column.into_iter().zip(&self.steps) {
            *value = step.whiten(&mut state, *value);
        }
    }

    /// The natural logarithm of the determinant of the covariance.
    pub fn ln_determinant(&self) -> f64 {
        -2.0 * self.steps.iter().map(|step| step.precision.ln()).sum::<f64>()
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
