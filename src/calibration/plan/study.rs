//! From the curves so far to the baths of the next calibration.

use rayon::prelude::*;

use crate::calibration::{Calibration, Calibrations};
use crate::error::{Error, Result};
use crate::season::Season;

use super::design::{DesignCriterion, DesignModel, DesignProblem, DesignRule, evenly};
use super::information::{PlanErrors, model, prior_of};
use super::range::UsedRange;
use super::recipe::BathRecipe;
use super::result::{BathPlan, DEFINING_BATHS, Plan, PlannedBath};
use super::settings::PlanSettings;

/// Points of the range at which the error is asked for.
const RANGE_POINTS: usize = 41;
const CRITERIA: [DesignCriterion; 2] = [DesignCriterion::D, DesignCriterion::I];

impl PlanSettings {
    /// Plans the baths of the next calibration by the last curve of each probe, for all probes together and for each.
    ///
    /// PlanErrors that all baths of a session share (a scale, a hydrometer) shrink by no plan and are left out: the standard
    /// errors are those that the choice of baths can change.
    ///
    /// # PlanErrors
    /// [`Error::Setting`] for a setting that cannot be; [`Error::NotEstimable`] without a calibration, or when no
    /// probe's curve reaches over the range.
    ///
    /// ```no_run
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// let season = Season::load("my-season")?;
    /// let calibrations = CalibrationSettings::default().fit(&season)?;
    /// println!("{}", PlanSettings::default().plan(&season, &calibrations)?.in_words());
    /// # Ok(())
    /// # }
    /// ```
    pub fn plan(&self, season: &Season, calibrations: &Calibrations) -> Result<BathPlan> {
        self.check()?;
        let refuse = |why: String| Error::not_estimable("a plan of baths", why);
        let last = last_calibrations(calibrations);
        if last.is_empty() {
            return Err(refuse("no probe has a calibration to plan by".to_owned()));
        }
        let range = match self.range_sg {
            Some((low_sg, high_sg)) => UsedRange { low_sg, high_sg, source: "as set".to_owned() },
            None => UsedRange::of(season, calibrations, self.quantile)
                .ok_or_else(|| refuse("neither batches nor baths tell which gravities are used".to_owned()))?,
        };
        let step = (range.high_sg - range.low_sg) / (RANGE_POINTS - 1) as f64;
        let range_points_sg: Vec<f64> = (0..RANGE_POINTS).map(|i| range.low_sg + step * i as f64).collect();
        let steps = ((self.heaviest_sg - 1.0) / self.step_sg + 1e-9).floor() as usize;
        let grid: Vec<f64> = (0..=steps).map(|i| 1.0 + self.step_sg * i as f64).collect();
        let errors = PlanErrors {
            tilt_sd_deg: self.tilt_sd_deg.unwrap_or(calibrations.settings.tilt_sd_deg),
            bath_sd_sg: self.bath_sd_sg,
            water_sd_sg: self.water_sd_sg,
        };
        let (mut probes, mut without) = (Vec::new(), Vec::new());
        for calibration in last {
            let prior = prior_of(&calibrations.settings, season, calibration)?;
            match model(calibration, &prior, errors, &grid, &range_points_sg) {
                Ok(model) => probes.push((calibration.probe.clone(), model)),
                Err(why) => without.push((calibration.probe.clone(), why)),
            }
        }
        if probes.is_empty() {
            let reasons: Vec<String> = without.iter().map(|(probe, why)| format!("{probe}: {why}")).collect();
            return Err(refuse(reasons.join("; ")));
        }
        let all: Vec<&DesignModel> = probes.iter().map(|(_, model)| model).collect();
        let one_each = probes.iter().map(|(probe, model)| (Some(probe.clone()), vec![model]));
        let groups: Vec<(Option<String>, Vec<&DesignModel>)> = std::iter::once((None, all)).chain(one_each).collect();
        let tasks: Vec<(&Option<String>, &[&DesignModel], DesignCriterion, usize)> = groups
            .iter()
            .flat_map(|(probe, models)| CRITERIA.map(|criterion| (probe, models.as_slice(), criterion)))
            .flat_map(|(probe, models, criterion)| {
                (self.baths.0..=self.baths.1).map(move |n| (probe, models, criterion, n))
            })
            .collect();
        let plans = tasks
            .into_par_iter()
            .map(|(probe, models, criterion, n)| self.one(probe.clone(), models, criterion, n, &grid, range.high_sg))
            .collect::<Result<Vec<Plan>>>()?;
        let probes = probes.into_iter().map(|(probe, _)| probe).collect();
        Ok(BathPlan { range, range_points_sg, probes, without, plans, settings: self.clone() })
    }

    fn one(
        &self,
        probe: Option<String>,
        models: &[&DesignModel],
        criterion: DesignCriterion,
        n: usize,
        grid: &[f64],
        high_sg: f64,
    ) -> Result<Plan> {
        let problem = DesignProblem::new(models, criterion);
        let defining = self.defines && n >= DEFINING_BATHS;
        let rule =
            if defining { DesignRule { holds: Some(0), distinct: DEFINING_BATHS } } else { DesignRule::default() };
        let Some(points) = problem.best(n, &rule) else {
            let why = Some(format!("{n} baths determine no curve of this form"));
            return Ok(Plan {
                probe,
                criterion,
                n,
                baths: Vec::new(),
                se_sg: Vec::new(),
                even_se_sg: Vec::new(),
                efficiency_even: None,
                why,
            });
        };
        // Even steps from water to the first place of the grid at or above the range.
        let below = |place: &&usize| grid.get(**place).is_some_and(|sg| *sg < high_sg - 1e-9);
        let up_to_range = problem.places().iter().take_while(below).count() + 1;
        let even = evenly(problem.places().get(..up_to_range).unwrap_or(problem.places()), n);
        let leverages = mean_over(models.iter().map(|model| model.leverages(&points))).unwrap_or_default();
        let baths = points
            .iter()
            .zip(&leverages)
            .filter_map(|(&place, &leverage)| grid.get(place).map(|&sg| (sg, leverage)))
            .map(|(sg, leverage)| BathRecipe::new(sg).map(|recipe| PlannedBath { recipe, leverage }))
            .collect::<Result<Vec<PlannedBath>>>()?;
        let why = (self.defines && !defining).then(|| {
            "fewer baths than water and three other gravities: a check, unless they are marked `calibrate`".to_owned()
        });
        Ok(Plan {
            probe,
            criterion,
            n,
            baths,
            se_sg: mean_over(models.iter().map(|model| model.standard_errors(&points))).unwrap_or_default(),
            even_se_sg: mean_over(models.iter().map(|model| model.standard_errors(&even))).unwrap_or_default(),
            efficiency_even: problem.efficiency(&even, &points),
            why,
        })
    }
}

/// The latest calibration of each probe.
fn last_calibrations(calibrations: &Calibrations) -> Vec<&Calibration> {
    let mut last: Vec<&Calibration> = Vec::new();
    for calibration in &calibrations.calibrations {
        match last.iter_mut().find(|known| known.probe == calibration.probe) {
            Some(known) if known.calibrated_at <= calibration.calibrated_at => *known = calibration,
            Some(_) => {}
            None => last.push(calibration),
        }
    }
    last
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
