//! The tables of the study.

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::FrameBuilder;

use super::result::{Calibration, Calibrations, CurveCandidate, SharedBath};

impl Calibrations {
    /// The table `calibrations`: one row per probe and calibration, and one per session or probe without a curve, whose
    /// `why` says why.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        let with = &self.calibrations;
        // A check is no failed calibration: it stands in the table of drift pairs.
        let without: Vec<_> = self.without.iter().filter(|none| !none.check).collect();
        let none = without.len();
        let number = |of: fn(&Calibration) -> Option<f64>| {
            with.iter().map(of).chain(std::iter::repeat_n(None, none)).collect::<Vec<_>>()
        };
        let text = |of: fn(&Calibration) -> Option<String>| {
            with.iter().map(of).chain(std::iter::repeat_n(None, none)).collect::<Vec<_>>()
        };
        FrameBuilder::new("calibrations")
            .text("probe", with.iter().map(|c| Some(&c.probe)).chain(without.iter().map(|w| Some(&w.probe))))
            .text("calibration", text(|c| Some(c.calibration.clone())))
            .time("calibrated_at", with.iter().map(|c| Some(c.calibrated_at)).chain(without.iter().map(|w| w.at)))
            .text("curve", text(|c| Some(c.kind.to_string())))
            .count("n", with.iter().map(|c| Some(c.baths.len() as i64)).chain(without.iter().map(|_| Some(0))))
            .number("rmse_sg", number(|c| c.rmse_sg))
            .text("coefficients", text(|c| Some(coefficients(c))))
            .number("sg_min", number(|c| Some(c.sg_min)))
            .number("sg_max", number(|c| Some(c.sg_max)))
            .number("water_tilt_deg", number(|c| c.water_tilt_deg.value()))
            .number("water_tilt_se", number(|c| c.water_tilt_deg.se()))
            .truth("water_ok", with.iter().map(|c| c.water_ok).chain(without.iter().map(|_| None)))
            .number("scale", number(|c| Some(c.fitted.scale)))
            .text("suspect_bath", text(suspect_name))
            .text("remarks", text(|c| (!c.remarks.is_empty()).then(|| c.remarks.join("; "))))
            .text("why", with.iter().map(|_| None).chain(without.iter().map(|w| Some(&w.why))))
            .finish()
    }

    /// Every candidate of every calibration with its scores: the table `calibration_candidates`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
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
}

impl Calibrations {
    /// Baths that several probes were in, with their error as all of them see it: the table `baths`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn baths_frame(&self) -> Result<DataFrame> {
        let baths = &self.shared_baths;
        let number = |of: fn(&SharedBath) -> Option<f64>| baths.iter().map(of).collect::<Vec<_>>();
        FrameBuilder::new("baths")
            .text("bath", baths.iter().map(|b| Some(&b.name)))
            .text("probes", baths.iter().map(|b| Some(b.probes.join(";"))))
            .number("stated_sg", number(|b| Some(b.stated_sg)))
            .number("stated_sd", number(|b| Some(b.stated_sd)))
            .number("error_sg", number(|b| Some(b.error_sg.value)))
            .number("se", number(|b| Some(b.error_sg.se)))
            .number("lower", number(|b| Some(b.error_sg.lower)))
            .number("upper", number(|b| Some(b.error_sg.upper)))
            .number("level", number(|b| Some(b.error_sg.level)))
            .number("p_wrong", number(|b| b.p))
            .text("method", baths.iter().map(|b| Some(&b.error_sg.method)))
            .finish()
    }
}

/// The coefficients as JSON by name.
fn coefficients(calibration: &Calibration) -> String {
    let by_name: serde_json::Map<String, serde_json::Value> = calibration
        .fitted
        .coefficients
        .iter()
        .map(|c| (c.name.to_owned(), serde_json::Value::from(c.estimate.value)))
        .collect();
    serde_json::Value::Object(by_name).to_string()
}

fn suspect_name(calibration: &Calibration) -> Option<String> {
    let suspect = calibration.suspect.as_ref()?;
    let bath = calibration.baths.get(suspect.bath)?;
    let name = bath.bath.clone().unwrap_or_else(|| format!("SG {:.4}", bath.sg));
    Some(format!("{name} (p = {:.1e})", suspect.p))
}
