//! Plateaus before and after a cooling, from six-hour blocks.

use crate::fit::quantile;
use crate::fit::robust::median_of;

use super::settings::ShellEffectSettings;
use crate::gravity::six_hours::{SIX_HOURS, six_hours};

/// One reading: hours from pitching, the logarithm of the curve's density over that of the liquid, temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CoolingPoint {
    pub(super) hours: f64,
    pub(super) log_ratio: f64,
    pub(super) temp_c: f64,
}

/// A mean of readings at rest, with the scatter of its blocks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TempPlateau {
    pub(super) mean: f64,
    /// Squared standard error of the mean.
    pub(super) variance: f64,
    pub(super) df: f64,
    pub(super) temp_c: f64,
    pub(super) first_h: f64,
    pub(super) last_h: f64,
    pub(super) readings: usize,
}

/// Readings that make a block.
const BLOCK_READINGS: usize = 4;
/// Share of the blocks of a window that must be there.
const SHARE: f64 = 0.75;
/// Fewest blocks of the cold.
const COLD_BLOCKS: usize = 4;
/// The cold is where the temperature lies within this of its lowest block, K.
const NEAR_COLD_C: f64 = 1.0;
/// A fall of SG by less is none, however surely it is seen: over 15 K it is 6e-6 per K.
const NEGLIGIBLE_SG: f64 = 0.0001;
/// A fall is significant, or ruled out, at this one-sided level.
const ONE_SIDED: f64 = 0.05;

#[derive(Debug, Clone, Copy)]
struct SixHours {
    hours: f64,
    log_ratio: f64,
    temp_c: f64,
    readings: usize,
}

/// Medians of each six hours that have readings enough.
fn blocks(points: &[CoolingPoint]) -> Vec<SixHours> {
    six_hours(points, |p| p.hours)
        .map(|(_, block)| block)
        .filter(|block| block.len() >= BLOCK_READINGS)
        .filter_map(|block| {
            let median = |of: fn(&CoolingPoint) -> f64| median_of(&mut block.iter().map(of).collect::<Vec<f64>>());
            Some(SixHours {
                hours: median(|p| p.hours)?,
                log_ratio: median(|p| p.log_ratio)?,
                temp_c: median(|p| p.temp_c)?,
                readings: block.len(),
            })
        })
        .collect()
}

/// Mean of the blocks and its error by their scatter about a mean (`lost` = 1) or a line (2).
fn plateau(blocks: &[SixHours], scatter: f64, lost: usize) -> Option<TempPlateau> {
    let n = blocks.len() as f64;
    let mean = |of: fn(&SixHours) -> f64| blocks.iter().map(of).sum::<f64>() / n;
    Some(TempPlateau {
        mean: mean(|b| b.log_ratio),
        variance: scatter / n,
        df: n - lost as f64,
        temp_c: mean(|b| b.temp_c),
        first_h: blocks.first()?.hours,
        last_h: blocks.last()?.hours,
        readings: blocks.iter().map(|b| b.readings).sum(),
    })
}

/// The plateau of the hours before the cooling, when the gravity has come to rest there; `sg` turns a share into SG.
pub(super) fn warm(
    points: &[CoolingPoint],
    cooled_h: f64,
    sg: f64,
    settings: &ShellEffectSettings,
) -> Result<TempPlateau, String> {
    let window = settings.warm_h;
    let inside: Vec<CoolingPoint> =
        points.iter().filter(|p| p.hours >= cooled_h - window && p.hours < cooled_h).copied().collect();
    let blocks = blocks(&inside);
    if (blocks.len() as f64) < SHARE * window / SIX_HOURS {
        let n = blocks.len();
        return Err(format!("a gap: only {n} of {:.0} six-hour blocks before the cooling", window / SIX_HOURS));
    }
    let n = blocks.len() as f64;
    let (mean_h, mean_y) = blocks.iter().fold((0.0, 0.0), |(h, y), b| (h + b.hours / n, y + b.log_ratio / n));
    let square: f64 = blocks.iter().map(|b| (b.hours - mean_h).powi(2)).sum();
    let slope = blocks.iter().map(|b| (b.hours - mean_h) * b.log_ratio).sum::<f64>() / square;
    let residual = |b: &SixHours| b.log_ratio - mean_y - slope * (b.hours - mean_h);
    let scatter = blocks.iter().map(|b| residual(b).powi(2)).sum::<f64>() / (n - 2.0);
    let t = quantile::student_t_two_sided(1.0 - 2.0 * ONE_SIDED, n - 2.0).map_err(|why| why.to_string())?;
    let in_window = sg * window;
    let (fall, error) = (-slope * in_window, (scatter / square).sqrt() * in_window);
    if fall > NEGLIGIBLE_SG && fall > t * error {
        return Err(format!("not settled: SG still fell by {fall:.4} in the {window:.0} h before the cooling"));
    }
    if fall + t * error > settings.settled_sg {
        return Err(format!(
            "not shown to be settled: SG may have fallen by {:.4} in the {window:.0} h before the cooling",
            fall + t * error
        ));
    }
    plateau(&blocks, scatter, 2).ok_or_else(|| "no readings before the cooling".to_owned())
}

