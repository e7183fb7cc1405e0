//! The tables of the study.

use polars::prelude::{Column, DataFrame, NamedFrom, Series};

use crate::error::Result;
use crate::season::Season;

use super::columns::{counts, frame, instants, numbers, texts, truths};
use super::gravity::Gravity;
use super::result::{Calibration, Calibrations, Candidate};

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
        let n = with.len() + without.len();
        let none = without.len();
        let number = |name: &str, of: fn(&Calibration) -> Option<f64>| {
            numbers(name, with.iter().map(of).chain(std::iter::repeat_n(None, none)))
        };
        let text = |name: &str, of: fn(&Calibration) -> Option<String>| {
            texts(name, with.iter().map(of).chain(std::iter::repeat_n(None, none)))
        };
        let columns = vec![
            texts("probe", with.iter().map(|c| Some(&c.probe)).chain(without.iter().map(|w| Some(&w.probe)))),
            text("calibration", |c| Some(c.calibration.clone())),
            instants("calibrated_at", with.iter().map(|c| Some(c.calibrated_at)).chain(without.iter().map(|w| w.at)))?,
            text("curve", |c| Some(c.kind.to_string())),
            counts("n", with.iter().map(|c| c.baths.len()).chain(without.iter().map(|_| 0))),
            number("rmse_sg", |c| c.rmse_sg),
            text("coefficients", |c| Some(coefficients(c))),
            number("sg_min", |c| Some(c.sg_min)),
            number("sg_max", |c| Some(c.sg_max)),
            number("water_tilt_deg", |c| c.water_tilt_deg.value()),
            number("water_tilt_se", |c| c.water_tilt_deg.se()),
            truths("water_ok", with.iter().map(|c| c.water_ok).chain(without.iter().map(|_| None))),
            number("scale", |c| Some(c.fitted.scale)),
            text("suspect_bath", suspect_name),
            text("remarks", |c| (!c.remarks.is_empty()).then(|| c.remarks.join("; "))),
            texts("why", with.iter().map(|_| None).chain(without.iter().map(|w| Some(&w.why)))),
        ];
        frame("calibrations", n, columns)
    }

    /// Every candidate of every calibration with its scores: the table `calibration_candidates`.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn candidates_frame(&self) -> Result<DataFrame> {
        let rows: Vec<(&Calibration, &Candidate)> =
            self.calibrations.iter().flat_map(|c| c.candidates.iter().map(move |candidate| (c, candidate))).collect();
        let number = |name: &str, of: fn(&Candidate) -> Option<f64>| numbers(name, rows.iter().map(|(_, c)| of(c)));
        let columns = vec![
            texts("probe", rows.iter().map(|(c, _)| Some(&c.probe))),
            texts("calibration", rows.iter().map(|(c, _)| Some(&c.calibration))),
            texts("curve", rows.iter().map(|(_, c)| Some(c.kind.to_string()))),
            truths("chosen", rows.iter().map(|(_, c)| Some(c.chosen))),
            number("rmse_sg", |c| c.rmse_sg),
            number("left_out_inner_sg", |c| c.left_out_inner_sg),
            number("left_out_end_sg", |c| c.left_out_end_sg),
            number("aicc", |c| c.aicc),
            texts("why", rows.iter().map(|(_, c)| c.refused.as_ref())),
        ];
        frame("calibration_candidates", rows.len(), columns)
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

impl Gravity {
    /// The table `gravity`: one row per reading.
    ///
    /// # Errors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn to_frame(&self, season: &Season) -> Result<DataFrame> {
        let readings = &season.readings;
        let number = |name: &str, values: &[Option<f64>]| numbers(name, values.iter().copied());
        let tilts: Column = Series::new("tilt_deg".into(), readings.tilt_deg.as_slice()).into();
        let temps: Column = Series::new("temp_c".into(), readings.temp_c.as_slice()).into();
        let batch = |index: &Option<u32>| index.and_then(|b| readings.batch_ids.get(b as usize));
        let id = |index: &Option<u32>| index.and_then(|c| self.calibration_ids.get(c as usize));
        let columns = vec![
            instants("at", readings.at.iter().map(|at| Some(*at)))?,
            texts("probe", readings.probe.iter().map(|&p| readings.probe_ids.get(p as usize))),
            texts("batch", readings.batch.iter().map(batch)),
            tilts,
            temps,
            number("density_kg_m3", &self.density_kg_m3),
            number("sg", &self.sg),
            number("sg_se", &self.sg_se),
            number("sg_se_shared", &self.sg_se_shared),
            number("sg_uncorrected", &self.sg_uncorrected),
            texts("calibration", self.calibration.iter().map(id)),
            texts("flags", self.flags.iter().map(|flags| Some(flags.to_string()))),
        ];
        frame("gravity", readings.len(), columns)
    }
}
