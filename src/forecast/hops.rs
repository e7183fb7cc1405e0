//! Hops that start a batch again.
//!
//! Enzymes of dry hops free sugar that the yeast could not use before, so a batch that is hopped before its rest comes to rest
//! days later (H. T. Brown and G. H. Morris, Trans. Inst. Brew. 6 (1893) 94; J. A. Kirkendall, C. A. Mitchell and
//! L. R. Chadwick, J. Am. Soc. Brew. Chem. 76 (2018) 178; both from memory).

assumed! {
    /// Hours from dry hopping to rest where no such batch has ended.
    const UNKNOWN_H: f64 = 60.0, "h";
    /// Standard deviation of their logarithm over batches from which learning starts.
    const LN_SD: f64 = 0.4, "-";
    /// Batches that these two are worth, and the season's share of hopped batches beside a strain's own.
    const WORTH: f64 = 3.0, "batches";
    /// Hops that are added before the rest are added from this share of the drop on.
    const FROM: f64 = 0.8, "share";
}

/// What hops do to the rest of a strain's next batch: the logarithm of the hours from dry hopping to rest is normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hops {
    /// Share of its batches that are hopped before their rest.
    share: f64,
    ln_mean: f64,
    ln_sd: f64,
}

impl Hops {
    /// From batches that have ended: whether each is of the strain, and how long after dry hopping it came to rest, if it was
    /// hopped before.
    pub fn learned(ended: &[(bool, Option<f64>)]) -> Self {
        let known: Vec<f64> = ended.iter().filter_map(|(_, hours)| Some((*hours)?.ln())).collect();
        let n = known.len() as f64;
        let ln_mean = (known.iter().sum::<f64>() + *WORTH * UNKNOWN_H.ln()) / (n + *WORTH);
        let squares: f64 = known.iter().map(|ln| (ln - ln_mean).powi(2)).sum();
        let variance = (squares + *WORTH * LN_SD.powi(2)) / (n + *WORTH);
        let own = || ended.iter().filter(|(is_own, _)| *is_own);
        let hopped = own().filter(|(_, hours)| hours.is_some()).count() as f64;
        let of_all = n / ended.len().max(1) as f64;
        let share = (hopped + *WORTH * of_all) / (own().count() as f64 + *WORTH);
        Self { share, ln_mean, ln_sd: (variance * (1.0 + 1.0 / (n + *WORTH))).sqrt() }
    }

    /// When a batch comes to rest that was hopped then, hours, `z` standard deviations from the mean.
    pub fn rest_h(&self, hopped_h: f64, z: f64) -> f64 {
        hopped_h + (self.ln_mean + self.ln_sd * z).exp()
    }

    /// Probability that a batch without hops is hopped yet before its rest, and at which share of its drop, where `done` is.
    pub fn ahead(&self, done: f64) -> (f64, f64) {
        let left = ((1.0 - done) / (1.0 - *FROM)).clamp(0.0, 1.0);
        (self.share * left / (1.0 - self.share * (1.0 - left)), 0.5 * (done.max(*FROM) + 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_learned_lies_between_what_was_assumed_and_what_was_seen() {
        let none = Hops::learned(&[]);
        assert!((none.rest_h(0.0, 0.0) - *UNKNOWN_H).abs() < 1e-9 && none.share == 0.0, "{none:?}");
        let seen: Vec<(bool, Option<f64>)> =
            (0..40).map(|i| (i < 20, (i % 4 == 0).then_some(if i % 8 == 0 { 25.0 } else { 36.0 }))).collect();
        let hops = Hops::learned(&seen);
        let middle = (25.0_f64 * 36.0).sqrt();
        assert!(hops.rest_h(0.0, 0.0) > middle && hops.rest_h(0.0, 0.0) < 1.3 * middle, "{hops:?}");
        assert!(hops.ln_sd > (36.0_f64 / 25.0).ln() / 2.0 && hops.ln_sd < *LN_SD, "{hops:?}");
        assert!((hops.share - 0.25).abs() < 1e-12, "{hops:?}");
    }

    #[test]
    fn hops_are_the_less_likely_the_further_a_batch_is_without() {
        let hops = Hops { share: 0.5, ln_mean: 4.0, ln_sd: 0.3 };
        let early = hops.ahead(0.2);
        assert!((early.0 - 0.5).abs() < 1e-12 && (early.1 - 0.9).abs() < 1e-12, "{early:?}");
        // Of eight batches four are hopped, evenly from 0.8 on: at 0.9 two of them have been, and two of the six left will be.
        assert!((hops.ahead(0.9).0 - 1.0 / 3.0).abs() < 1e-12);
        assert!(hops.ahead(1.0).0.abs() < 1e-12);
    }
}
