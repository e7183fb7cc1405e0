//! When the cooling of a batch began.

use crate::fit::robust::median_of;
use crate::season::{Batch, Season};

assumed! {
    /// Length of the stretches whose medians are looked at; at the end of the log a cooling must have lasted this long.
    const SIX_HOURS: f64 = 6.0, "h";
    /// A fall by this much is a cooling.
    const FALL_C: f64 = 4.0, "C";
    /// So far it goes below all that the batch had before it was warmest: beer that warmed itself falls back to where it began.
    const BELOW_C: f64 = 3.0, "C";
    /// The start of the cooling: the last moment within this of the temperature before.
    const START_C: f64 = 1.0, "C";
    /// The temperature before a fall is the highest six-hour median of this many hours.
    const WARM_H: f64 = 48.0, "h";
    /// A fall counts when it lasts this long, or to the end of the log, and is not sooner than this after pitching: the wort may
    /// come in warm.
    const LASTS_H: f64 = 24.0, "h";
    /// A plan is overruled by a log that is still warm this long after the planned cooling.
    const LATE_H: f64 = 12.0, "h";
}

/// Hours from pitching at which cooling began, or is planned to begin; none when nothing shows one.
///
/// The earlier of an event `cold_crash` of the batch and a fall of the logged temperature by 4 C or more below the
/// highest six-hour median of the two days before it and by 3 C below all before that, that lasts 24 h (or 6 h to the end of
/// the log) and is not made good again for a day; it is dated at the last reading within 1 C of that highest. A slower fall,
/// as when a fermentation no longer warms itself, is none, and so is a heater that fails for a while. Where neither is seen,
/// the first step of the plan that lies 4 C below the set temperature, unless the log is still warm 12 h after it.
pub(crate) fn cooled_hours(season: &Season, batch: &Batch, hours: &[f64], temp_c: &[f64]) -> Option<f64> {
    let event = season
        .events
        .iter()
        .filter(|e| e.kind == "cold_crash" && e.batch.as_deref() == Some(batch.batch.as_str()))
        .map(|e| e.at.hours_since(batch.pitched_at))
        .find(|&at| at > 0.0);
    let logged = fall(hours, temp_c);
    let seen = event.into_iter().chain(logged).reduce(f64::min);
    let still_warm = |at: f64| hours.last().is_some_and(|&last| last > at + *LATE_H);
    seen.or_else(|| planned(season, batch).filter(|&at| !still_warm(at)))
}

/// The first step of the plan at least [`FALL_C`] below the set temperature, or below the plan's own first step.
fn planned(season: &Season, batch: &Batch) -> Option<f64> {
    let mut steps = season.plan.iter().filter(|step| step.batch == batch.batch).peekable();
    let warm = batch.set_temp_c.or_else(|| steps.peek().map(|first| first.temp_c))?;
    steps
        .filter(|step| step.temp_c <= warm - *FALL_C)
        .map(|step| step.at.hours_since(batch.pitched_at))
        .find(|&at| at > 0.0)
}

/// The start of the first lasting fall of the logged temperature, hours.
fn fall(hours: &[f64], temp_c: &[f64]) -> Option<f64> {
    let medians = six_hour_medians(hours, temp_c);
    let last = medians.last()?.0;
    for (i, &(at, temp)) in medians.iter().enumerate() {
        let recent = |h: f64| h >= (at - *WARM_H).max(*LASTS_H - *SIX_HOURS) && h < at;
        let recent = medians.iter().enumerate().take(i).filter(|(_, (h, _))| recent(*h));
        let Some((peak, &(_, warm))) = recent.max_by(|a, b| a.1.1.total_cmp(&b.1.1)) else { continue };
        let lowest = medians.iter().take(peak + 1).map(|(_, c)| *c).fold(f64::INFINITY, f64::min);
        let cold = (warm - *FALL_C).min(lowest - *BELOW_C);
        if at < *LASTS_H || temp > cold {
            continue;
        }
        let after = medians.get(i..).unwrap_or_default();
        let stays = after.iter().take_while(|(t, _)| *t <= at + *LASTS_H).all(|(_, c)| *c <= cold);
        let made_good = after.chunk_by(|a, b| (a.1 > cold) == (b.1 > cold)).any(|stretch| match stretch {
            [first, .., last] => first.1 > cold && last.0 - first.0 >= *LASTS_H,
            _ => false,
        });
        if stays && !made_good && last >= at + *SIX_HOURS {
            return Some(start_of_fall(hours, temp_c, warm, at));
        }
    }
    None
}

/// The last logged moment before the fall is complete within [`START_C`] of the temperature before.
fn start_of_fall(hours: &[f64], temp_c: &[f64], warm: f64, at: f64) -> f64 {
    let before = hours.iter().zip(temp_c).take_while(|(h, _)| **h <= at + 3.0);
    before.filter(|(_, c)| **c >= warm - *START_C).map(|(h, _)| *h).last().unwrap_or(at)
}

/// Middle time and median temperature of each six hours that have readings.
fn six_hour_medians(hours: &[f64], temp_c: &[f64]) -> Vec<(f64, f64)> {
    let log: Vec<(i64, f64)> =
        hours.iter().map(|hours| (hours / *SIX_HOURS).floor() as i64).zip(temp_c.iter().copied()).collect();
    log.chunk_by(|a, b| a.0 == b.0)
        .filter_map(|stretch| {
            let mut temps: Vec<f64> = stretch.iter().map(|(_, temp)| *temp).filter(|temp| temp.is_finite()).collect();
            Some((*SIX_HOURS * (stretch.first()?.0 as f64 + 0.5), median_of(&mut temps)?))
        })
        .collect()
}

#[cfg(test)]
#[path = "../../tests/inside/cooling.rs"]
mod tests;
