//! A probe's tilt at a moment, from its readings around it.

use crate::calibration::{Noise, UNUSABLE};
use crate::fit::robust::median_of;
use crate::season::{Flags, Season};

assumed! {
    /// Readings farther from the local line than this many noise SDs are left out.
    const OUTLIER_SD: f64 = 4.0, "SD";
    /// Fewer readings than this give a mean, not a line.
    const LINE_NEEDS: usize = 5, "readings";
}

/// Readings that show no beer.
pub(super) const NO_BEER: Flags = UNUSABLE.with(Flags::NO_BEER);

/// A plateau: the tilt of a probe at a moment, from its readings around it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::drift) struct Plateau {
    /// Tilt at the moment, degrees.
    pub tilt_deg: f64,
    /// Its standard error by the readings' noise, autocorrelation included, degrees.
    pub se_deg: f64,
    /// Slope, degrees per hour; 0 where there are too few readings for one.
    pub per_h: f64,
    pub temp_c: f64,
}

/// The plateau at `at` of readings `rows` (one probe, one batch): a line by weighted least squares, tricube weights
/// `(1 - (|dt|/window)^3)^3` (Cleveland, J. Am. Stat. Assoc. 74 (1979) 829), without outliers: up to half of them may be far from the
/// line of the median of their slopes (Sen, J. Am. Stat. Assoc. 63 (1968) 1379).
///
/// The SE is that of the weighted combination of readings with the probe's noise, its variance raised by
/// (1 + rho)/(1 - rho) for their autocorrelation (never beyond one reading's own).
pub(in crate::drift) fn plateau_at(
    season: &Season,
    rows: std::ops::Range<usize>,
    keep: impl Fn(usize) -> bool,
    at: crate::Instant,
    window_h: f64,
    noise: Noise,
) -> Option<Plateau> {
    let readings: Vec<(f64, f64, f64)> = rows
        .filter(|&row| keep(row))
        .filter_map(|row| season.readings.get(row))
        .map(|r| (r.at.hours_since(at), r.tilt_deg, r.temp_c))
        .filter(|r| r.0.abs() < window_h && r.1.is_finite())
        .collect();
    let first = weighted_line(&readings, window_h)?;
    let reach = *OUTLIER_SD * noise.sd_deg.max(0.02);
    let (tilt_deg, per_h) = robust_line(&readings);
    let near = |r: &&(f64, f64, f64)| (r.1 - tilt_deg - per_h * r.0).abs() <= reach;
    let kept: Vec<(f64, f64, f64)> = readings.iter().filter(near).copied().collect();
    let line = if 2 * kept.len() > readings.len() { weighted_line(&kept, window_h)? } else { first };
    let variance = (noise.sd_deg.powi(2) * line.squared_weights * noise.inflation()).min(noise.sd_deg.powi(2));
    let temps: Vec<f64> =
        readings.iter().filter(|r| r.0.abs() < 0.5 * window_h && r.2.is_finite()).map(|r| r.2).collect();
    let temp_c = temps.iter().sum::<f64>() / temps.len() as f64;
    Some(Plateau { tilt_deg: line.tilt_deg, se_deg: variance.sqrt(), per_h: line.per_h, temp_c })
}

/// Value at 0 and slope: the medians over all pairs of readings.
fn robust_line(readings: &[(f64, f64, f64)]) -> (f64, f64) {
    let pairs = readings.iter().enumerate().flat_map(|(i, a)| readings.iter().skip(i + 1).map(move |b| (a, b)));
    let slopes = pairs.filter(|(a, b)| b.0 > a.0).map(|(a, b)| (b.1 - a.1) / (b.0 - a.0));
    let per_h = median_of(&mut slopes.collect::<Vec<f64>>()).unwrap_or(0.0);
    let levels = readings.iter().map(|r| r.1 - per_h * r.0);
    (median_of(&mut levels.collect::<Vec<f64>>()).unwrap_or(0.0), per_h)
}

#[derive(Clone, Copy)]
struct LocalLine {
    tilt_deg: f64,
    per_h: f64,
    /// Sum of the squared weights with which the readings enter the tilt.
    squared_weights: f64,
}

fn weighted_line(readings: &[(f64, f64, f64)], window_h: f64) -> Option<LocalLine> {
    let weight = |t: f64| (1.0 - (t.abs() / window_h).min(1.0).powi(3)).powi(3);
    let (mut s0, mut s1, mut s2, mut y0, mut y1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(t, tilt, _) in readings {
        let w = weight(t);
        s0 += w;
        s1 += w * t;
        s2 += w * t * t;
        y0 += w * tilt;
        y1 += w * t * tilt;
    }
    let determinant = s0 * s2 - s1 * s1;
    if s0 <= 0.0 {
        return None;
    }
    if readings.len() < *LINE_NEEDS || determinant <= 1e-9 * s0 * s2 {
        let squared: f64 = readings.iter().map(|r| (weight(r.0) / s0).powi(2)).sum();
        return Some(LocalLine { tilt_deg: y0 / s0, per_h: 0.0, squared_weights: squared });
    }
    let tilt_deg = (s2 * y0 - s1 * y1) / determinant;
    let per_h = (s0 * y1 - s1 * y0) / determinant;
    let squared = readings.iter().map(|r| (weight(r.0) * (s2 - s1 * r.0) / determinant).powi(2)).sum();
    Some(LocalLine { tilt_deg, per_h, squared_weights: squared })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_met_exactly_and_an_even_window_weighs_like_a_mean() {
        let readings: Vec<(f64, f64, f64)> =
            (-10..=10).map(|i| (0.25 * f64::from(i), 40.0 - 0.5 * 0.25 * f64::from(i), 20.0)).collect();
        let line = weighted_line(&readings, 3.0).unwrap();
        assert!((line.tilt_deg - 40.0).abs() < 1e-12 && (line.per_h + 0.5).abs() < 1e-12);
        assert!(line.squared_weights > 1.0 / 21.0 && line.squared_weights < 2.0 / 21.0);
    }

    #[test]
    fn a_first_reading_far_off_turns_no_line() {
        let readings: Vec<(f64, f64, f64)> =
            (0..9).map(|i| (1.0 + 0.25 * f64::from(i), if i == 0 { 55.0 } else { 52.0 }, 20.0)).collect();
        assert_eq!(robust_line(&readings), (52.0, 0.0));
    }

    #[test]
    fn few_readings_give_a_mean() {
        let line = weighted_line(&[(-0.1, 30.0, 20.0), (0.1, 31.0, 20.0)], 3.0).unwrap();
        assert!((line.tilt_deg - 30.5).abs() < 1e-12 && (line.squared_weights - 0.5).abs() < 1e-12);
        assert!(weighted_line(&[], 3.0).is_none());
    }
}
