//! Sudden shifts: the search for those that nobody wrote down, and the sizes of those that somebody did.

mod from_readings;
mod in_pairs;
mod in_readings;
mod known;
mod scan;
mod shift_average;
mod visit_gaps;

use crate::calibration::Calibrations;
use crate::error::Result;
use crate::season::Season;

use super::model::FleetModel;
use super::results::Shift;
use super::settings::DriftSettings;

pub(super) use shift_average::{OVER_SHIFTS, ShiftAverage};

impl DriftSettings {
    /// The model with all sudden shifts that are found, and these: first those in the readings of each batch, then, where the
    /// model can be solved, those in the pairs.
    ///
    /// # Errors
    /// Those of the liquid formulas for an original gravity outside 1.0 to 1.2.
    pub(super) fn search_shifts(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        model: &FleetModel,
        solvable: bool,
    ) -> Result<(FleetModel, Vec<Shift>)> {
        let (model, mut shifts) = self.read_shifts(model, in_readings::find_in_readings(season, calibrations, self)?);
        if !solvable {
            return Ok((model, shifts));
        }
        let (model, found) = self.find_shifts(&model);
        shifts.extend(found);
        Ok((model, shifts))
    }
}
