//! Two calibrations of one probe: what has changed, over the whole range at once.

use nalgebra::{DMatrix, DVector, Vector4};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

use crate::error::{Error, Result};
use crate::fit::Estimate;
use crate::liquid::WATER_20C_KG_M3;

use super::curve::{CurvePoint, MOST_COEFFICIENTS};
use super::fitted_curve::{FittedCalibration, root_of};
use super::result::{Calibration, Calibrations};

/// Gravities at which two curves are compared, steps.
const STEPS: usize = 40;
/// Draws behind the simultaneous band, and their seed: the quantile is known to about 1 %.
const DRAWS: usize = 10_000;
const SEED: u64 = 20_310_301;
const METHOD: &str = "simultaneous band by simulation of the largest |t|";

/// The difference of two curves, later minus earlier.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationDifference {
    /// Id of the earlier calibration.
    pub earlier: String,
    /// Id of the later one.
    pub later: String,
    /// Gravity on the earlier curve and how much more the later one shows for the same tilt, SG. The intervals hold all
    /// together with the stated level.
    pub points: Vec<(f64, Estimate)>,
    /// Probability of so large a largest |difference|/se anywhere when nothing has changed.
    pub p: f64,
}

impl Calibration {
    /// What the later calibration of the probe reads more than this one, at the same tilt, over the gravities that both
    /// have baths for.
    ///
    /// The variance holds both curves' errors; an error that both have (one instrument, one bath) counts only in so far as
    /// it acts differently on them. The band is simultaneous: its half width is the standard error times the quantile
    /// of the largest |t| over the range, simulated from the joint covariance of all coefficients (10,000 draws, fixed
    /// seed) with a common chi-squared of the smaller degrees of freedom.
    ///
    /// # Errors
    /// [`Error::Usage`] for calibrations of two probes, [`Error::NotEstimable`] when their ranges do not overlap.
    pub fn difference(&self, later: &Self) -> Result<CalibrationDifference> {
        if self.probe != later.probe {
            return Err(Error::Usage(format!("{} and {} are two probes", self.calibration, later.calibration)));
        }
        let what = "the difference of two calibrations";
        let low = self.density_range_kg_m3.0.max(later.density_range_kg_m3.0);
        let high = self.density_range_kg_m3.1.min(later.density_range_kg_m3.1);
        if !(high > low) {
            return Err(Error::not_estimable(what, "their baths have no range of gravities in common"));
        }
        let pairs: Vec<(CurvePoint, CurvePoint)> = (0..=STEPS)
            .filter_map(|i| {
                let density = low + (high - low) * i as f64 / STEPS as f64;
                let tilt = self.fitted.curve.tilt_deg(density)?;
                Some((self.fitted.curve.at(tilt)?, later.fitted.curve.at(tilt)?))
            })
            .collect();
        if pairs.is_empty() {
            return Err(Error::not_estimable(what, "the curves have no tilts in common"));
        }
        let root = joint_root(&self.fitted, &later.fitted);
        // Effects of independent standard normals on each difference, kg/m3.
        let effects = gradients(&pairs) * &root;
        let se: Vec<f64> = effects.row_iter().map(|row| row.norm()).collect();
        let df = self.fitted.df.min(later.fitted.df);
        let mut largest = largest_t(&effects, &se, df)?;
        largest.sort_by(f64::total_cmp);
        let place = ((self.level * DRAWS as f64) as usize).min(DRAWS - 1);
        let critical = largest.get(place).copied().unwrap_or(f64::INFINITY);
        let mut points = Vec::with_capacity(pairs.len());
        let mut most: f64 = 0.0;
        for ((a, b), se) in pairs.iter().zip(&se) {
            let difference = b.density_kg_m3 - a.density_kg_m3;
            most = most.max(difference.abs() / se);
            let (value, se) = (difference / WATER_20C_KG_M3, se / WATER_20C_KG_M3);
            let sg = a.density_kg_m3 / WATER_20C_KG_M3;
            points.push((sg, Estimate::with_factor(value, se, critical, self.level, METHOD)));
        }
        let beyond = largest.iter().filter(|t| **t >= most).count();
        let p = (beyond + 1) as f64 / (DRAWS + 1) as f64;
        Ok(CalibrationDifference { earlier: self.calibration.clone(), later: later.calibration.clone(), points, p })
    }
}

impl Calibrations {
    /// Each later calibration of a probe against the one before it, where the two can be compared.
    pub fn changes(&self) -> Vec<CalibrationDifference> {
        let pairs = self.calibrations.iter().zip(self.calibrations.iter().skip(1));
        pairs.filter(|(a, b)| a.probe == b.probe).filter_map(|(a, b)| a.difference(b).ok()).collect()
    }
}

tables! {
    impl Calibrations {
        /// The table `calibration_changes`: one row per later calibration and gravity.
        #[doc = example!(study "let table = study.calibrations()?.changes_frame()?;")]
        fn changes_frame(self) = "calibration_changes", |(change, (sg, difference))| self.changes().into_iter().flat_map(|change| {
            let points = change.points.clone().into_iter().step_by(STEPS / 4);
            points.map(move |point| (change.clone(), point))
        }) => {
            "earlier": &change.earlier,
            "later": &change.later,
            "p": change.p,
            "sg": *sg,
            ["difference_sg", "se", "lower", "upper", "level"]: Some(difference.numbers()),
            "method": &difference.method,
        }
    }
}

/// Coefficients of two curves.
const BOTH: usize = 2 * MOST_COEFFICIENTS;

/// The gradient of each difference by the coefficients of the earlier and then of the later curve.
fn gradients(pairs: &[(CurvePoint, CurvePoint)]) -> DMatrix<f64> {
    let rows = pairs.iter().flat_map(|(a, b)| a.gradient.map(|slope| -slope).into_iter().chain(b.gradient));
    DMatrix::from_row_iterator(pairs.len(), BOTH, rows)
}

/// A root R of the joint covariance R R' of both curves' coefficients.
fn joint_root(earlier: &FittedCalibration, later: &FittedCalibration) -> DMatrix<f64> {
    let n = MOST_COEFFICIENTS;
    let mut covariance = DMatrix::zeros(BOTH, BOTH);
    covariance.view_mut((0, 0), (n, n)).copy_from(&earlier.covariance);
    covariance.view_mut((n, n), (n, n)).copy_from(&later.covariance);
    for a in &earlier.shared {
        let Some(b) = later.shared.iter().find(|b| b.source == a.source) else { continue };
        let common = Vector4::from(a.by_coefficient) * Vector4::from(b.by_coefficient).transpose();
        let mut cross = covariance.view_mut((0, n), (n, n));
        cross += common;
        let mut cross = covariance.view_mut((n, 0), (n, n));
        cross += common.transpose();
    }
    root_of(&covariance)
}

/// Draws of the largest |t| over the rows.
fn largest_t(effects: &DMatrix<f64>, se: &[f64], df: f64) -> Result<Vec<f64>> {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let chi = ChiSquared::new(df).map_err(|why| Error::numeric("a simultaneous band", why.to_string()))?;
    let mut scaled = effects.clone();
    for (mut row, se) in scaled.row_iter_mut().zip(se) {
        row /= if *se > 0.0 { *se } else { f64::INFINITY };
    }
    let draw = |_| {
        let normal = DVector::from_fn(scaled.ncols(), |_, _| StandardNormal.sample(&mut rng));
        (&scaled * normal).amax() / (chi.sample(&mut rng) / df).sqrt()
    };
    Ok((0..DRAWS).map(draw).collect())
}
