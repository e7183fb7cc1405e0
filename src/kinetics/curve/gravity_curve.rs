//! A curve with its parameters.

use super::exponentials::{ln_exp_m1, softplus};
use super::fermentation_curve::FermentationCurve;
use super::smooth_correction::{N_BASIS, PARAMETERS};

/// The tail's parameter that stands for none.
pub(crate) const NO_TAIL: f64 = -1.0;
/// A tail's parameter well above this is the tail's share itself; below 0 the share goes to nothing.
pub(super) const TAIL_SCALE: f64 = 0.02;

/// A fermentation curve with its parameters: see the module's text for its formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GravityCurve {
    pub kind: FermentationCurve,
    /// SG at pitching.
    pub original_sg: f64,
    /// SG at rest.
    pub terminal_sg: f64,
    /// Unit of time of the curve, hours: the middle of the drop where there is no correction.
    pub scale_h: f64,
    /// Steepness `p`, without unit: how far the curve is from a plain exponential decline.
    pub steepness: f64,
    /// Asymmetry `s`, without unit; of no effect where the form has none.
    pub asymmetry: f64,
    /// Share `q` of the drop that goes slowly.
    pub tail_share: f64,
    /// How readily it goes, `r`, relative to the rest; under 1.
    pub tail_pace: f64,
    /// Coefficients of the correction; all zero for a plain form.
    pub correction: [f64; N_BASIS],
}

impl GravityCurve {
    /// A curve without tail or correction, from gravities at pitching and at rest, steepness and asymmetry.
    pub(crate) fn plain(kind: FermentationCurve, sg: [f64; 2], scale_h: f64, shape: [f64; 2]) -> Self {
        let ([original_sg, terminal_sg], [steepness, asymmetry]) = (sg, shape);
        let (tail_share, tail_pace, correction) = (0.0, 0.2, [0.0; N_BASIS]);
        Self { kind, original_sg, terminal_sg, scale_h, steepness, asymmetry, tail_share, tail_pace, correction }
    }

    /// A curve with these parameters: SG at pitching, terminal SG, ln scale_h, ln steepness, ln asymmetry, the tail's share
    /// (as the inverse of a softplus, so that it cannot be negative), ln of its pace, correction.
    pub fn from_vector(kind: FermentationCurve, parameters: &[f64; PARAMETERS]) -> Self {
        let [original_sg, terminal_sg, ln_scale, ln_steep, ln_asymmetry, tail, ln_tail_pace, correction @ ..] =
            *parameters;
        Self {
            kind,
            original_sg,
            terminal_sg,
            scale_h: ln_scale.exp(),
            steepness: ln_steep.exp(),
            asymmetry: ln_asymmetry.exp(),
            tail_share: if tail <= NO_TAIL { 0.0 } else { TAIL_SCALE * softplus(tail / TAIL_SCALE) },
            tail_pace: ln_tail_pace.exp(),
            correction,
        }
    }

    /// The parameters in the order of [`GravityCurve::from_vector`].
    pub fn to_vector(self) -> [f64; PARAMETERS] {
        let tail = (TAIL_SCALE * ln_exp_m1(self.tail_share / TAIL_SCALE)).max(NO_TAIL);
        let mut vector = [0.0; PARAMETERS];
        let (plain, correction) = vector.split_at_mut(PARAMETERS - N_BASIS);
        plain.copy_from_slice(&[
            self.original_sg,
            self.terminal_sg,
            self.scale_h.ln(),
            self.steepness.ln(),
            self.asymmetry.ln(),
            tail,
            self.tail_pace.ln(),
        ]);
        correction.copy_from_slice(&self.correction);
        vector
    }

    /// The drop from pitching to rest, SG.
    pub fn drop_sg(&self) -> f64 {
        self.original_sg - self.terminal_sg
    }
}
