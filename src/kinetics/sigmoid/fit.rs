//! Fitting one curve to points.

use crate::fit::Likelihood;
use crate::fit::Scale;
use crate::fit::autocorrelation::{Car1, Whitened};
use crate::fit::nonlinear::{Curve, CurveResiduals, NonlinearFit, NonlinearSettings, ParameterState};
use crate::{Error, Result};

use super::SigmoidKind;
use super::errors::{aicc, correlated, straight};
use super::points::Points;
use super::result::SigmoidFit;
use super::settings::SigmoidSettings;
use super::starts::Smooth;

/// Rounds of estimating the errors' memory and fitting anew.
const ROUNDS: usize = 3;
/// A change smaller than this many residual standard deviations is none.
const LEAST_CHANGE_SDS: f64 = 4.0;

/// A first fit with up to this many times the squares about local medians is right: no further starts are tried.
const AS_CLOSE: f64 = 2.0;
/// The same for up to this share of the squares about the mean, of curves without an asymmetry.
const UNEXPLAINED: f64 = 0.02;

/// The solver of fits on the way to the last.
const PASSING: NonlinearSettings = NonlinearSettings { scale: Scale::Estimated, tolerance: 1e-10, patience: 1000 };

impl SigmoidSettings {
    /// Fits the curve to points in any order; `sd` are standard deviations of `y` up to a common factor.
    ///
    /// # Errors
    /// - [`Error::Setting`]: a setting out of range. [`Error::Usage`]: different lengths.
    /// - [`Error::NotEstimable`]: too few points, values that are not finite, no change that stands out of the scatter, a rate
    ///   that is not told from none, a straight line that describes the data as well, or a curve that does not converge: the
    ///   reason is in words.
    ///
    /// ```
    /// use heelwort::kinetics::{SigmoidKind, SigmoidSettings, SigmoidTrait};
    /// let hours: Vec<f64> = (0..30).map(f64::from).collect();
    /// let wiggle = |t: f64| 0.01 * (5.0 * t).sin();
    /// let growth: Vec<f64> = hours.iter().map(|t| 2.0 / (1.0 + (4.0 - 0.5 * t).exp()) + wiggle(*t)).collect();
    /// let fit = SigmoidSettings { from: Some(0.0), correlated: false, ..Default::default() }.fit(&hours, &growth, None)?;
    /// assert!((fit.finding(SigmoidTrait::Lag).value().unwrap_or(0.0) - 4.0).abs() < 0.1);
    /// # Ok::<(), heelwort::Error>(())
    /// ```
    pub fn fit(&self, x: &[f64], y: &[f64], sd: Option<&[f64]>) -> Result<SigmoidFit> {
        self.check()?;
        let points = Points::new(x, y, sd)?;
        let problem = points.problem(&self.kind)?;
        let free = self.kind.parameters() - usize::from(self.from.is_some());
        let mut places = points.x.clone();
        places.dedup();
        if places.len() < free + 1 {
            let why = format!("{} places; a curve of {free} parameters needs {}", places.len(), free + 1);
            return Err(Error::not_estimable(self.what(), why));
        }
        let first = self.best(&points, &problem)?;
        self.check_change(&points, &first)?;
        let (fit, process) = if self.correlated { self.generalised(&points, &problem, first)? } else { (first, None) };
        if let Some(rate) = fit.finding("rate", self.level)?.estimate().filter(|rate| !(rate.lower > 0.0)) {
            let why = format!("the rate, {rate}, is not told from none");
            return Err(Error::not_estimable(self.what(), why));
        }
        let aicc = aicc(&points, &problem, &fit, process.is_some(), free)?;
        let line = straight(&points, process.is_some())?;
        if line <= aicc {
            let why = format!("a straight line describes the data as well (AICc {line:.1}, the curve's {aicc:.1})");
            return Err(Error::not_estimable(self.what(), why));
        }
        SigmoidFit::new(self, points, fit, process, aicc)
    }

