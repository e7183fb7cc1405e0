//! Errors that remember: a filter that makes them independent.

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

/// Refuses times that are not finite or fall.
fn check_times(times: &[f64]) -> Result<()> {
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
/// independent w of variance v_i.
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
    /// a variance below 0; [`Error::NotEstimable`] when times are not finite or fall, or when two rows of one time have no
    /// white part.
    pub fn varying(times: &[f64], sizes: &[f64], white: &[f64], memory: f64) -> Result<Self> {
        if sizes.len() != times.len() || white.len() != times.len() {
            let text = format!("{} times, {} sizes, {} variances", times.len(), sizes.len(), white.len());
            return Err(Error::Usage(text));
        }
        if !(memory > 0.0) {
            return Err(Error::setting("memory", memory, "a time above 0"));
        }
        if let Some((size, white)) = sizes.iter().zip(white).find(|(s, v)| !(s.is_finite() && **v >= 0.0)) {
            let value = format!("size {size}, white variance {white}");
            return Err(Error::setting("errors", value, "finite sizes and variances of at least 0"));
        }
        check_times(times)?;
        let mut steps = Vec::with_capacity(times.len());
        // Variance of the state, given the rows so far; at the start nothing is known, and it has its stationary variance.
        let (mut variance, mut last) = (1.0, f64::NEG_INFINITY);
        for (row, (time, (size, white))) in times.iter().zip(sizes.iter().zip(white)).enumerate() {
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
            steps.push(WhitenerStep {
                carry,
                size: *size,
                gain: size * variance / total,
                precision: 1.0 / total.sqrt(),
            });
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
