//! The two standard deviations that the pairs themselves tell, and what is known of them beforehand.

assumed! {
    /// Scale of the half-Cauchy priors of both.
    const PRIOR_SCALE: f64 = 0.001, "SG";
}

/// Standard deviations that the pairs themselves must tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::drift) struct Variances {
    /// Of the random walk of a probe's error, after 30 days, SG.
    pub walk_sd: f64,
    /// Of a pair beyond all known errors, SG; a part of it the pairs of one stay in a beer have in common.
    pub pair_sd: f64,
}

impl Variances {
    /// Every pair of these, walk by walk.
    pub fn grid<'a>(walk_sd: &'a [f64], pair_sd: &'a [f64]) -> impl Iterator<Item = Self> + 'a {
        walk_sd.iter().flat_map(move |&walk_sd| pair_sd.iter().map(move |&pair_sd| Self { walk_sd, pair_sd }))
    }
}

/// Logarithm of the half-Cauchy priors of both SDs, up to a constant.
pub(in crate::drift) fn ln_prior(at: &Variances) -> f64 {
    let one = |sd: f64| -(1.0 + (sd / *PRIOR_SCALE).powi(2)).ln();
    one(at.walk_sd) + one(at.pair_sd)
}
