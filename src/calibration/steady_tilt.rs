//! The tilt of a probe at rest in a bath, from its readings.

use crate::fit::robust::median_of;
use crate::season::Season;
use crate::units::Instant;

use super::noise::{Noise, UNUSABLE};

/// A steady tilt and temperature from readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SteadyTilt {
    /// Mean tilt, degrees.
    pub tilt_deg: f64,
    /// Its standard error by the noise of the readings, degrees.
    pub se_deg: f64,
    /// Mean temperature, C.
    pub temp_c: f64,
    /// Readings used.
    pub n: usize,
}

/// The tilt of a probe that rests in a bath at `at`, from the readings `rows`.
///
/// Seed: the median of the three readings nearest in time. Used: the unbroken run round the nearest reading whose
/// tilts are within five noise SDs (and at least one degree) of the seed, so that readings from the way to the bath
/// stay out. The variance of one reading pools the run's own spread with the probe's noise, which counts as ten
/// readings; autocorrelation raises the variance of the mean by (1 + rho)/(1 - rho).
pub(crate) fn steady_tilt(season: &Season, rows: &[usize], at: Instant, noise: Noise) -> Option<SteadyTilt> {
    const NOISE_DF: f64 = 10.0;
    let readings: Vec<(f64, f64, f64)> = rows
        .iter()
        .filter_map(|&row| season.readings.get(row))
        .filter(|r| !r.flags.intersects(UNUSABLE) && r.tilt_deg.is_finite())
        .map(|r| (r.at.hours_since(at), r.tilt_deg, r.temp_c))
        .collect();
    let mut by_distance: Vec<(f64, usize, f64)> =
        readings.iter().enumerate().map(|(i, r)| (r.0.abs(), i, r.1)).collect();
    by_distance.sort_by(|a, b| a.0.total_cmp(&b.0));
    let &(_, centre, _) = by_distance.first()?;
    let seed = median_of(&mut by_distance.iter().take(3).map(|r| r.2).collect::<Vec<f64>>())?;
    let reach = (5.0 * noise.sd_deg).max(1.0);
    let near = |&(_, tilt, _): &(f64, f64, f64)| (tilt - seed).abs() <= reach;
    let (before, after) = readings.split_at_checked(centre)?;
    let mut run: Vec<(f64, f64, f64)> = before.iter().rev().take_while(|r| near(r)).copied().collect();
    run.extend(after.iter().take_while(|r| near(r)).copied());
    if run.is_empty() {
        run.extend(readings.get(centre).copied());
    }
    let n = run.len() as f64;
    let tilt_deg = run.iter().map(|r| r.1).sum::<f64>() / n;
    let squares: f64 = run.iter().map(|r| (r.1 - tilt_deg).powi(2)).sum();
    let variance = (NOISE_DF * noise.sd_deg.powi(2) + squares) / (NOISE_DF + n - 1.0);
    let inflation = noise.inflation().min(n);
    let temps: Vec<f64> = run.iter().map(|r| r.2).filter(|t| t.is_finite()).collect();
    let temp_c = if temps.is_empty() { f64::NAN } else { temps.iter().sum::<f64>() / temps.len() as f64 };
    Some(SteadyTilt { tilt_deg, se_deg: (variance * inflation / n).sqrt(), temp_c, n: run.len() })
}
