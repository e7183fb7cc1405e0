//! Terms of the fleet and of the mixed model.

use crate::fit::Finding;
use crate::fit::mixed::Boundary;

/// One term of the fleet.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetTerm {
    /// `mean_drift_sg_per_30d`, `sd_of_drift_sg_per_30d` and others.
    pub term: String,
    /// Its finding.
    pub finding: Finding,
    /// Degrees of freedom of the interval, where it has some.
    pub df: Option<f64>,
}

named! {
    /// What a term of the mixed model is.
    pub enum MixedTermKind {
        /// A coefficient of the fleet.
        Fixed = "fixed",
        /// The coefficient of one covariate, which is tried alone beside the fixed ones.
        Covariate = "covariate",
        /// A standard deviation or correlation between probes, or the residual standard deviation.
        Component = "component",
    }
}

/// One number of the mixed model.
#[derive(Debug, Clone, PartialEq)]
pub struct MixedTerm {
    /// What it is called: with the unit for a coefficient.
    pub term: String,
    /// What it is.
    pub kind: MixedTermKind,
    /// Estimate with interval and method.
    pub finding: Finding,
    /// Degrees of freedom of the interval of a coefficient.
    pub df: Option<f64>,
    /// Ends of the interval by the parametric bootstrap, as a check.
    pub bootstrap: Option<(f64, f64)>,
}

/// The pairs in a linear mixed model.
///
/// ```text
/// difference_i = c_i (b0 + u0_p + (b1 + u1_p) age_i) [+ g x_i] + walk_p(age_i) + steps_p + curve_p(i) + shared effects + own_i + e_i
/// (u0_p, u1_p) ~ N(0, any 2 x 2 covariance) by probe; e_i ~ N(0, sigma^2)
/// ```
///
/// `c_i` brings an error from SG 1.020 to the gravity of the pair. Known, not estimated: the errors of curves and pairs, the
/// spread of references and instruments that several pairs share, and the walk, whose variance is the mean over its
/// restricted likelihood in the study's own model. Coefficients and variances by REML; intervals of coefficients by
/// Kenward and Roger, those of the components by the profile likelihood of the ML fit; the parametric bootstrap checks both.
/// A covariate is tried alone; four of them at 90 % show one or more by chance in a third of all seasons.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MixedDrift {
    /// Coefficients, covariates, components.
    pub terms: Vec<MixedTerm>,
    /// Which variances are exactly 0, and what else lies on the edge of what it may be.
    pub boundary: Vec<Boundary>,
    /// Data sets that the bootstrap fitted.
    pub resamples: usize,
    /// Why there is none, if there is none.
    pub why: Option<String>,
}

impl MixedDrift {
    /// The term of this name.
    pub fn term(&self, name: &str) -> Option<&MixedTerm> {
        self.terms.iter().find(|term| term.term == name)
    }

    pub(in crate::drift) fn none(why: impl ToString) -> Self {
        Self { why: Some(why.to_string()), ..Self::default() }
    }
}
