//! The chart of cumulative sums.

use super::ChartSettings;

/// Which way the errors went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Upwards.
    Up,
    /// Downwards.
    Down,
}

/// A sum that passed its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// Which sum.
    pub side: Side,
    /// The row at which it passed.
    pub at: usize,
    /// The first row of the excursion: the row after the sum was last zero, the usual estimate of when the step happened
    /// (E. S. Page, Biometrika 41 (1954) 100).
    pub began: usize,
}

/// Cumulative sums of standardised errors beyond an allowance `k`, with limit `h` (E. S. Page, Biometrika 41 (1954) 100):
///
/// ```text
/// up_i = max(0, up_(i-1) + z_i - k),   down_i = max(0, down_(i-1) - z_i - k)
/// ```
///
/// Both start at the head start (J. M. Lucas and R. B. Crosier, Technometrics 24 (1982) 199), by default 0. A step of the
/// process moves every later error by the same, however long the gaps, so the limit holds for any spacing.
#[derive(Debug, Clone, PartialEq)]
pub struct Cusum {
    /// Times, days.
    pub times_d: Vec<f64>,
    /// The upper sum after each error, standard deviations.
    pub up: Vec<f64>,
    /// The lower sum, counted positive.
    pub down: Vec<f64>,
    /// The limit of both.
    pub limit: f64,
    /// The first signal of each side that has one, upward first. A sum is not reset by its signal.
    pub signals: Vec<Signal>,
}

impl Cusum {
    pub(super) fn of(settings: &ChartSettings, times_d: &[f64], errors: &[f64]) -> Self {
        let start = settings.cusum_head_start * settings.cusum_limit;
        let mut signals = Vec::new();
        let mut run = |side: Side| {
            let sign = if side == Side::Up { 1.0 } else { -1.0 };
            let (mut sum, mut began, mut quiet) = (start, 0, true);
            errors
                .iter()
                .enumerate()
                .map(|(at, z)| {
                    sum = f64::max(0.0, sum + sign * z - settings.cusum_allowance);
                    if quiet && sum > settings.cusum_limit {
                        signals.push(Signal { side, at, began });
                        quiet = false;
                    }
                    if sum <= 0.0 {
                        began = at + 1;
                    }
                    sum
                })
                .collect()
        };
        let (up, down) = (run(Side::Up), run(Side::Down));
        Self { times_d: times_d.to_vec(), up, down, limit: settings.cusum_limit, signals }
    }

    /// The earlier of the two first signals.
    pub fn first_signal(&self) -> Option<Signal> {
        self.signals.iter().copied().min_by_key(|signal| signal.at)
    }
}
