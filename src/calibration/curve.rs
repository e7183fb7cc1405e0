//! Curves from tilt to density.

use std::fmt;
use std::sync::Arc;

use crate::liquid::solve::root;

/// Most coefficients a curve has.
pub(crate) const MOST_COEFFICIENTS: usize = 4;
/// Tilt at which two curves are compared, degrees.
const MIDDLE_DEG: f64 = 45.0;

/// A curve at one tilt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Its slope in the tilt, kg/m3 per degree; always positive.
    pub per_deg: f64,
    /// Its derivatives by the coefficients; unused places are 0.
    pub gradient: [f64; MOST_COEFFICIENTS],
}

impl CurvePoint {
    /// The point, if the curve has a value and rises there.
    pub(super) fn rising(self) -> Option<Self> {
        (self.per_deg > 0.0 && self.density_kg_m3.is_finite()).then_some(self)
    }
}

/// The shape of a kind of curve with given coefficients.
pub(super) trait CurveShape: fmt::Debug + Send + Sync {
    /// Density, slope and derivatives by the coefficients at a tilt, whether it rises there or not; none where it has no
    /// value.
    fn at(&self, tilt_deg: f64) -> Option<CurvePoint>;
}

/// A curve from tilt to density, of the liquid at the curve's shell temperature.
#[derive(Debug, Clone)]
pub struct CalibrationCurve {
    coefficients: [f64; MOST_COEFFICIENTS],
    shape: Arc<dyn CurveShape>,
}

impl PartialEq for CalibrationCurve {
    /// The same coefficients, and the same density at 45 degrees.
    fn eq(&self, other: &Self) -> bool {
        self.coefficients == other.coefficients && self.shape.at(MIDDLE_DEG) == other.shape.at(MIDDLE_DEG)
    }
}

impl CalibrationCurve {
    pub(super) fn new(coefficients: [f64; MOST_COEFFICIENTS], shape: impl CurveShape + 'static) -> Self {
        Self { coefficients, shape: Arc::new(shape) }
    }

    /// The curve at a tilt; none where it has no value or does not rise: there a tilt has no density.
    pub fn at(&self, tilt_deg: f64) -> Option<CurvePoint> {
        self.shape.at(tilt_deg)?.rising()
    }

    /// Its coefficients, in the order of [`super::CurveKind::coefficient_names`]; unused places are 0.
    pub fn coefficients(&self) -> [f64; MOST_COEFFICIENTS] {
        self.coefficients
    }

    /// The tilt at which the curve has this density, between 1 and 85 degrees; none where it has none.
    pub fn tilt_deg(&self, density_kg_m3: f64) -> Option<f64> {
        let (low, high) = self.rising_range()?;
        let miss =
            |tilt: f64| self.at(tilt).map_or((f64::NAN, 1.0), |at| (at.density_kg_m3 - density_kg_m3, at.per_deg));
        root("the tilt of a curve", (low, high), 0.5 * (low + high), miss).ok()
    }

    /// The longest unbroken stretch of rising curve round 45 degrees (or round the nearest tilt where it rises), in
    /// whole degrees from 1 to 85.
    fn rising_range(&self) -> Option<(f64, f64)> {
        let rises = |tilt: i32| self.at(f64::from(tilt)).is_some();
        let centre = (0..44).flat_map(|d| [45 - d, 45 + d]).find(|&tilt| (1..=85).contains(&tilt) && rises(tilt))?;
        let low = (1..=centre).rev().take_while(|&tilt| rises(tilt)).last()?;
        let high = (centre..=85).take_while(|&tilt| rises(tilt)).last()?;
        Some((f64::from(low), f64::from(high)))
    }
}
