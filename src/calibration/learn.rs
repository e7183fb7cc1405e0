//! One curve by the conventions of linfa: parameters that are checked, `Fit` on a data set, `Predict` on tilts.
//!
//! For pipelines and cross-validation. The study of a season ([`CalibrationSettings::fit`]) finds baths, chooses among the
//! curves and knows shells and temperatures; here there is one kind of curve and baths at 20 C.

use linfa::dataset::{AsSingleTargets, DatasetBase};
use linfa::param_guard::ParamGuard;
use linfa::traits::{Fit, PredictInplace};
use ndarray::{Array1, ArrayBase, Data, Ix2};

use crate::error::{Error, Result};
use crate::fit::Estimate;
use crate::liquid::{WATER_20C_KG_M3, sucrose_bath_density_kg_m3};
use crate::season::{Probe, Season};
use crate::units::Instant;

use super::CalibrationSettings;
use super::curve::CurveKind;
use super::fit::{FitPoint, FitRules, fit_curve};
use super::fitted_curve::FittedCurve;
use super::prepare::check_baths;
use super::select::not_rising;
use crate::error::within;

/// Temperature of the baths, C: that of SG 20/20.
const BATH_C: f64 = 20.0;
const MOST_DEGREE: u8 = 3;

/// What a curve is fitted with, not yet checked. Fitting checks it.
///
/// ```
/// use heelwort::calibration::{CurveKind, CurveParams};
/// use linfa::Dataset;
/// use linfa::traits::{Fit, Predict};
/// use ndarray::array;
///
/// let baths = Dataset::new(array![[25.0], [33.1], [43.4], [53.8], [60.5]], array![1.000, 1.020, 1.040, 1.060, 1.080]);
/// let curve = CurveParams::new(CurveKind::Polynomial(3)).bath_sd_sg(0.0005).fit(&baths)?;
/// let sg = curve.predict(&array![[43.4]]);
/// assert!((sg[0] - 1.040).abs() < 0.002);
/// # Ok::<(), heelwort::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct CurveParams(CurveValidParams);

/// What a curve is fitted with, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveValidParams {
    kind: CurveKind,
    bath_sd_sg: f64,
    probe: Option<Probe>,
    settings: CalibrationSettings,
}

impl CurveParams {
    /// A curve of this kind, with the errors of the default settings and weighed baths (SD 0.0005).
    pub fn new(kind: CurveKind) -> Self {
        Self(CurveValidParams { kind, bath_sd_sg: 0.0005, probe: None, settings: CalibrationSettings::default() })
    }

    /// Standard deviation of each bath, SG; default 0.0005.
    #[must_use]
    pub fn bath_sd_sg(mut self, sd: f64) -> Self {
        self.0.bath_sd_sg = sd;
        self
    }

    /// Standard deviation of each tilt, degrees; default 0.2.
    #[must_use]
    pub fn tilt_sd_deg(mut self, sd: f64) -> Self {
        self.0.settings.tilt_sd_deg = sd;
        self
    }

    /// Mass and outside of the probe: the hull and the cylinder of known size need them.
    #[must_use]
    pub fn probe(mut self, probe: Probe) -> Self {
        self.0.probe = Some(probe);
        self
    }

    /// Everything else, as in the study of a season (its tilt SD too).
    #[must_use]
    pub fn settings(mut self, settings: CalibrationSettings) -> Self {
        self.0.settings = settings;
        self
    }
}

impl ParamGuard for CurveParams {
    type Checked = CurveValidParams;
    type Error = Error;

    fn check_ref(&self) -> Result<&CurveValidParams> {
        let params = &self.0;
        params.settings.check()?;
        within("bath_sd_sg", params.bath_sd_sg, 1e-6, 0.05, "0.000001 to 0.05")?;
        match params.kind {
            CurveKind::Polynomial(degree) if !(1..=MOST_DEGREE).contains(&degree) => Err(Error::Setting {
                name: "kind",
                value: params.kind.to_string(),
                wanted: "a polynomial of degree 1 to 3",
            }),
            _ => Ok(params),
        }
    }

    fn check(self) -> Result<CurveValidParams> {
        self.check_ref()?;
        Ok(self.0)
    }
}

impl<D: Data<Elem = f64>, T: AsSingleTargets<Elem = f64>> Fit<ArrayBase<D, Ix2>, T, Error> for CurveValidParams {
    type Object = LearnedCurve;

