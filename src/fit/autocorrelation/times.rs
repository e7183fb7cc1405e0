//! When the errors happened, in one series or several.

use crate::{Error, Result};

/// The times of readings: one series, or several that have nothing to do with each other.
///
/// Rows of one series stand together and their times do not fall. A slice of times is one series.
#[derive(Debug, Clone, Copy)]
pub struct Times<'a> {
    times: &'a [f64],
    series: Option<&'a [usize]>,
}

/// True for two gaps that differ by rounding alone: their exponential is then not computed anew.
pub(super) fn same_gap(a: Option<f64>, b: Option<f64>) -> bool {
    matches!((a, b), (Some(a), Some(b)) if (a - b).abs() <= 1e-10 * b)
}

impl<'a> From<&'a [f64]> for Times<'a> {
    fn from(times: &'a [f64]) -> Self {
        Self { times, series: None }
    }
}

impl<'a> From<&'a Vec<f64>> for Times<'a> {
    fn from(times: &'a Vec<f64>) -> Self {
        Self { times, series: None }
    }
}

impl<'a, const N: usize> From<&'a [f64; N]> for Times<'a> {
    fn from(times: &'a [f64; N]) -> Self {
        Self { times, series: None }
    }
}

impl<'a> Times<'a> {
    /// Several series: `series` is the number of each row's.
    ///
    /// # Errors
    /// [`Error::Usage`] for different lengths, or a series whose rows do not stand together.
    pub fn grouped(times: &'a [f64], series: &'a [usize]) -> Result<Self> {
        if times.len() != series.len() {
            return Err(Error::Usage(format!("{} times and {} numbers of series", times.len(), series.len())));
        }
        let mut seen = std::collections::BTreeSet::new();
        let mut last = None;
        for number in series {
            if last != Some(*number) && !seen.insert(*number) {
                return Err(Error::Usage(format!("the rows of series {number} do not stand together")));
            }
            last = Some(*number);
        }
        Ok(Self { times, series: Some(series) })
    }

    pub(super) fn is_one_series(&self) -> bool {
        self.series.is_none()
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.times.len()
    }

    /// True without rows.
    pub fn is_empty(&self) -> bool {
        self.times.is_empty()
    }

    /// Times since the row before; `None` at the start of a series.
    pub(super) fn gaps(&self) -> impl Iterator<Item = Option<f64>> {
        let number = |i: usize| self.series.and_then(|series| series.get(i));
        self.times.iter().enumerate().map(move |(i, time)| {
            let before = i.checked_sub(1)?;
            (number(before) == number(i)).then(|| time - self.times.get(before).copied().unwrap_or(*time))
        })
    }

    pub(super) fn check(&self) -> Result<()> {
        if let Some(bad) = self.times.iter().find(|time| !time.is_finite()) {
            return Err(Error::not_estimable("an autocorrelation", format!("a time is {bad}")));
        }
        if let Some((row, gap)) = self.gaps().enumerate().find(|(_, gap)| gap.is_some_and(|gap| gap < 0.0)) {
            let back = -gap.unwrap_or(0.0);
            let why = format!("the time falls by {back} at row {row}; sort the rows first");
            return Err(Error::not_estimable("an autocorrelation", why));
        }
        Ok(())
    }
}
