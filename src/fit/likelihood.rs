//! Which likelihood variances are estimated by.

/// Which likelihood is maximised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Likelihood {
    /// The restricted likelihood, that of what the fixed columns leave: variances without the bias that estimating the
    /// coefficients brings (H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545).
    #[default]
    Reml,
    /// The likelihood. For comparing models with different fixed columns, and for profile intervals.
    Ml,
}