    /// Fits the curve to tilts (n x 1, degrees) and the SG 20/20 of baths at 20 C.
    ///
    /// # Errors
    /// [`Error::Usage`] for another shape, or weights, whose place the standard deviations take; [`Error::Domain`] for an
    /// SG outside 0.95 to 1.20 or a tilt outside 0 to 90 degrees, NaN among them; [`Error::NotEstimable`] for baths that
    /// define no curve: too few, all the same, tilts that fall while SG rises, a curve that does not rise.
    fn fit(&self, baths: &DatasetBase<ArrayBase<D, Ix2>, T>) -> Result<LearnedCurve> {
        let (tilts, sgs) = (&baths.records, baths.as_single_targets());
        if tilts.ncols() != 1 || tilts.nrows() != sgs.len() {
            let (rows, columns, n) = (tilts.nrows(), tilts.ncols(), sgs.len());
            return Err(Error::Usage(format!(
                "{rows} x {columns} records with {n} gravities; wanted one tilt for each"
            )));
        }
        if baths.weights().is_some() {
            return Err(Error::Usage("baths carry no weights here: state the standard deviations".to_owned()));
        }
        let mut points = tilts.iter().zip(sgs).map(|(&tilt, &sg)| self.point(tilt, sg)).collect::<Result<Vec<_>>>()?;
        points.sort_by(|a, b| a.density_kg_m3.total_cmp(&b.density_kg_m3));
        let what = || format!("the curve {}", self.kind);
        check_baths(&points).map_err(|why| Error::not_estimable(what(), why))?;
        let rules = FitRules { scale_df: self.settings.scale_df, level: self.settings.common.level };
        let never = Instant::from_micros(i64::MAX);
        let prior = self.settings.prior_of(&Season::default(), self.probe.as_ref(), never, &mut Vec::new())?;
        let fitted = fit_curve(self.kind, &points, &prior, rules)?;
        if let Some(why) = not_rising(&fitted, &points) {
            return Err(Error::not_estimable(what(), why));
        }
        Ok(LearnedCurve { kind: self.kind, fitted, level: self.settings.common.level })
    }
}

impl CurveValidParams {
    fn point(&self, tilt_deg: f64, sg: f64) -> Result<FitPoint> {
        let tilt_deg = Error::check_domain("a calibration curve", "tilt", "degrees", tilt_deg, 1e-3, 89.0)?;
        Ok(FitPoint {
            tilt_deg,
            tilt_sd_deg: self.settings.tilt_sd_deg,
            density_kg_m3: sucrose_bath_density_kg_m3(sg, BATH_C)?,
            density_sd_kg_m3: self.bath_sd_sg * WATER_20C_KG_M3,
            errors: Vec::new(),
        })
    }
}

/// A fitted curve that predicts SG from tilts.
///
/// `Predict` gives bare numbers, as linfa's convention has it, and NaN at a tilt where the curve has no value;
/// [`LearnedCurve::sg_at`] gives an estimate or the reason.
#[derive(Debug, Clone, PartialEq)]
pub struct LearnedCurve {
    kind: CurveKind,
    fitted: FittedCurve,
    level: f64,
}

impl LearnedCurve {
    /// Which curve.
    pub fn kind(&self) -> CurveKind {
        self.kind
    }

    /// The curve with its coefficients and their covariance.
    pub fn fitted(&self) -> &FittedCurve {
        &self.fitted
    }

    /// SG 20/20 at a tilt, with the error of the curve.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where the curve has no value.
    pub fn sg_at(&self, tilt_deg: f64) -> Result<Estimate> {
        let at = self.fitted.curve.at(tilt_deg).ok_or_else(|| {
            Error::not_estimable("SG from a tilt", format!("the curve has no density at {tilt_deg:.1} degrees"))
        })?;
        let se = self.fitted.variance(&at).sqrt() / WATER_20C_KG_M3;
        Estimate::student_t(at.density_kg_m3 / WATER_20C_KG_M3, se, self.fitted.df, self.level, "delta, t")
    }
}

impl<D: Data<Elem = f64>> PredictInplace<ArrayBase<D, Ix2>, Array1<f64>> for LearnedCurve {
    fn predict_inplace<'a>(&'a self, tilts: &'a ArrayBase<D, Ix2>, sg: &mut Array1<f64>) {
        let at = |tilt: f64| self.fitted.curve.at(tilt).map_or(f64::NAN, |at| at.density_kg_m3 / WATER_20C_KG_M3);
        let one_column = tilts.ncols() == 1;
        for (sg, row) in sg.iter_mut().zip(tilts.rows()) {
            *sg = row.first().filter(|_| one_column).map_or(f64::NAN, |&tilt| at(tilt));
        }
    }

    fn default_target(&self, tilts: &ArrayBase<D, Ix2>) -> Array1<f64> {
        Array1::from_elem(tilts.nrows(), f64::NAN)
    }
}
