//! What a fit on plain slices found.

use std::fmt;

use polars::prelude::DataFrame;

use crate::fit::autocorrelation::{Car1, Whitened};
use crate::fit::nonlinear::{Curve, NonlinearFit, NonlinearSettings};
use crate::fit::{Estimate, Finding, quantile};
use crate::kinetics::settings::IntervalMethod;
use crate::season::FrameBuilder;
use crate::{Error, Result};

use super::SigmoidKind;
use super::points::Points;
use super::settings::SigmoidSettings;

/// The share of the change that must lie in the data before the level at the end is given.
const LEAST_SHARE: f64 = 0.6;

/// What can be read off a curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SigmoidTrait {
    /// The level it comes from.
    From,
    /// The level it goes to.
    To,
    /// The greatest rate of change.
    Rate,
    /// Where the tangent at the steepest point meets the first level.
    Lag,
    /// Where half of the change is done.
    Mid,
    /// Where nine tenths are done.
    T90,
}

impl SigmoidTrait {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::From, Self::To, Self::Rate, Self::Lag, Self::Mid, Self::T90];

    /// Its name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::From => "from",
            Self::To => "to",
            Self::Rate => "rate",
            Self::Lag => "lag",
            Self::Mid => "mid",
            Self::T90 => "t90",
        }
    }

    const fn needs_the_end(self) -> bool {
        matches!(self, Self::To | Self::Mid | Self::T90)
    }
}

impl SigmoidTrait {
    /// Its value with the gradient in the parameters.
    fn at(self, kind: SigmoidKind, values: &[f64]) -> (f64, Vec<f64>) {
        let alone = |place: usize| {
            let slopes = (0..values.len()).map(|i| f64::from(u8::from(i == place))).collect();
            (values.get(place).copied().unwrap_or(f64::NAN), slopes)
        };
        match self {
            Self::From => alone(0),
            Self::To => alone(1),
            Self::Rate => alone(2),
            Self::Lag => alone(3),
            Self::Mid => kind.x_of_share(values, 0.5),
            Self::T90 => kind.x_of_share(values, 0.9),
        }
    }
}

/// A curve fitted to points.
#[derive(Debug, Clone)]
pub struct SigmoidFit {
    /// Which curve.
    pub kind: SigmoidKind,
    /// The least-squares fit; of whitened residuals where errors are correlated.
    pub fit: NonlinearFit,
    /// The process of the errors, where they may be correlated.
    pub process: Option<Car1>,
    /// Akaike's criterion corrected for the number of points, on the likelihood of these errors.
    pub aicc: f64,
    /// Share of the change done at the last point.
    pub progress: f64,
    traits: [Finding; SigmoidTrait::ALL.len()],
    points: Points,
}

impl SigmoidFit {
    pub(super) fn new(
        settings: &SigmoidSettings,
        points: Points,
        fit: NonlinearFit,
        process: Option<Car1>,
        aicc: f64,
    ) -> Result<Self> {
        let kind = settings.kind;
        let values = fit.values();
        let (Some([from, to]), (_, last)) = (values.first_chunk::<2>(), points.span()) else {
            return Err(Error::numeric("a sigmoid curve", "too few parameters"));
        };
        let progress = (kind.value(last, &values) - from) / (to - from);
        let mut found = Self {
            kind,
            fit,
            process,
            aicc,
            progress,
            traits: SigmoidTrait::ALL.map(|_| Finding::missing("")),
            points,
        };
        for which in SigmoidTrait::ALL {
            found.traits[which as usize] = found.look(settings, which)?;
        }
        Ok(found)
    }

    fn look(&self, settings: &SigmoidSettings, which: SigmoidTrait) -> Result<Finding> {
        if which == SigmoidTrait::From && settings.from.is_some() {
            return self.fit.finding("from", settings.level);
        }
        if which.needs_the_end() && self.progress < LEAST_SHARE {
            let why = format!("the data end when {:.0} % of the change is done", 100.0 * self.progress);
            return Ok(Finding::missing(why));
        }
        let (value, gradient) = which.at(self.kind, &self.fit.values());
        let finding = self.fit.functional(value, &gradient, settings.level)?;
        let Finding::Estimated(mut estimate) = finding else { return Ok(finding) };
        if settings.interval == IntervalMethod::Profile {
            let functional = |p: &[f64]| Ok(which.at(self.kind, p));
            let parameters = settings.parameters(&self.points, &self.fit.values());
            let problem = self.points.problem(&self.kind)?;
            let all = NonlinearSettings::default();
            let interval = match &self.process {
                Some(process) => {
                    let whitened = Whitened::new(&problem, process, &self.points.x)?;
                    self.fit.profile(&all, &whitened, &parameters, &functional, settings.level)
                }
                None => self.fit.profile(&all, &problem, &parameters, &functional, settings.level),
            };
            match interval {
                Ok(interval) => (estimate.lower, estimate.upper) = interval,
                Err(error) if error.is_not_estimable() => return Ok(Finding::missing(error.to_string())),
                Err(error) => return Err(error),
            }
            estimate.method = self.fit.profile_method().into();
        }
        Ok(Finding::Estimated(estimate))
    }

