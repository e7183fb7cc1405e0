//! The tables of a study, by name, in the order of the report.

use polars::prelude::DataFrame;

use crate::error::Result;

use super::part::Part;
use super::result::SeasonStudy;

impl SeasonStudy {
    /// All tables that the season gives; a study that was skipped or failed has none.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses to build one.
    pub fn tables(&self) -> Result<Vec<(String, DataFrame)>> {
        let mut tables = Vec::new();
        let mut add = |name: &str, frame: Result<DataFrame>| -> Result<()> {
            tables.push((name.to_owned(), frame?));
            Ok(())
        };
        let account = &self.season.account;
        add("row_account", account.to_frame())?;
        add("rejected", account.rejected_frame())?;
        if let Some(builds) = self.builds.done() {
            add("builds", builds.to_frame())?;
        }
        if let Some(calibrations) = self.calibrations.done() {
            add("calibrations", calibrations.to_frame())?;
            add("calibration_candidates", calibrations.candidates_frame())?;
            add("baths", calibrations.baths_frame())?;
            add("water_checks", calibrations.water_checks_frame())?;
            add("calibration_changes", calibrations.changes_frame())?;
        }
        if let Some(plan) = self.bath_plan.done() {
            add("bath_plan", plan.to_frame())?;
        }
        if let Some(gravity) = self.gravity.done() {
            add("gravity", gravity.to_frame(&self.season))?;
        }
        if let Some(drift) = self.drift.done() {
            add("drift_pairs", drift.pairs_frame())?;
            add("drift_probes", drift.probes_frame())?;
            add("drift_fleet", drift.fleet_frame())?;
            add("drift_mixed", drift.mixed_frame())?;
            add("drift_shifts", drift.shifts_frame())?;
            add("misfits", drift.misfits_frame())?;
            add("drift_kinds", drift.kinds_frame())?;
        }
        if let Some(kinetics) = self.kinetics.done() {
            add("kinetics", kinetics.to_frame())?;
            add("kinetics_candidates", kinetics.candidates_frame())?;
        }
        if let Some(forecasts) = self.forecasts.done() {
            add("forecasts", forecasts.to_frame())?;
        }
        if let Some(backtest) = self.backtest.done() {
            add("backtest", backtest.to_frame())?;
        }
        if let Some(strains) = self.strains.done() {
            add("strains", strains.to_frame())?;
            add("strain_contrasts", strains.contrasts_frame())?;
        }
        Ok(tables)
    }

    /// The studies that had input and gave no estimate at all, with the reason.
    pub fn failures(&self) -> Vec<(&'static str, &str)> {
        fn failed<'a, T>(name: &'static str, part: &'a Part<T>) -> Option<(&'static str, &'a str)> {
            if part.failed() { part.why().map(|why| (name, why)) } else { None }
        }
        [
            failed("calibration", &self.calibrations),
            failed("gravity", &self.gravity),
            failed("drift", &self.drift),
            failed("kinetics", &self.kinetics),
            failed("forecasts", &self.forecasts),
            failed("backtest", &self.backtest),
            failed("strains", &self.strains),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}
