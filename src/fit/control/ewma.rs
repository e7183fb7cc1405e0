//! The chart of exponentially weighted means.

use super::ChartSettings;
use crate::fit::robust::median;

/// Exponentially weighted means of standardised errors, with limits that allow for uneven spacing.
///
/// ```text
/// m_i = (1 - w_i) m_(i-1) + w_i z_i,   m_0 = 0
/// w_i = w_(i-1) / (b_i + w_(i-1)),     b_i = (1 - lambda)^((t_i - t_(i-1)) / spacing),   w_1 = lambda
/// v_i = (1 - w_i)^2 v_(i-1) + w_i^2,   v_0 = 0,   limits +- L sqrt(v_i)
/// ```
///
/// `w_i` is the weight of the newest error in a mean whose weights fall by `1 - lambda` per spacing (D. J. Wright, Manag. Sci. 32
/// (1986) 499, for forecasts; from memory). At even spacing it is `lambda`, and the chart is that of S. W. Roberts
/// (Technometrics 1 (1959) 239) with the exact limits for each point. After a long gap the newest error counts nearly
/// alone; errors at one time count alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Ewma {
    /// Times, days.
    pub times_d: Vec<f64>,
    /// The weighted mean after each error, standard deviations.
    pub statistic: Vec<f64>,
    /// Its upper limit; the lower one is minus that.
    pub limit: Vec<f64>,
    /// Rows whose mean is outside its limits.
    pub signals: Vec<usize>,
    /// Spacing that was used, days.
    pub spacing_d: f64,
}

impl Ewma {
    pub(super) fn of(settings: &ChartSettings, times_d: &[f64], errors: &[f64]) -> Self {
        let gaps: Vec<f64> = gaps(times_d).filter(|gap| *gap > 0.0).collect();
        let spacing_d = settings.ewma_spacing_d.or_else(|| median(&gaps).ok()).unwrap_or(1.0);
        let (mut weight, mut mean, mut variance) = (settings.ewma_weight, 0.0, 0.0);
        let (mut statistic, mut limit) = (Vec::with_capacity(errors.len()), Vec::with_capacity(errors.len()));
        // Before the first error lies a history under control.
        for (gap, z) in std::iter::once(spacing_d).chain(self::gaps(times_d)).zip(errors) {
            weight /= (1.0 - settings.ewma_weight).powf(gap / spacing_d) + weight;
            mean += weight * (z - mean);
            variance = (1.0 - weight) * (1.0 - weight) * variance + weight * weight;
            statistic.push(mean);
            limit.push(settings.ewma_limit * f64::sqrt(variance));
        }
        let signals =
            statistic.iter().zip(&limit).enumerate().filter(|(_, (m, l))| m.abs() > **l).map(|(i, _)| i).collect();
        Self { times_d: times_d.to_vec(), statistic, limit, signals, spacing_d }
    }

    /// The first row outside its limits.
    pub fn first_signal(&self) -> Option<usize> {
        self.signals.first().copied()
    }
}

fn gaps(times_d: &[f64]) -> impl Iterator<Item = f64> + '_ {
    times_d.iter().zip(times_d.iter().skip(1)).map(|(a, b)| b - a)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_at_one_time_count_alike() {
        let settings = ChartSettings { ewma_spacing_d: Some(1.0), ..ChartSettings::default() };
        let one = settings.ewma(&[0.0, 1.0, 1.0], &[0.0, 2.0, -1.0]).unwrap();
        let other = settings.ewma(&[0.0, 1.0, 1.0], &[0.0, -1.0, 2.0]).unwrap();
        assert!((one.statistic[2] - other.statistic[2]).abs() < 1e-15);
        assert!((one.limit[2] - other.limit[2]).abs() < 1e-15);
    }

    #[test]
    fn after_a_long_gap_the_newest_counts_alone() {
        let settings = ChartSettings { ewma_spacing_d: Some(1.0), ..ChartSettings::default() };
        let chart = settings.ewma(&[0.0, 1.0, 2000.0], &[3.0, 3.0, -1.0]).unwrap();
        assert!((chart.statistic[2] + 1.0).abs() < 1e-12 && (chart.limit[2] - 2.86).abs() < 1e-12);
    }
}
