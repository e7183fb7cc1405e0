//! Everything that the study of a season finds.

use crate::calibration::{BathPlan, Builds, Calibrations};
use crate::drift::Drift;
use crate::forecast::{Backtest, Forecasts};
use crate::gravity::{Gravity, GravitySeries};
use crate::kinetics::Kinetics;
use crate::season::Season;
use crate::strains::Strains;
use crate::units::Instant;

use super::part::Part;
use super::report_settings::ReportSettings;

/// All results of one season.
#[derive(Debug, Clone)]
pub struct SeasonStudy {
    /// The season's name: its folder or file without the path.
    pub name: String,
    /// How its report is written.
    pub report: ReportSettings,
    /// The season as it was studied, with its row account.
    pub season: Season,
    /// The season's latest instant, as of which the running batches are forecast.
    pub latest: Option<Instant>,
    /// Curves from tilt to density.
    pub calibrations: Part<Calibrations>,
    /// How the probes are built, those with a mass.
    pub builds: Part<Builds>,
    /// Which baths serve the next calibration best.
    pub bath_plan: Part<BathPlan>,
    /// Gravity of every reading.
    pub gravity: Part<Gravity>,
    /// How true the calibrations stay.
    pub drift: Part<Drift>,
    /// The gravity series that the kinetics were fitted to, one per batch with data.
    pub series: Vec<GravitySeries>,
    /// The fermentation curves.
    pub kinetics: Part<Kinetics>,
    /// Forecasts of the running batches as of `latest`, and of the moments asked for.
    pub forecasts: Part<Forecasts>,
    /// Forecasts of the past beside what came.
    pub backtest: Part<Backtest>,
    /// Comparison of strains.
    pub strains: Part<Strains>,
}

impl SeasonStudy {
    /// The title of its report.
    pub fn title(&self) -> &str {
        self.report.title.as_deref().unwrap_or(&self.name)
    }
}
