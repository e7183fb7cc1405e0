//! Gravities as known at a moment.

use crate::error::Result;
use crate::gravity::GravitySeries;
use crate::season::Batch;
use crate::units::Instant;

/// Gives a batch's gravities as they were known at a moment: no reading, sample, calibration or event that came later.
///
/// A forecast asks this and nothing else about data, so that it cannot look ahead. Several threads ask at once.
pub trait KnownSeries: Sync {
    /// The series of `batch` as known at `as_of`; none when the batch had not been pitched or had no data by then.
    ///
    /// # Errors
    /// When the gravities cannot be computed at all.
    fn series(&self, batch: &Batch, as_of: Instant) -> Result<Option<GravitySeries>>;
}

/// Cut at the moment: right for gravities that do not depend on later calibrations, such as samples alone.
impl KnownSeries for Vec<GravitySeries> {
    fn series(&self, batch: &Batch, as_of: Instant) -> Result<Option<GravitySeries>> {
        Ok(self.iter().find(|series| series.batch == batch.batch).and_then(|series| series.as_of(as_of)))
    }
}
