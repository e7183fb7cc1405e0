//! What was found about one batch.

use crate::fit::Finding;
use crate::fit::whiteness::Whiteness;
use crate::season::{Flags, LeftOpen};
use crate::units::Instant;

use super::clock::Clock;
use super::curve::GravityCurve;
use super::error_model::ErrorModel;
use super::point::BatchPoint;
use super::probe_bias::FITTED;
use super::settings::KineticsSettings;
use super::status::Status;
use super::timed::Timed;
use super::traits::Trait;

/// The offset of one probe from the curve of its batch.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeOffset {
    /// The probe.
    pub probe: String,
    /// Offset plus curve error at the middle of the drop, probe minus curve, SG.
    pub offset_sg: Finding,
}

/// The lasting shift of one probe within its batch.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeStep {
    /// The probe.
    pub probe: String,
    /// The same as an index into [`BatchFit::offsets`].
    pub place: usize,
    /// When, hours from pitching.
    pub hours: f64,
    /// By how much it reads higher from then on, SG.
    pub step_sg: Finding,
}

/// The fitted curve with what its errors need.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedFermentation {
    /// The curve, times on its clock.
    pub(crate) curve: GravityCurve,
    pub(crate) clock: Clock,
    /// Delay by gas, hours, and bias by foam, SG.
    pub(crate) bias: [f64; 2],
    /// Covariance of the parameters in the order of [`GravityCurve::to_vector`], and of these two; zero for a held one.
    pub(crate) covariance: [[f64; FITTED]; FITTED],
    pub(crate) errors: ErrorModel,
}

impl FittedFermentation {
    /// The curve in hours from pitching, made ready for many evaluations.
    pub(crate) fn timed(&self) -> Timed<'_> {
        Timed::new(&self.curve, &self.clock)
    }
}

/// Traits brought to the reference temperature by thermal time.
#[derive(Debug, Clone, PartialEq)]
pub struct AtReference {
    /// Lag, thermal hours.
    pub lag_h: Finding,
    /// Middle of the drop, thermal hours.
    pub mid_h: Finding,
    /// Greatest rate of fall, SG per day at the reference temperature.
    pub max_rate_sg_per_day: Finding,
}

impl AtReference {
    /// None of them, for a reason.
    pub(super) fn missing(why: &str) -> Self {
        let none = || Finding::missing(why);
        Self { lag_h: none(), mid_h: none(), max_rate_sg_per_day: none() }
    }
}

/// What was found about one batch.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchFit {
    /// The batch.
    pub batch: String,
    /// The strain.
    pub strain: String,
    /// When the yeast went in.
    pub pitched_at: Instant,
    /// The curve; none where the data are too few.
    pub fitted: Option<FittedFermentation>,
    /// The findings in the order of [`Trait::ALL`].
    pub traits: [Finding; Trait::ALL.len()],
    /// Lag, middle and rate at the reference temperature.
    pub at_reference: AtReference,
    /// How far it has come.
    pub status: Status,
    /// Probability of that word, from the errors of the curve.
    pub status_probability: Finding,
    /// Hours from pitching at which that state began, where it shows.
    pub status_since_h: Option<f64>,
    /// Share of the drop done at the last reading used.
    pub progress: Finding,
    /// Readings and samples that entered the fit.
    pub n: usize,
    /// Whether waves are left in the residuals when the error model is taken off.
    pub whiteness: Option<Whiteness>,
    /// Bias of the probes by foam where most of it sits, SG.
    pub foam_sg: Finding,
    /// Root mean square of the residuals of the points, robust weights applied, SG.
    pub rmse_sg: Option<f64>,
    /// The probes with their offsets.
    pub offsets: Vec<ProbeOffset>,
    /// Their lasting shifts within the batch: at what was done to it, and where the study of drift knows of one.
    pub steps: Vec<ProbeStep>,
    /// What was fitted.
    pub points: Vec<BatchPoint>,
    /// What the curve, the probes' offsets and bias leave of each point, SG.
    pub residuals_sg: Vec<f64>,
    /// The same with the error model taken off: independent, of unit variance, if the model is right.
    pub innovations: Vec<f64>,
    /// Rows of the season's readings that the fit left out or gave little weight, with the reason.
    pub flags: Vec<(usize, Flags)>,
    /// The last data that could be used (before cooling and the end), hours from pitching.
    pub last_hours: f64,
    /// Hours from pitching at which cooling began, or is planned to begin, if either is known.
    pub cooled_hours: Option<f64>,
    /// Hours from pitching at which the batch ended, if it did.
    pub ended_hours: Option<f64>,
    /// Whether it has no end and yet seems to be over, by [`Season::left_open`](crate::season::Season::left_open).
    pub left_open: bool,
    /// Limit used to tell stuck from finished, with its standard deviation.
    pub limit_sg: Option<(f64, f64)>,
    /// Probability that its terminal gravity is a stuck one, if it is at rest. [`Status::Stuck`] is said where it is over 0.9.
    pub p_stuck: Option<f64>,
    /// Why something is missing, in words; empty when nothing is.
    pub why: String,
}

