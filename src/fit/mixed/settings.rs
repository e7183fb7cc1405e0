//! How a mixed model is fitted.

use crate::fit::Likelihood;

/// How the intervals of fixed coefficients allow for variances being estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Df {
    /// Covariance adjusted for small samples and degrees of freedom by moments (M. G. Kenward and J. H. Roger, Biometrics 53 (1997)
    /// 983). Of a REML fit only.
    #[default]
    KenwardRoger,
    /// Degrees of freedom from the variance of the variance (F. E. Satterthwaite, Biometrics Bull. 2 (1946) 110; for contrasts: A.
    /// Fai and P. Cornelius, J. Stat. Comput. Simul. 54 (1996) 363), with the observed information.
    Satterthwaite,
    /// The variances taken as known: too short with few levels, but the only one of the three that takes no time.
    Normal,
}

/// How a mixed model is fitted.
///
/// | setting | default | when to change it |
/// | --- | --- | --- |
/// | `criterion` | `Reml` | `Ml` to compare models with different fixed columns |
/// | `df` | `KenwardRoger` | `Satterthwaite` with `Ml`; `Normal` for very many rows whose groupings cross: both others take the cube of the rows that hang together |
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct MixedSettings {
    /// What is maximised.
    pub criterion: Likelihood,
    /// Intervals of fixed coefficients.
    pub df: Df,
}