/// The plateau in the cold, once vessel and probe have followed.
pub(super) fn cold(
    points: &[CoolingPoint],
    cooled_h: f64,
    settings: &ShellEffectSettings,
) -> Result<TempPlateau, String> {
    let after: Vec<CoolingPoint> = points.iter().filter(|p| p.hours >= cooled_h).copied().collect();
    let blocks = blocks(&after);
    let coldest = blocks.iter().map(|b| b.temp_c).fold(f64::INFINITY, f64::min);
    let near = |b: &&SixHours| b.temp_c <= coldest + NEAR_COLD_C;
    let Some(reached) = blocks.iter().find(near).map(|b| b.hours) else {
        return Err("no readings in the cold".to_owned());
    };
    let (from, to) = (reached + settings.settle_h, reached + settings.settle_h + settings.cold_h);
    let kept: Vec<SixHours> =
        blocks.iter().filter(near).filter(|b| b.hours >= from && b.hours <= to).copied().collect();
    if kept.len() < COLD_BLOCKS {
        return Err(format!("a gap: only {} six-hour blocks in the settled cold, {COLD_BLOCKS} wanted", kept.len()));
    }
    let n = kept.len() as f64;
    let mean = kept.iter().map(|b| b.log_ratio).sum::<f64>() / n;
    let scatter = kept.iter().map(|b| (b.log_ratio - mean).powi(2)).sum::<f64>() / (n - 1.0);
    plateau(&kept, scatter, 1).ok_or_else(|| "no readings in the cold".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(until_h: f64, of: impl Fn(f64) -> (f64, f64)) -> Vec<CoolingPoint> {
        let at = |i: u32| f64::from(i) / 4.0;
        (0..(4.0 * until_h) as u32)
            .map(|i| {
                let wiggle = 1e-5 * f64::from(i % 7) - 3e-5 + 2e-5 * f64::from(i / 24 % 3);
                let (log_ratio, temp_c) = of(at(i));
                CoolingPoint { hours: at(i), log_ratio: log_ratio + wiggle, temp_c }
            })
            .collect()
    }

    #[test]
    fn plateaus_are_taken_before_and_well_after_the_cooling() {
        let log = points(240.0, |h| if h < 120.0 { (0.001, 20.0) } else { (0.003, (20.0 - (h - 120.0)).max(3.0)) });
        let settings = ShellEffectSettings::default();
        let (warm, cold) = (warm(&log, 120.0, 1.01, &settings).unwrap(), cold(&log, 120.0, &settings).unwrap());
        assert!((cold.mean - warm.mean - 0.002).abs() < 3e-5, "{warm:?} {cold:?}");
        assert!(warm.first_h >= 72.0 && warm.last_h < 120.0 && cold.first_h > 140.0);
        assert!((warm.temp_c - 20.0).abs() < 1e-9 && (cold.temp_c - 3.0).abs() < 0.2);
    }

    #[test]
    fn what_still_falls_or_has_gaps_is_refused() {
        let settings = ShellEffectSettings::default();
        let falling = points(120.0, |h| (0.002 - 2e-5 * h, 20.0));
        assert!(warm(&falling, 120.0, 1.01, &settings).unwrap_err().contains("still fell by 0.001"));
        let steady = points(120.0, |_| (0.0, 20.0));
        let gap: Vec<CoolingPoint> = steady.iter().filter(|p| p.hours < 80.0 || p.hours > 110.0).copied().collect();
        assert!(warm(&gap, 120.0, 1.01, &settings).unwrap_err().contains("a gap"));
        assert!(cold(&steady, 120.0, &settings).unwrap_err().contains("no readings in the cold"));
        let short = points(140.0, |h| (0.0, if h < 120.0 { 20.0 } else { 3.0 }));
        assert!(cold(&short, 120.0, &settings).unwrap_err().contains("a gap"));
        let blind = ShellEffectSettings { settled_sg: 1e-5, ..settings };
        assert!(warm(&steady, 120.0, 1.01, &blind).unwrap_err().contains("not shown to be settled"));
    }
}
