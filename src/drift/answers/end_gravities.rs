//! The gravities at which the season's beers end.

use crate::calibration::Liquids;
use crate::calibration::{Calibrations, UNUSABLE};
use crate::error::Result;
use crate::fit::robust::median;
use crate::season::{Batch, Season};
use crate::units::HOURS_PER_DAY;

assumed! {
    /// Where beers end when the season does not say.
    const USUAL_END_SG: f64 = 1.010, "SG";
    /// A day of a probe in a batch needs so many readings for a level.
    const READINGS_NEEDED: usize = 4, "readings";
}

/// The 10, 50 and 90 % quantile of the gravities at which the batches ended; without any, 1.010.
///
/// Where a batch ended is its lowest sample from the second half of its time; where it has none, the lowest daily median of
/// its probes on their curves.
pub(super) fn end_gravities(season: &Season, calibrations: &Calibrations) -> Result<Vec<f64>> {
    let liquids = calibrations.liquids(season)?;
    let of_batch =
        |batch: &Batch| lowest_sample(season, batch).or_else(|| settled(season, calibrations, &liquids, batch));
    let mut lowest: Vec<f64> = season.batches.iter().filter_map(of_batch).collect();
    lowest.sort_by(f64::total_cmp);
    let at = |share: f64| lowest.get((share * (lowest.len().saturating_sub(1)) as f64).round() as usize).copied();
    let mut found: Vec<f64> = [0.1, 0.5, 0.9].into_iter().filter_map(at).collect();
    found.dedup();
    Ok(if found.is_empty() { vec![*USUAL_END_SG] } else { found })
}

/// The middle one of the gravities at which beers end.
pub(super) fn middle_sg(ends_sg: &[f64]) -> f64 {
    ends_sg.get(ends_sg.len() / 2).copied().unwrap_or(*USUAL_END_SG)
}

/// Days from pitching to the end; none while the batch runs.
fn days(batch: &Batch) -> Option<f64> {
    batch.ended_at.map(|end| end.days_since(batch.pitched_at)).filter(|days| *days > 0.0)
}

fn lowest_sample(season: &Season, batch: &Batch) -> Option<f64> {
    let half = 0.5 * days(batch)?;
    let of_batch = season.samples_of(&batch.batch);
    let late = of_batch.filter(|r| r.at.days_since(batch.pitched_at) >= half).map(|r| r.sg);
    late.filter(|sg| sg.is_finite()).min_by(f64::total_cmp)
}

/// The mean over the batch's probes of the lowest daily median.
fn settled(season: &Season, calibrations: &Calibrations, liquids: &Liquids, batch: &Batch) -> Option<f64> {
    let days = days(batch)?;
    let readings = &season.readings;
    let own = readings.batch_index(&batch.batch)?;
    let liquid = liquids.of(season, Some(&batch.batch));
    let of_probe = |probe: &String| -> Option<f64> {
        let on_day = |day: usize| -> Option<f64> {
            let from = batch.pitched_at.plus_hours(HOURS_PER_DAY * day as f64);
            let rows = readings.of_probe_between(probe, from, from.plus_hours(HOURS_PER_DAY));
            let usable = |row: &usize| {
                readings.batch.get(*row).copied().flatten() == Some(own)
                    && readings.flags.get(*row).is_some_and(|flags| !flags.intersects(UNUSABLE))
            };
            let rows: Vec<_> = rows.filter(usable).filter_map(|row| readings.get(row)).collect();
            if rows.len() < *READINGS_NEEDED {
                return None;
            }
            let curve = calibrations.in_force(probe, from)?;
            let tilts: Vec<f64> = rows.iter().map(|r| r.tilt_deg).collect();
            let temps: Vec<f64> = rows.iter().map(|r| r.temp_c).collect();
            let (tilt_deg, temp_c) = (median(&tilts).ok()?, median(&temps).ok()?);
            curve.gravity_at(liquid, tilt_deg, temp_c, 0.0).map(|point| point.sg)
        };
        (0..days.ceil() as usize).filter_map(on_day).min_by(f64::total_cmp)
    };
    let levels: Vec<f64> = readings.probe_ids.iter().filter_map(of_probe).collect();
    (!levels.is_empty()).then(|| levels.iter().sum::<f64>() / levels.len() as f64)
}
