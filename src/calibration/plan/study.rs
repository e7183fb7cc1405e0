//! From the curves so far to the baths of the next calibration.

use rayon::prelude::*;

use crate::calibration::{Calibration, Calibrations};
use crate::error::{Error, Result};
use crate::season::Season;

use super::design::{DesignProblem, evenly};
use super::information::model;
use super::range::UsedRange;
use super::recipe::BathRecipe;
use super::result::{BathPlan, DEFINING_BATHS, Plan};
use super::settings::PlanSettings;

/// Points of the range at which the error is asked for.
const RANGE_POINTS: usize = 41;
/// Step of the grid on which the baths lie, SG; the grid begins at water.
const STEP_SG: f64 = 0.002;

impl PlanSettings {
    /// Plans the baths of the next calibration of all probes together by the last curve of each.
    ///
    /// Errors that all baths of a session share (a scale, a hydrometer) shrink by no plan and are left out: the standard
    /// errors are those that the choice of baths can change.
    ///
    /// # Errors
    /// [`Error::Setting`] for a setting that cannot be; [`Error::NotEstimable`] without a calibration, or when no
    /// probe's curve reaches over the range.
    #[doc = example!(no_run "let calibrations = CalibrationSettings::default().fit(&season)?;\nprintln!(\"{}\", PlanSettings::default().plan(&season, &calibrations)?.in_words());")]
    pub fn plan(&self, season: &Season, calibrations: &Calibrations) -> Result<BathPlan> {
        self.check()?;
        let refuse = |why: String| Error::not_estimable("a plan of baths", why);
        let by_probe = calibrations.calibrations.chunk_by(|a, b| a.probe == b.probe);
        let last: Vec<&Calibration> = by_probe.filter_map(<[Calibration]>::last).collect();
        if last.is_empty() {
            return Err(refuse("no probe has a calibration to plan by".to_owned()));
        }
        let range = match self.range_sg {
            Some((low_sg, high_sg)) => UsedRange { low_sg, high_sg, source: "as set".to_owned() },
            None => UsedRange::of(season, calibrations)
                .ok_or_else(|| refuse("neither batches nor baths tell which gravities are used".to_owned()))?,
        };
        let step = (range.high_sg - range.low_sg) / (RANGE_POINTS - 1) as f64;
        let range_points_sg: Vec<f64> = (0..RANGE_POINTS).map(|i| range.low_sg + step * i as f64).collect();
        let steps = ((self.heaviest_sg - 1.0) / STEP_SG + 1e-9).floor() as usize;
        let grid: Vec<f64> = (0..=steps).map(|i| 1.0 + STEP_SG * i as f64).collect();
        let settings = &calibrations.settings;
        let (mut probes, mut models, mut without) = (Vec::new(), Vec::new(), Vec::new());
        for calibration in last {
            let probe = season.probe(&calibration.probe);
            let prior = settings.prior_of(season, probe, calibration.calibrated_at, &mut Vec::new());
            match model(calibration, &prior, self.bath_sd_sg, settings.tilt_sd_deg, &grid, &range_points_sg) {
                Ok(model) => {
                    probes.push(calibration.probe.clone());
                    models.push(model);
                }
                Err(why) => without.push((calibration.probe.clone(), why)),
            }
        }
        if probes.is_empty() {
            let reasons: Vec<String> = without.iter().map(|(probe, why)| format!("{probe}: {why}")).collect();
            return Err(refuse(reasons.join("; ")));
        }
        let problem = DesignProblem::new(&models, DEFINING_BATHS);
        // Even steps from water to the first place of the grid at or above the range.
        let below = |place: &&usize| grid.get(**place).is_some_and(|sg| *sg < range.high_sg - 1e-9);
        let up_to_range = problem.places.iter().take_while(below).count() + 1;
        let places = problem.places.get(..up_to_range).unwrap_or(&problem.places);
        let one = |n: usize| {
            let points = problem.best(n).ok_or_else(|| refuse(format!("{n} baths determine no curve")))?;
            let even = evenly(places, n);
            let errors = |points: &[usize]| mean_over(models.iter().map(|model| model.standard_errors(points)));
            let sgs = points.iter().filter_map(|&place| grid.get(place));
            Ok(Plan {
                n,
                baths: sgs.map(|&sg| BathRecipe::new(sg)).collect::<Result<_>>()?,
                se_sg: errors(&points).ok_or_else(|| refuse(format!("{n} baths determine no curve")))?,
                even_se_sg: errors(&even).unwrap_or_default(),
                efficiency_even: problem.efficiency(&even, &points),
            })
        };
        let plans = (DEFINING_BATHS..=self.most_baths).into_par_iter().map(one).collect::<Result<Vec<Plan>>>()?;
        let (range_sg, range_source, least_gain) = ((range.low_sg, range.high_sg), range.source, self.least_gain);
        Ok(BathPlan { range_sg, range_source, range_points_sg, probes, without, plans, least_gain })
    }
}

/// The mean of columns of equal length; none where one is missing.
fn mean_over(columns: impl Iterator<Item = Option<Vec<f64>>>) -> Option<Vec<f64>> {
    let columns: Vec<Vec<f64>> = columns.collect::<Option<_>>()?;
    let mut mean = vec![0.0; columns.first()?.len()];
    for column in &columns {
        for (sum, value) in mean.iter_mut().zip(column) {
            *sum += value / columns.len() as f64;
        }
    }
    Some(mean)
}
