//! Results by name: each is there, or an error says why not and which are.

use crate::calibration::{BathPlan, Build, Builds, Calibration, Calibrations};
use crate::drift::{Drift, ProbeDrift};
use crate::error::Result;
use crate::forecast::{Backtest, BacktestRow, Forecast, Forecasts};
use crate::gravity::{Gravity, GravitySeries};
use crate::kinetics::{BatchFit, Kinetics};
use crate::strains::Strains;

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
                #[doc = example!(no_run $example)]
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

macro_rules! by_name {
    ($($of:ty: $doc:literal $method:ident($name:ident) -> $row:ty, $rows:ident, $what:literal, |$it:ident| $own:expr, $example:literal;)*) => {
        $(impl $of {
            #[doc = $doc]
            ///
            /// # Errors
            /// [`crate::Error::Usage`] with the names that there are.
            #[doc = example!(study $example)]
            pub fn $method(&self, $name: &str) -> Result<&$row> {
                last($what, $name, &self.$rows, |$it| &$own)
            }
        })*
    };
}

by_name! {
    SeasonStudy: "The gravity series of a batch, as the kinetics were fitted to it."
        series(batch) -> GravitySeries, series, "gravity of a batch", |series| series.batch,
        "println!(\"{}\", study.series(batch)?.hours.len());";
    Calibrations: "The newest calibration of a probe."
        probe(probe) -> Calibration, calibrations, "calibrated probe", |calibration| calibration.probe,
        "println!(\"{}\", study.calibrations()?.probe(probe)?);";
    Builds: "How a probe is built." probe(probe) -> Build, builds, "weighed probe", |build| build.probe,
        "println!(\"{}\", study.builds()?.probe(probe)?.advice);";
    Drift: "What was found about a probe." probe(probe) -> ProbeDrift, probes, "probe", |found| found.probe,
        "println!(\"{}\", study.drift()?.probe(probe)?.drift_sg_per_30d);";
    Kinetics: "What was found about a batch." batch(batch) -> BatchFit, batches, "batch", |fit| fit.batch,
        "println!(\"{}\", study.kinetics()?.batch(batch)?);";
    Forecasts: "The forecast of a batch, the last one asked for."
        batch(batch) -> Forecast, rows, "forecast of a batch", |row| row.batch,
        "println!(\"{:?}\", study.forecasts()?.batch(&study.forecasts()?.rows[0].batch)?.p_ready);";
    Backtest: "The last forecast of a batch's past beside what came."
        batch(batch) -> BacktestRow, rows, "backtest of a batch", |row| row.forecast.batch,
        "println!(\"{:?}\", study.backtest()?.batch(batch).ok());";
}