    /// The best of the descents from all start values.
    fn best(&self, points: &Points, problem: &CurveResiduals<'_, SigmoidKind>) -> Result<NonlinearFit> {
        let mut best: Option<NonlinearFit> = None;
        let mut failure = None;
        let smooth = Smooth::new(&points.x, &points.y);
        let solver = if self.correlated { PASSING } else { NonlinearSettings::default() };
        for start in smooth.starts(self.kind, self.from) {
            match solver.fit(problem, &self.parameters(points, &start)) {
                Ok(fit) if fit.stop.is_converged() => {
                    let first = best.is_none() && failure.is_none();
                    if best.as_ref().is_none_or(|other| fit.sum_of_squares < other.sum_of_squares) {
                        best = Some(fit);
                    }
                    if first && best.as_ref().is_some_and(|fit| self.is_beyond_doubt(points, &smooth, fit)) {
                        break;
                    }
                }
                Ok(fit) => failure = Some(Error::not_estimable(self.what(), fit.stop.to_string())),
                Err(error) => failure = Some(error),
            }
        }
        let none = || failure.unwrap_or_else(|| Error::not_estimable(self.what(), "the values do not change"));
        best.ok_or_else(none)
    }

    /// True when another start need not be tried: all parameters are told, and the curve lies among the points as closely
    /// as lines through their local medians, or, without an asymmetry to be mistaken in, describes nearly all that varies.
    fn is_beyond_doubt(&self, points: &Points, smooth: &Smooth, fit: &NonlinearFit) -> bool {
        let told = fit.parameters.iter().all(|p| matches!(p.state, ParameterState::Free | ParameterState::Held));
        // The kink of the lag makes a minimum of its own between any two points.
        if !told || self.kind == SigmoidKind::LagExponential {
            return false;
        }
        let values = fit.values();
        let squares: f64 = points.points().map(|(x, y)| (y - self.kind.value(x, &values)).powi(2)).sum();
        let mean = points.y.iter().sum::<f64>() / points.y.len() as f64;
        let varies: f64 = points.y.iter().map(|y| (y - mean).powi(2)).sum();
        squares <= AS_CLOSE * smooth.roughness(&points.x, &points.y)
            || (self.kind.parameters() == 4 && squares <= UNEXPLAINED * varies)
    }

    /// Refuses data in which nothing goes from one level to another.
    fn check_change(&self, points: &Points, fit: &NonlinearFit) -> Result<()> {
        let values = fit.values();
        let (first, last) = points.span();
        let curve = |x: f64| self.kind.value(x, &values);
        let change = (curve(last) - curve(first)).abs();
        let mean_sd = points.sd.as_ref().map_or(1.0, |sd| sd.iter().sum::<f64>() / sd.len() as f64);
        let scatter = fit.sigma * mean_sd;
        if !(change > LEAST_CHANGE_SDS * scatter) {
            let why = format!("the values change by {change:.3} in these data, where they scatter by {scatter:.3}");
            return Err(Error::not_estimable(self.what(), why));
        }
        let rate = fit.parameter("rate")?;
        if rate.state == ParameterState::NotIdentified || fit.parameter("lag")?.state == ParameterState::NotIdentified {
            return Err(Error::not_estimable(self.what(), "the data do not show how the values change"));
        }
        Ok(())
    }

    /// Generalised least squares: the memory of the errors from the residuals, the curve from whitened residuals, in turn.
    fn generalised(
        &self,
        points: &Points,
        problem: &CurveResiduals<'_, SigmoidKind>,
        mut fit: NonlinearFit,
    ) -> Result<(NonlinearFit, Option<Car1>)> {
        let mut process: Option<Car1> = None;
        for round in 1..=ROUNDS {
            let values = fit.values();
            let found = correlated(points, problem, &fit, Likelihood::Reml)?;
            let settled = process.is_some_and(|before| {
                // A millionth of the correlation at the span of the memory changes nothing that is shown.
                (before.memory() / found.process.memory()).ln().abs() < 1e-6
                    && (before.white_share - found.process.white_share).abs() < 1e-6
            });
            process = Some(found.process);
            let whitened = Whitened::new(problem, &found.process, &points.x)?;
            let last = settled || round == ROUNDS;
            let solver = if last { NonlinearSettings::default() } else { PASSING };
            let mut next = solver.fit(&whitened, &self.parameters(points, &values))?;
            next.df = next.df.min(found.df);
            fit = next;
            if last {
                break;
            }
        }
        Ok((fit, process))
    }
}