    /// What was found about a trait.
    pub fn finding(&self, which: SigmoidTrait) -> &Finding {
        &self.traits[which as usize]
    }

    /// The curve at `x`.
    pub fn value(&self, x: f64) -> f64 {
        self.kind.value(x, &self.fit.values())
    }

    /// The curve with its confidence band, pointwise, by the delta method.
    ///
    /// # Errors
    /// [`Error::Setting`] for a bad level.
    pub fn band(&self, x: &[f64], level: f64) -> Result<Vec<Estimate>> {
        self.estimates(x, level, 0.0, "delta, t")
    }

    /// The curve with a band for one new reading of standard deviation `sd` (1 where the points had none), not near another.
    ///
    /// # Errors
    /// [`Error::Setting`] for a bad level or a standard deviation below 0.
    pub fn prediction(&self, x: &[f64], sd: f64, level: f64) -> Result<Vec<Estimate>> {
        if !(sd >= 0.0) {
            return Err(Error::Setting { name: "sd", value: sd.to_string(), wanted: "0 or more" });
        }
        self.estimates(x, level, (self.fit.sigma * sd).powi(2), "delta and a reading's error, t")
    }

    fn estimates(&self, x: &[f64], level: f64, more: f64, method: &'static str) -> Result<Vec<Estimate>> {
        let factor = quantile::student_t_two_sided(level, self.fit.df)?;
        let values = self.fit.values();
        let mut slopes = vec![0.0; values.len()];
        let one = |x: &f64| {
            self.kind.gradient(*x, &values, &mut slopes);
            let mut variance = more;
            for (a, row) in slopes.iter().zip(self.fit.covariance.rows()) {
                variance += row.iter().zip(&slopes).map(|(c, b)| a * b * c).sum::<f64>();
            }
            Estimate::with_factor(self.kind.value(*x, &values), variance.sqrt(), factor, level, method)
        };
        Ok(x.iter().map(one).collect())
    }

    /// The points it was fitted to, in order of x.
    pub fn points(&self) -> impl Iterator<Item = (f64, f64)> {
        self.points.x.iter().copied().zip(self.points.y.iter().copied())
    }

    /// One row per trait: trait, estimate, se, lower, upper, level, method, why.
    ///
    /// # Errors
    /// [`Error::Frame`] when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        let all = || SigmoidTrait::ALL.iter().map(|which| (which, self.finding(*which)));
        let number = |of: fn(&Estimate) -> f64| all().map(move |(_, finding)| finding.estimate().map(of));
        FrameBuilder::new("sigmoid")
            .text("trait", all().map(|(which, _)| Some(which.name())))
            .number("estimate", all().map(|(_, finding)| finding.value()))
            .number("se", number(|e| e.se))
            .number("lower", number(|e| e.lower))
            .number("upper", number(|e| e.upper))
            .number("level", number(|e| e.level))
            .text("method", all().map(|(_, finding)| finding.estimate().map(|e| e.method.to_string())))
            .text("why", all().map(|(_, finding)| finding.why().map(str::to_owned)))
            .finish()
    }
}

impl fmt::Display for SigmoidFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let errors = match &self.process {
            Some(process) => {
                format!("errors with phi {:.3} at one unit of x", process.phi * (1.0 - process.white_share))
            }
            None => "independent errors".to_owned(),
        };
        writeln!(f, "{} curve on {} points, {errors}, AICc {:.1}", self.kind, self.fit.n, self.aicc)?;
        for which in SigmoidTrait::ALL {
            writeln!(f, "  {:5} {}", which.name(), self.finding(which))?;
        }
        Ok(())
    }
}
