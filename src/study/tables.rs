//! The tables of a study, by name, in the order of the report.

use polars::prelude::DataFrame;

use crate::error::Result;

use super::result::SeasonStudy;

impl SeasonStudy {
    /// All tables that the season gives; a study that was skipped or failed has none.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses to build one.
    #[doc = example!(study "for (name, table) in study.tables()? {\n    println!(\"{name}: {} rows\", table.height());\n}")]
    pub fn tables(&self) -> Result<Vec<(String, DataFrame)>> {
        let account = &self.season.account;
        let mut tables =
            vec![("row_account".to_owned(), account.to_frame()?), ("rejected".to_owned(), account.rejected_frame()?)];
        macro_rules! add {
            ($($part:ident { $($name:literal $frame:ident($($of:expr)?);)* })*) => {
                $(if let Some(found) = self.$part.done() {
                    $(tables.push(($name.to_owned(), found.$frame($($of)?)?));)*
                })*
            };
        }
        add! {
            builds { "builds" to_frame(); }
            calibrations {
                "calibrations" to_frame();
                "calibration_coefficients" coefficients_frame();
                "calibration_candidates" candidates_frame();
                "baths" baths_frame();
                "water_checks" water_checks_frame();
                "calibration_changes" changes_frame();
            }
            bath_plan { "bath_plan" to_frame(); }
            gravity { "gravity" to_frame(&self.season); }
            drift {
                "drift_pairs" pairs_frame();
                "drift_probes" probes_frame();
                "drift_fleet" fleet_frame();
                "drift_shifts" shifts_frame();
                "instruments" instruments_frame();
                "misfits" misfits_frame();
                "drift_kinds" kinds_frame();
            }
            kinetics { "kinetics" to_frame(); }
            forecasts { "forecasts" to_frame(); "fortnight" fortnight_frame(); "what_if" what_if_frame(); }
            backtest { "backtest" to_frame(); }
            strains {
                "strains" to_frame();
                "strain_contrasts" contrasts_frame();
                "strain_repeatability" repeatability_frame();
                "strain_ranking" ranking_frame();
                "strain_power" power_frame();
            }
        }
        Ok(tables)
    }

    /// The studies that had input and gave no estimate at all, with the reason.
    #[doc = example!(study "assert!(study.failures().is_empty());")]
    pub fn failures(&self) -> Vec<(&'static str, &str)> {
        let all = [
            ("calibration", self.calibrations.failed()),
            ("gravity", self.gravity.failed()),
            ("drift", self.drift.failed()),
            ("kinetics", self.kinetics.failed()),
            ("forecasts", self.forecasts.failed()),
            ("backtest", self.backtest.failed()),
            ("strains", self.strains.failed()),
        ];
        all.into_iter().filter_map(|(name, failed)| Some((name, failed?))).collect()
    }
}
