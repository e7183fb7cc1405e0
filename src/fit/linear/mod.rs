//! Weighted least squares that are linear in the coefficients.
//!
//! ```text
//! y_i = b_0 + b_1 x_i1 + ... + b_k x_ik + e_i,   sd(e_i) = sigma s_i
//! ```
//!
//! with stated standard deviations `s_i` (1 where none are given). Whether `sigma` is 1 or estimated is [`Scale`].
//!
//! The coefficients come from linfa-linear on columns that are whitened, centred and scaled to length one; linfa's QR
//! solver alone then keeps about 16 - log10(condition) digits. Badly conditioned polynomials (Longley, Filip and
//! Wampler of the NIST data sets) ask for more, so the answer is refined: coefficients and residuals together satisfy
//! `e + X b = y` and `X' W e = 0`; by how much they miss both is computed from the unscaled columns in twice the working
//! precision, and linfa solves for the correction, until it no longer shrinks (Å. Björck, BIT 7 (1967) 257). Without the
//! second condition large residuals would cost digits by the square of the condition number. Measured: without refinement
//! Pontius has 11.6 digits (13.5 with it) and Wampler5 6.7 (15); with it in working precision Longley 11.5 and Wampler5 7.1.
//!
//! linfa gives no covariance: it comes from a QR factorisation of the same columns.

mod defect;
mod fitted;
mod refined;

pub use fitted::LinearFit;
pub(super) use refined::factorise;

use super::Scale;
use crate::{Error, Result};

/// How a linear least-squares fit is done.
///
/// | setting | default | range | when to change it |
/// | --- | --- | --- | --- |
/// | `intercept` | true | | false for a line through the origin |
/// | `scale` | `Estimated` | | `Known` when the given standard deviations are to be taken at their word |
///
/// ```
/// use heelwort::fit::linear::LinearSettings;
/// let x = [1.0, 2.0, 3.0, 4.0];
/// let fit = LinearSettings::default().fit(&[("x", &x)], &[2.1, 3.9, 6.2, 7.8], None)?;
/// assert!((fit.value("x")? - 1.94).abs() < 1e-12);
/// let slope = fit.estimate("x", 0.95)?;
/// assert!(slope.lower < 1.94 && 1.94 < slope.upper);
/// # Ok::<(), heelwort::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LinearSettings {
    /// Put a constant column named `intercept` before the others.
    pub intercept: bool,
    /// Whether the standard deviations are right as they stand or up to a common factor.
    pub scale: Scale,
}

impl Default for LinearSettings {
    fn default() -> Self {
        Self { intercept: true, scale: Scale::Estimated }
    }
}

impl LinearSettings {
    /// Fits `y` on the named `columns`; `sd` are the standard deviations of the `y_i`, in their unit.
    ///
    /// # Errors
    /// - [`Error::Usage`]: columns, `y` and `sd` of different lengths, two columns of one name, or no column at all.
    /// - [`Error::NotEstimable`]: a value that is not finite, fewer rows than coefficients (or as many, when the scale
    ///   is to be estimated), or a column that is a linear combination of others, which the message names.
    pub fn fit(&self, columns: &[(&str, &[f64])], y: &[f64], sd: Option<&[f64]>) -> Result<LinearFit> {
        self.check(columns, y, sd)?;
        let mut names: Vec<String> = Vec::with_capacity(columns.len() + 1);
        if self.intercept {
            names.push("intercept".to_owned());
        }
        names.extend(columns.iter().map(|(name, _)| (*name).to_owned()));
        if names.is_empty() {
            return Err(Error::Usage("a linear fit needs at least one column or an intercept".to_owned()));
        }
        let rows = y.len();
        let needed = names.len() + usize::from(self.scale == Scale::Estimated);
        if rows < needed {
            return Err(Error::not_estimable(
                format!("a linear fit of {} coefficients", names.len()),
                format!("{rows} observations; {needed} are needed"),
            ));
        }
        let raw: Vec<&[f64]> = columns.iter().map(|(_, column)| *column).collect();
        let solved = refined::solve(&names, &raw, self.intercept, y, sd)?;
        Ok(LinearFit::assemble(names, solved, self.scale, self.intercept, sd))
    }

    fn check(&self, columns: &[(&str, &[f64])], y: &[f64], sd: Option<&[f64]>) -> Result<()> {
        for (i, (name, column)) in columns.iter().enumerate() {
            if column.len() != y.len() {
                return Err(Error::Usage(format!(
                    "column `{name}` has {} rows and the response has {}",
                    column.len(),
                    y.len()
                )));
            }
            let taken = columns.iter().take(i).any(|(other, _)| other == name);
            if taken || (self.intercept && *name == "intercept") {
                return Err(Error::Usage(format!("two columns are named `{name}`")));
            }
            if let Some(row) = column.iter().position(|x| !x.is_finite()) {
                return Err(Error::not_estimable(format!("`{name}`"), format!("its row {row} is not a finite number")));
            }
        }
        if let Some(row) = y.iter().position(|x| !x.is_finite()) {
            return Err(Error::not_estimable(
                "a linear fit",
                format!("the response is not a finite number in row {row}"),
            ));
        }
        if let Some(sd) = sd {
            if sd.len() != y.len() {
                return Err(Error::Usage(format!("{} standard deviations for {} observations", sd.len(), y.len())));
            }
            if let Some(bad) = sd.iter().find(|s| !(**s > 0.0 && s.is_finite())) {
                return Err(Error::Setting {
                    name: "sd",
                    value: bad.to_string(),
                    wanted: "finite standard deviations above 0",
                });
            }
        }
        Ok(())
    }
}
