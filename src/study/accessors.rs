//! Results by name: each is there, or an error says why not and which are.

use crate::calibration::{BathPlan, Build, Builds, Calibration, Calibrations};
use crate::drift::{Drift, ProbeDrift};
use crate::error::Result;
use crate::forecast::{Backtest, BacktestRow, Forecast, Forecasts};
use crate::gravity::{Gravity, GravitySeries};
use crate::kinetics::{BatchFit, Kinetics};
use crate::strains::{StrainMean, Strains};

use super::builder::not_there;
use super::result::SeasonStudy;

macro_rules! part_accessors {
    ($($name:ident: $result:ty, $what:literal, $example:literal;)*) => {
        impl SeasonStudy {
            $(
                #[doc = concat!("The ", $what, ".")]
                ///
                /// # Errors
                /// [`crate::Error::NotEstimable`] with the reason when that study was skipped or failed.
                ///
                /// ```no_run
                /// use heelwort::prelude::*;
                /// # fn main() -> heelwort::Result<()> {
                /// let study = Settings::default().study(Season::load("my-season")?)?;
                #[doc = $example]
                /// # Ok(())
                /// # }
                /// ```
                pub fn $name(&self) -> Result<&$result> {
                    self.$name.get($what)
                }
            )*
        }
    };
}

part_accessors! {
    calibrations: Calibrations, "calibrations", "println!(\"{}\", study.calibrations()?.probe(\"dunlin\")?);";
    builds: Builds, "build check", "println!(\"{}\", study.builds()?);";
    bath_plan: BathPlan, "plan of baths", "println!(\"{}\", study.bath_plan()?.in_words());";
    gravity: Gravity, "gravity of the readings", "println!(\"{}\", study.gravity()?.corrected.len());";
    drift: Drift, "study of drift", "println!(\"{}\", study.drift()?.probe(\"dunlin\")?.drift_sg_per_30d);";
    kinetics: Kinetics, "kinetics", "println!(\"{}\", study.kinetics()?.batch(\"B-01\")?);";
    forecasts: Forecasts, "forecasts", "println!(\"{:?}\", study.forecasts()?.batch(\"B-01\")?.p_ready);";
    backtest: Backtest, "backtest", "println!(\"{}\", study.backtest()?);";
    strains: Strains, "comparison of strains", "println!(\"{}\", study.strains()?);";
}

/// The last of `rows` with that name, or an error with the names that exist.
fn last<'a, T>(what: &str, wanted: &str, rows: &'a [T], name: impl Fn(&T) -> &str) -> Result<&'a T> {
    rows.iter().rev().find(|row| name(row) == wanted).ok_or_else(|| {
        let mut names: Vec<&str> = rows.iter().map(&name).collect();
        names.sort_unstable();
        names.dedup();
        not_there(what, wanted, &names)
    })
}

impl SeasonStudy {
    /// The gravity series of a batch, as the kinetics were fitted to it.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the batches that have one.
    pub fn series(&self, batch: &str) -> Result<&GravitySeries> {
        last("gravity of a batch", batch, &self.series, |series| &series.batch)
    }
}

impl Calibrations {
    /// The newest calibration of a probe.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the probes that have one.
    pub fn probe(&self, probe: &str) -> Result<&Calibration> {
        last("calibrated probe", probe, &self.calibrations, |calibration| &calibration.probe)
    }
}

impl Builds {
    /// How a probe is built.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the probes that were looked at.
    pub fn probe(&self, probe: &str) -> Result<&Build> {
        last("weighed probe", probe, &self.builds, |build| &build.probe)
    }
}

impl Drift {
    /// What was found about a probe.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the probes that were studied.
    pub fn probe(&self, probe: &str) -> Result<&ProbeDrift> {
        last("probe", probe, &self.probes, |found| &found.probe)
    }
}

impl Kinetics {
    /// What was found about a batch.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the batches that were fitted.
    pub fn batch(&self, batch: &str) -> Result<&BatchFit> {
        last("batch", batch, &self.batches, |fit| &fit.batch)
    }
}

impl Forecasts {
    /// The forecast of a batch, the last one asked for.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the batches that were forecast.
    pub fn batch(&self, batch: &str) -> Result<&Forecast> {
        last("forecast of a batch", batch, &self.rows, |row| &row.batch)
    }
}

impl Backtest {
    /// The last forecast of a batch's past beside what came.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the batches that were forecast.
    pub fn batch(&self, batch: &str) -> Result<&BacktestRow> {
        last("backtest of a batch", batch, &self.rows, |row| &row.forecast.batch)
    }
}

impl Strains {
    /// The means of a strain, one per trait.
    ///
    /// # Errors
    /// [`crate::Error::Usage`] with the strains that were compared.
    pub fn strain(&self, strain: &str) -> Result<Vec<&StrainMean>> {
        last("strain", strain, &self.means, |mean| &mean.strain)?;
        Ok(self.means.iter().filter(|mean| mean.strain == strain).collect())
    }
}
