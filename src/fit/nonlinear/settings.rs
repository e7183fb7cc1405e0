//! How a nonlinear fit is done.

settings! {
    in code
    /// How a nonlinear fit is done.
    #[derive(Copy)]
    pub struct NonlinearSettings {
        /// Relative change of the sum of squares, and of the parameters, below which the iteration ends; above 1e-12 without
        /// the Gauss-Newton steps for the last digits.
        tolerance: f64 = 1e-14, 0.0..=0.1, "0 to 0.1";
        /// Evaluations per parameter before giving up.
        patience: usize = 1000, 1..=usize::MAX, "a number above 0";
    }
}