/// A batch that has not ended is said to be at rest from this probability on.
const SURE: f64 = 0.8;

impl BatchFit {
    /// What was found about a trait.
    #[doc = example!(study "println!(\"{}\", study.kinetics()?.batch(batch)?.finding(Trait::TerminalSg));")]
    pub fn finding(&self, which: Trait) -> &Finding {
        &self.traits[which as usize]
    }

    /// The name of the fitted curve.
    pub fn curve_name(&self) -> Option<&'static str> {
        self.fitted.as_ref().map(|fitted| fitted.curve.kind.name())
    }

    /// Adds a reason to those that stand in `why`.
    pub(super) fn add_why(&mut self, why: &str) {
        self.why = if self.why.is_empty() { why.to_owned() } else { format!("{}; {why}", self.why) };
    }

    /// Where the batch stands.
    pub(crate) fn state(&self) -> BatchState {
        let doubted = self.status_probability.value().is_some_and(|p| p < SURE);
        match (self.ended_hours, self.status) {
            (Some(_), _) => BatchState::Ended,
            (None, _) if self.left_open => BatchState::LeftOpen,
            (None, Status::Finished | Status::Stuck) if !doubted => BatchState::AtRest,
            (None, _) => BatchState::Running,
        }
    }

    /// The state with what its curve says of it, for a reader.
    #[doc = example!(study "println!(\"{}\", study.kinetics()?.batch(batch)?.state_in_words());")]
    pub fn state_in_words(&self) -> &'static str {
        match (self.state(), self.status) {
            (BatchState::Ended, Status::Finished) => "ended at rest",
            (BatchState::Ended, Status::Stuck) => "ended stuck",
            (BatchState::Ended, Status::TooFewData) => "ended, too few data",
            (BatchState::Ended, _) => "ended before rest",
            (BatchState::LeftOpen, Status::Finished) => "at rest, end not noted",
            (BatchState::LeftOpen, Status::Stuck) => "at rest, stuck, end not noted",
            (BatchState::LeftOpen, Status::TooFewData) => "end not noted, too few data",
            (BatchState::LeftOpen, _) => "end not noted",
            (BatchState::AtRest, Status::Stuck) => "at rest, perhaps stuck",
            (BatchState::AtRest, _) => "at rest",
            (BatchState::Running, Status::TooFewData) => "running, too few data",
            (BatchState::Running, Status::NotStarted) => "running, not started",
            (BatchState::Running, Status::Lagging) => "running, lagging",
            (BatchState::Running, Status::Slowing) => "running, slowing",
            (BatchState::Running, Status::Restarted) => "running again",
            (BatchState::Running, Status::Finished | Status::Stuck) => "running, near rest",
            (BatchState::Running, _) => "running",
        }
    }

    /// The instant of a number of hours from pitching.
    pub fn instant(&self, hours: f64) -> Instant {
        self.pitched_at.plus_hours(hours)
    }

    /// The instant of coming to rest, where it can be had.
    pub fn finish_at(&self) -> Option<Instant> {
        self.finding(Trait::FinishH).value().map(|hours| self.instant(hours))
    }
}

/// Where a batch stands as of its last data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum BatchState {
    /// It ferments, or has not begun.
    Running,
    /// Its gravity has come to rest, and nobody has ended it.
    AtRest,
    /// It is over, whatever its curve did last.
    Ended,
    /// It seems to be over, and nobody has written down when it ended.
    LeftOpen,
}

/// The fermentation curves of all batches.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Kinetics {
    /// One fit per batch, in the order given.
    pub batches: Vec<BatchFit>,
    /// The settings they were fitted with.
    pub settings: KineticsSettings,
}

impl Kinetics {
    /// The fit of a batch.
    pub fn get(&self, batch: &str) -> Option<&BatchFit> {
        self.batches.iter().find(|fit| fit.batch == batch)
    }

    /// The same, told which batches without an end seem to be over.
    #[must_use]
    pub(crate) fn with_left_open(mut self, left: &[LeftOpen]) -> Self {
        for fit in &mut self.batches {
            fit.left_open = left.iter().any(|left| left.batch == fit.batch);
        }
        self
    }
}
