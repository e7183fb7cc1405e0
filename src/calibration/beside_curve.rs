//! Baths and candidates beside the curve in use, in SG.

use crate::liquid::WATER_20C_KG_M3;

use super::result::{Calibration, CurveCandidate};

/// A bath beside the curve in use, at 20 C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct BathBesideCurve {
    pub(crate) tilt_deg: f64,
    /// SG of the bath.
    pub(crate) sg: f64,
    /// Bath minus curve, SG.
    pub(crate) off_sg: f64,
    /// Standard deviation of bath and tilt together, SG.
    pub(crate) sd_sg: f64,
}

impl Calibration {
    /// The baths beside the curve in use; without those at tilts where it has no density.
    pub(crate) fn baths_beside_curve(&self) -> Vec<BathBesideCurve> {
        let beside = self.baths.iter().filter_map(|bath| {
            let on_curve = self.fitted.curve.at(bath.tilt_deg)?;
            let off_sg = -bath.residual_sg;
            Some(BathBesideCurve {
                tilt_deg: bath.tilt_deg,
                sg: on_curve.density_kg_m3 / WATER_20C_KG_M3 + off_sg,
                off_sg,
                sd_sg: bath.sg_sd.hypot(bath.tilt_sd_deg * on_curve.per_deg / WATER_20C_KG_M3),
            })
        });
        beside.collect()
    }

    /// SG by a candidate minus SG by the curve in use at a tilt; none where one of them has no density.
    pub(crate) fn candidate_minus_curve_sg(&self, candidate: &CurveCandidate, tilt_deg: f64) -> Option<f64> {
        let other = candidate.fitted.as_ref()?.curve.at(tilt_deg)?;
        Some((other.density_kg_m3 - self.fitted.curve.at(tilt_deg)?.density_kg_m3) / WATER_20C_KG_M3)
    }

    /// Each bath minus a candidate's curve, SG, the bath brought to the curve's shell as it entered the fit.
    pub(crate) fn baths_minus_candidate_sg(&self, candidate: &CurveCandidate) -> Vec<f64> {
        let off = self
            .baths
            .iter()
            .filter_map(|bath| Some(-bath.residual_sg - self.candidate_minus_curve_sg(candidate, bath.tilt_deg)?));
        off.collect()
    }
}
