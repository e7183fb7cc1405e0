//! The tables of the study.

use super::fitted_curve::Coefficient;
use super::result::{Calibration, Calibrations, NoCurve, Suspect};

impl Calibrations {
    /// The calibrations, and what gave none but for checks: a check is no failed calibration, and stands in the table of
    /// drift pairs.
    fn and_without(&self) -> impl Iterator<Item = Result<&Calibration, &NoCurve>> {
        self.calibrations.iter().map(Ok).chain(self.without.iter().filter(|none| !none.check).map(Err))
    }
}

tables! {
    impl Calibrations {
        /// The table `calibrations`: one row per probe and calibration, and one per session or probe without a curve, whose
        /// `why` says why.
        #[doc = example!(study "let table = study.calibrations()?.to_frame()?;")]
        fn to_frame(self) = "calibrations", |row| self.and_without() => {
            "probe": row.map_or_else(|none| &none.probe, |c| &c.probe),
            "calibration": Some(&row.ok()?.calibration),
            "calibrated_at": row.map_or_else(|none| none.at, |c| Some(c.calibrated_at)),
            "curve": Some(row.ok()?.kind.to_string()),
            "n": row.map_or(0, |c| c.baths.len()),
            "rmse_sg": row.ok()?.rmse_sg,
            "coefficients": Some(coefficients(row.ok()?)),
            "sg_min": Some(row.ok()?.sg_min),
            "sg_max": Some(row.ok()?.sg_max),
            "water_tilt_deg": row.ok()?.water_tilt_deg.value(),
            "water_tilt_se": row.ok()?.water_tilt_deg.se(),
            "scale": Some(row.ok()?.fitted.scale),
            "suspect_bath": suspect_name(row.ok()?),
            "remarks": row.ok().filter(|c| !c.remarks.is_empty()).map(|c| c.remarks.join("; ")),
            "why": row.err().map(|none| &none.why),
        }

        /// The coefficients of every curve, one a row: the table `calibration_coefficients`.
        #[doc = example!(study "let table = study.calibrations()?.coefficients_frame()?;")]
        fn coefficients_frame(self) = "calibration_coefficients", |(c, one)|
            self.calibrations.iter().flat_map(|c| c.fitted.coefficients.iter().map(move |one| (c, one))) =>
        {
            "probe": &c.probe,
            "calibration": &c.calibration,
            "coefficient": one.name,
            ["value", "se", "lower", "upper", "level"]: Some(one.estimate.numbers()),
        }

        /// Every candidate of every calibration with its scores: the table `calibration_candidates`.
        #[doc = example!(study "let table = study.calibrations()?.candidates_frame()?;")]
        fn candidates_frame(self) = "calibration_candidates", |(c, one)|
            self.calibrations.iter().flat_map(|c| c.candidates.iter().map(move |one| (c, one))) =>
        {
            "probe": &c.probe,
            "calibration": &c.calibration,
            "curve": one.kind.to_string(),
            "chosen": one.chosen,
            "rmse_sg": one.rmse_sg,
            "left_out_inner_sg": one.left_out_inner_sg,
            "left_out_end_sg": one.left_out_end_sg,
            "why": one.refused.as_ref(),
        }

        /// Baths that several probes were in, with their error as all of them see it: the table `baths`.
        #[doc = example!(study "let table = study.calibrations()?.baths_frame()?;")]
        fn baths_frame(self) = "baths", |bath| &self.shared_baths => {
            "bath": &bath.name,
            "probes": bath.probes.join(";"),
            "stated_sg": bath.stated_sg,
            "stated_sd": bath.stated_sd,
            ["error_sg", "se", "lower", "upper", "level"]: Some(bath.error_sg.numbers()),
            "p_wrong": bath.p,
            "method": &bath.error_sg.method,
        }

        /// The table `water_checks`: one row per immersion in water after a calibration.
        #[doc = example!(study "let table = study.calibrations()?.water_checks_frame()?;")]
        fn water_checks_frame(self) = "water_checks", |check| &self.water_checks => {
            "at": check.at,
            "probe": &check.probe,
            "calibration": &check.calibration,
            "tilt_deg": check.tilt_deg,
            "expected_tilt_deg": check.expected_tilt_deg,
            ["shift_sg", "se", "lower", "upper", "level"]: Some(check.shift_sg.numbers()),
            "p": check.p,
            "agrees": check.agrees(),
            "method": &check.shift_sg.method,
        }
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
