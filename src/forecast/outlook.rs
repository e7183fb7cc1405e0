//! Schedules ahead, and what they would bring.

use crate::units::Instant;

use super::quantiles::Quantiles;

/// Set temperatures ahead.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// Its name.
    pub name: String,
    /// From when, and which temperature, C; in order of time. Before the first the batch is held as it is.
    pub steps: Vec<(Instant, f64)>,
}

/// What one schedule would bring.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The batch.
    pub batch: String,
    /// The moment as of which it is told.
    pub as_of: Instant,
    /// The schedule.
    pub schedule: String,
    /// When the batch comes to rest; none for a quantile at which cold comes first.
    pub finish: Quantiles<Option<Instant>>,
    /// Hours later than if it is held as it is; none for a quantile at which cold comes first.
    pub later_h: Quantiles<Option<f64>>,
    /// When the schedule first goes below the temperature at which yeast stops.
    pub cold_at: Option<Instant>,
    /// Probability that it is at rest before that; 1 less it, that it never gets there.
    pub p_rest_before_cold: Option<f64>,
    /// How far above its terminal gravity it is then, SG.
    pub left_sg: Option<Quantiles<f64>>,
}
