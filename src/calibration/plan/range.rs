//! The gravities that the user's beers use.

use crate::calibration::{Calibration, Calibrations};
use crate::fit::robust::quantile_of;
use crate::season::{Batch, Season};

/// Lowest and highest gravity for which curves are wanted, and where they come from.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct UsedRange {
    pub low_sg: f64,
    pub high_sg: f64,
    /// Where the range comes from, in words.
    pub source: String,
}

assumed! {
    /// Share of the batches whose lowest gravity may lie below the range, and whose original gravity may lie above it.
    const QUANTILE: f64 = 0.05, "share";
    /// Fewest batches whose ends make a range.
    const BATCHES_ENOUGH: usize = 3, "batches";
    /// Narrowest range that beers make.
    const NARROWEST_SG: f64 = 0.005, "SG";
}

impl UsedRange {
    /// From the season's batches: between the 5 % quantile of their lowest known gravities (samples, else the limit) and the
    /// 95 % quantile of their original gravities (measured, else the first sample where a later one is lower). Too few
    /// batches: what the baths of the last calibrations span.
    pub(super) fn of(season: &Season, calibrations: &Calibrations) -> Option<Self> {
        let sorted = |of: fn(&Season, &Batch) -> Option<f64>| {
            let mut all: Vec<f64> = season.batches.iter().filter_map(|batch| of(season, batch)).collect();
            all.sort_by(f64::total_cmp);
            all
        };
        let (lows, highs) = (sorted(lowest), sorted(original));
        if lows.len() >= *BATCHES_ENOUGH && highs.len() >= *BATCHES_ENOUGH {
            let (low_sg, high_sg) = (quantile_of(&lows, *QUANTILE)?, quantile_of(&highs, 1.0 - *QUANTILE)?);
            if high_sg - low_sg >= *NARROWEST_SG {
                let source = format!(
                    "from the {:.0} % quantile of {} lowest gravities to the {:.0} % quantile of {} original gravities",
                    100.0 * *QUANTILE,
                    lows.len(),
                    100.0 * (1.0 - *QUANTILE),
                    highs.len()
                );
                return Some(Self { low_sg, high_sg, source });
            }
        }
        let ends = |of: fn(&Calibration) -> f64| calibrations.calibrations.iter().map(of).filter(|sg| sg.is_finite());
        let low_sg = ends(|c| c.sg_min).fold(f64::INFINITY, f64::min);
        let high_sg = ends(|c| c.sg_max).fold(f64::NEG_INFINITY, f64::max);
        let source = "what the baths so far span, as too few batches tell which gravities they use".to_owned();
        (high_sg - low_sg >= *NARROWEST_SG).then_some(Self { low_sg, high_sg, source })
    }
}

fn possible(sg: &f64) -> bool {
    (0.98..=1.15).contains(sg)
}

/// The lowest gravity known of a batch.
fn lowest(season: &Season, batch: &Batch) -> Option<f64> {
    let samples = season.samples_of(&batch.batch).map(|sample| sample.sg);
    let lowest = samples.filter(possible).reduce(f64::min);
    // The only sample of a batch may be that of its wort.
    let fermented =
        lowest.filter(|low| original(season, batch).is_some_and(|original| *low < original - *NARROWEST_SG));
    fermented.or(batch.limit_sg.filter(possible))
}

/// The original gravity of a batch, as far as it is known without a probe.
fn original(season: &Season, batch: &Batch) -> Option<f64> {
    let highest = || {
        let samples: Vec<f64> = season.samples_of(&batch.batch).map(|sample| sample.sg).filter(possible).collect();
        let low = samples.iter().copied().reduce(f64::min)?;
        samples.into_iter().reduce(f64::max).filter(|high| *high > low + *NARROWEST_SG)
    };
    batch.original_sg.filter(possible).or_else(highest)
}
