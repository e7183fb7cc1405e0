//! The short-time noise of a probe's tilt, from its own readings.

use crate::fit::robust::median_of;
use crate::season::{Flags, Readings};
use crate::units::Instant;

/// Readings that say nothing about the liquid: they enter no level, no noise and no fit.
pub(crate) const UNUSABLE: Flags =
    Flags::TILT_RANGE.with(Flags::TEMP_RANGE).with(Flags::FROZEN).with(Flags::CLOCK_JUMP);

/// Readings in a block, through which a parabola is laid.
const BLOCK: usize = 24;
/// The parabola's coefficients.
const TREND: usize = 3;

assumed! {
    /// The least standard deviation of a reading.
    const LEAST_SD_DEG: f64 = 0.02, "degrees";
}

/// First autocorrelation that white noise shows in a block after the parabola: measured, -0.125 (24 readings).
const WHITE_LAG_ONE: f64 = -0.125;

/// Noise about a local trend: standard deviation, and autocorrelation from one reading to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Noise {
    /// Standard deviation of one reading, degrees.
    pub sd_deg: f64,
    /// Correlation of neighbouring readings, 0 to 0.95.
    pub rho: f64,
    /// Blocks it rests on.
    pub blocks: usize,
}

impl Noise {
    /// Noise of readings `rows` (one probe, in order of time), or none when they make no block of 24 without a gap.
    ///
    /// Blocks of 24 readings are freed of a parabola; `sd_deg` is the root of the median block variance (corrected for
    /// the median of a chi-squared with 21 degrees of freedom), `rho` the mean first autocorrelation, freed of the
    /// bias that the parabola brings. A sensor that rounds so coarsely that it stands still is given 0.02 degrees.
    pub fn of(readings: &Readings, rows: std::ops::Range<usize>) -> Option<Self> {
        let at = readings.at.get(rows.clone())?;
        let tilt = readings.tilt_deg.get(rows.clone())?;
        let flags = readings.flags.get(rows)?;
        let longest_gap_h = 4.0 * typical_spacing_h(at)?;
        let mut variances = Vec::new();
        let mut lag_ones = 0.0;
        let mut block: Vec<f64> = Vec::with_capacity(BLOCK);
        let mut last: Option<Instant> = None;
        for ((&at, &tilt), &flag) in at.iter().zip(tilt).zip(flags) {
            let unusable = flag.intersects(UNUSABLE) || !tilt.is_finite();
            if unusable || last.is_some_and(|before| at.hours_since(before) > longest_gap_h) {
                block.clear();
            }
            last = Some(at);
            if unusable {
                continue;
            }
            block.push(tilt);
            if block.len() == BLOCK {
                let (variance, lag_one) = about_parabola(&block);
                variances.push(variance);
                lag_ones += lag_one;
                block.clear();
            }
        }
        let blocks = variances.len();
        let typical = median_of(&mut variances)?;
        let df = (BLOCK - TREND) as f64;
        let median_over_mean = (1.0 - 2.0 / (9.0 * df)).powi(3);
        let rho = (lag_ones / blocks as f64 - WHITE_LAG_ONE) / (1.0 - WHITE_LAG_ONE.abs());
        Some(Self { sd_deg: (typical / median_over_mean).sqrt().max(*LEAST_SD_DEG), rho: rho.clamp(0.0, 0.95), blocks })
    }

    /// By what the variance of a mean of neighbouring readings exceeds that of independent ones.
    pub fn inflation(&self) -> f64 {
        (1.0 + self.rho) / (1.0 - self.rho)
    }
}

/// Median time from one reading to the next, hours; none for fewer than two readings.
pub(crate) fn typical_spacing_h(at: &[Instant]) -> Option<f64> {
    let mut gaps: Vec<f64> = at.windows(2).map(|w| if let [a, b] = w { b.hours_since(*a) } else { 0.0 }).collect();
    median_of(&mut gaps).filter(|gap| *gap > 0.0)
}

/// Residual variance and first autocorrelation about the least-squares parabola in the index.
fn about_parabola(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mid = 0.5 * (n - 1.0);
    // Orthogonal polynomials on 0..n: 1, u, u^2 - (n^2 - 1)/12 with u = i - mid.
    let shift = (n * n - 1.0) / 12.0;
    let (mut sum, mut linear, mut square, mut norm_linear, mut norm_square) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, &value) in values.iter().enumerate() {
        let u = i as f64 - mid;
        let q = u * u - shift;
        sum += value;
        linear += u * value;
        square += q * value;
        norm_linear += u * u;
        norm_square += q * q;
    }
    let (mean, slope, bend) = (sum / n, linear / norm_linear, square / norm_square);
    let (mut total, mut lagged, mut before) = (0.0, 0.0, 0.0);
    for (i, &value) in values.iter().enumerate() {
        let u = i as f64 - mid;
        let residual = value - mean - slope * u - bend * (u * u - shift);
        total += residual * residual;
        if i > 0 {
            lagged += residual * before;
        }
        before = residual;
    }
    let lag_one = if total > 0.0 { lagged / total } else { WHITE_LAG_ONE };
    (total / (n - TREND as f64), lag_one)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    fn readings(rho: f64, sd: f64, n: usize) -> Readings {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7);
        let mut state = 0.0;
        let mut readings = Readings { probe_ids: vec!["knot".into()], ..Readings::default() };
        for i in 0..n {
            let draw: f64 = StandardNormal.sample(&mut rng);
            state = rho * state + (1.0 - rho * rho).sqrt() * draw;
            readings.at.push(Instant::from_micros(0).plus_hours(0.25 * i as f64));
            readings.probe.push(0);
            readings.tilt_deg.push(60.0 - 20.0 / (1.0 + (-(i as f64 - 300.0) / 60.0).exp()) + sd * state);
            readings.temp_c.push(20.0);
            readings.flags.push(Flags::NONE);
        }
        readings
    }

    #[test]
    fn white_noise_on_a_falling_tilt_is_found() {
        let data = readings(0.0, 0.3, 6000);
        let noise = Noise::of(&data, 0..data.len()).unwrap();
        assert!((noise.sd_deg / 0.3 - 1.0).abs() < 0.05, "{noise:?}");
        assert!(noise.rho < 0.06, "{noise:?}");
    }

    #[test]
    fn correlated_noise_is_told_from_white() {
        let data = readings(0.5, 0.3, 6000);
        let noise = Noise::of(&data, 0..data.len()).unwrap();
        assert!((noise.rho - 0.5).abs() < 0.1 && (noise.sd_deg / 0.3 - 1.0).abs() < 0.15, "{noise:?}");
    }

    #[test]
    fn too_few_readings_have_no_noise() {
        let data = readings(0.0, 0.3, 20);
        assert_eq!(Noise::of(&data, 0..data.len()), None);
    }
}
