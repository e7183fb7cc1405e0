//! What a probe's offset in a batch may be before the batch is looked at.

/// Standard deviation of a probe's offset, SG, as it grows with the days since the calibration.
///
/// variance(age) = `at_calibration_sd`^2 + `per_root_30d_sd`^2 (age/30 d) + (`per_30d_sd` age/30 d)^2.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OffsetPrior {
    /// On the day of the calibration: what one immersion differs from another.
    pub at_calibration_sd: f64,
    /// Of a random walk, after 30 days.
    pub per_root_30d_sd: f64,
    /// Of a steady drift, per 30 days.
    pub per_30d_sd: f64,
}

impl Default for OffsetPrior {
    /// 0.0005 at calibration, and 0.001 in 30 days by either way: assumed, no reference; the study of drift replaces
    /// it by what the season shows.
    fn default() -> Self {
        Self { at_calibration_sd: 0.0005, per_root_30d_sd: 0.001, per_30d_sd: 0.001 }
    }
}

impl OffsetPrior {
    /// The standard deviation, SG, `age_d` days from the calibration (either way).
    pub fn sd(&self, age_d: f64) -> f64 {
        let months = age_d.abs() / 30.0;
        let walk = self.per_root_30d_sd.powi(2) * months;
        (self.at_calibration_sd.powi(2) + walk + (self.per_30d_sd * months).powi(2)).sqrt()
    }
}
