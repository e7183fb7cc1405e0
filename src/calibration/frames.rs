//! The tables of the study.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::FrameBuilder;

use super::fitted_curve::Coefficient;
use super::result::{Calibration, Calibrations, CurveCandidate, NoCurve, SharedBath, Suspect};

impl Calibrations {
    /// The table `calibrations`: one row per probe and calibration, and one per session or probe without a curve, whose
    /// `why` says why.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.calibrations()?.to_frame()?;")]
    pub fn to_frame(&self) -> Result<DataFrame> {
        // A check is no failed calibration: it stands in the table of drift pairs.
        let without = self.without.iter().filter(|none| !none.check);
        let rows: Vec<std::result::Result<&Calibration, &NoCurve>> =
            self.calibrations.iter().map(Ok).chain(without.map(Err)).collect();
        let number = |of: fn(&Calibration) -> Option<f64>| rows.iter().map(move |row| of(row.ok()?));
        let text = |of: fn(&Calibration) -> Option<String>| rows.iter().map(move |row| of(row.ok()?));
        FrameBuilder::new("calibrations")
            .text("probe", rows.iter().map(|row| Some(row.map_or_else(|none| &none.probe, |c| &c.probe))))
            .text("calibration", text(|c| Some(c.calibration.clone())))
            .time("calibrated_at", rows.iter().map(|row| row.map_or_else(|none| none.at, |c| Some(c.calibrated_at))))
            .text("curve", text(|c| Some(c.kind.to_string())))
            .count("n", rows.iter().map(|row| Some(row.map_or(0, |c| c.baths.len() as i64))))
            .number("rmse_sg", number(|c| c.rmse_sg))
            .text("coefficients", text(|c| Some(coefficients(c))))
            .number("sg_min", number(|c| Some(c.sg_min)))
            .number("sg_max", number(|c| Some(c.sg_max)))
            .number("water_tilt_deg", number(|c| c.water_tilt_deg.value()))
            .number("water_tilt_se", number(|c| c.water_tilt_deg.se()))
            .number("scale", number(|c| Some(c.fitted.scale)))
            .text("suspect_bath", text(suspect_name))
            .text("remarks", text(|c| (!c.remarks.is_empty()).then(|| c.remarks.join("; "))))
            .text("why", rows.iter().map(|row| row.err().map(|none| &none.why)))
            .finish()
    }

    /// The coefficients of every curve, one a row: the table `calibration_coefficients`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.calibrations()?.coefficients_frame()?;")]
    pub fn coefficients_frame(&self) -> Result<DataFrame> {
        let rows: Vec<(&Calibration, &Coefficient)> =
            self.calibrations.iter().flat_map(|c| c.fitted.coefficients.iter().map(move |one| (c, one))).collect();
        FrameBuilder::new("calibration_coefficients")
            .text("probe", rows.iter().map(|(c, _)| Some(&c.probe)))
            .text("calibration", rows.iter().map(|(c, _)| Some(&c.calibration)))
            .text("coefficient", rows.iter().map(|(_, one)| Some(one.name)))
            .numbers(
                &["value", "se", "lower", "upper", "level"],
                rows.iter().map(|(_, one)| Some(one.estimate.numbers())),
            )
            .finish()
    }

    /// Every candidate of every calibration with its scores: the table `calibration_candidates`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.calibrations()?.candidates_frame()?;")]
    pub fn candidates_frame(&self) -> Result<DataFrame> {
        let rows: Vec<(&Calibration, &CurveCandidate)> =
            self.calibrations.iter().flat_map(|c| c.candidates.iter().map(move |candidate| (c, candidate))).collect();
        let number = |of: fn(&CurveCandidate) -> Option<f64>| rows.iter().map(|(_, c)| of(c)).collect::<Vec<_>>();
        FrameBuilder::new("calibration_candidates")
            .text("probe", rows.iter().map(|(c, _)| Some(&c.probe)))
            .text("calibration", rows.iter().map(|(c, _)| Some(&c.calibration)))
            .text("curve", rows.iter().map(|(_, c)| Some(c.kind.to_string())))
            .truth("chosen", rows.iter().map(|(_, c)| Some(c.chosen)))
            .number("rmse_sg", number(|c| c.rmse_sg))
            .number("left_out_inner_sg", number(|c| c.left_out_inner_sg))
            .number("left_out_end_sg", number(|c| c.left_out_end_sg))
            .text("why", rows.iter().map(|(_, c)| c.refused.as_ref()))
            .finish()
    }

    /// Baths that several probes were in, with their error as all of them see it: the table `baths`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    #[doc = example!(study "let table = study.calibrations()?.baths_frame()?;")]
    pub fn baths_frame(&self) -> Result<DataFrame> {
        let baths = &self.shared_baths;
        let number = |of: fn(&SharedBath) -> Option<f64>| baths.iter().map(of).collect::<Vec<_>>();
        FrameBuilder::new("baths")
            .text("bath", baths.iter().map(|b| Some(&b.name)))
            .text("probes", baths.iter().map(|b| Some(b.probes.join(";"))))
            .number("stated_sg", number(|b| Some(b.stated_sg)))
            .number("stated_sd", number(|b| Some(b.stated_sd)))
            .numbers(&["error_sg", "se", "lower", "upper", "level"], baths.iter().map(|b| Some(b.error_sg.numbers())))
            .number("p_wrong", number(|b| b.p))
            .text("method", baths.iter().map(|b| Some(&b.error_sg.method)))
            .finish()
    }
}

/// The coefficients as JSON by name.
fn coefficients(calibration: &Calibration) -> String {
    let value = |c: &Coefficient| (c.name.to_owned(), c.estimate.value.into());
    serde_json::Value::Object(calibration.fitted.coefficients.iter().map(value).collect()).to_string()
}

fn suspect_name(calibration: &Calibration) -> Option<String> {
    let name = |suspect: &Suspect| {
        let bath = calibration.baths.get(suspect.bath)?;
        Some(format!("{} (p = {:.1e})", bath.name(), suspect.p))
    };
    let names: Vec<String> = calibration.suspects.iter().filter_map(name).collect();
    (!names.is_empty()).then(|| names.join(" or "))
}
