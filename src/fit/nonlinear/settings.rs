//! How a nonlinear fit is done.

use crate::{Error, Result};

/// How a nonlinear fit is done.
///
/// | setting | default | range | when to change it |
/// | --- | --- | --- | --- |
/// | `tolerance` | 1e-14 | 0 to 0.1 | larger to stop earlier: relative change of the sum of squares and of the parameters; above 1e-12 without the Gauss-Newton steps for the last digits |
/// | `patience` | 1000 | above 0 | evaluations per parameter before giving up |
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NonlinearSettings {
    /// Relative change of the sum of squares, and of the parameters, below which the iteration ends.
    pub tolerance: f64,
    /// Evaluations per parameter before giving up.
    pub patience: usize,
}

impl Default for NonlinearSettings {
    fn default() -> Self {
        Self { tolerance: 1e-14, patience: 1000 }
    }
}

impl NonlinearSettings {
    pub(super) fn check(&self) -> Result<()> {
        if !(0.0..=0.1).contains(&self.tolerance) {
            return Err(Error::Setting { name: "tolerance", value: self.tolerance.to_string(), wanted: "0 to 0.1" });
        }
        if self.patience == 0 {
            return Err(Error::Setting { name: "patience", value: "0".to_owned(), wanted: "a number above 0" });
        }
        Ok(())
    }
}
