//! Planned baths.

use std::fmt;

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::season::FrameBuilder;

use super::design::DesignCriterion;
use super::range::UsedRange;
use super::recipe::BathRecipe;
use super::settings::PlanSettings;

/// One bath of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedBath {
    /// Its gravity and what goes into a litre of it.
    pub recipe: BathRecipe,
    /// How much of the coefficients it determines (the mean over the probes); with what mass and diameter tell they add up to
    /// their number.
    pub leverage: f64,
}

/// A plan of one number of baths.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The probe; none for one set of baths that serves all probes.
    pub probe: Option<String>,
    /// What it is best for.
    pub criterion: DesignCriterion,
    /// Number of baths.
    pub n: usize,
    /// The baths by rising gravity; empty where none determine the curve. The same gravity twice is two baths, mixed apart.
    pub baths: Vec<PlannedBath>,
    /// Standard error of SG by the curve at each of [`BathPlan::range_points_sg`], the mean over the probes.
    pub se_sg: Vec<f64>,
    /// The same for as many baths evenly spaced from water to the highest gravity in use; empty where those determine no
    /// curve.
    pub even_se_sg: Vec<f64>,
    /// Efficiency of the evenly spaced baths: this share of as many best ones would do as well.
    pub efficiency_even: Option<f64>,
    /// Why there is no plan, or what to know about it.
    pub why: Option<String>,
}

impl Plan {
    /// Mean standard error of SG over the range.
    pub fn mean_se_sg(&self) -> Option<f64> {
        mean(&self.se_sg)
    }

    /// The same for evenly spaced baths.
    pub fn even_mean_se_sg(&self) -> Option<f64> {
        mean(&self.even_se_sg)
    }
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Plans for the next calibration: for all probes together and for each, by both criteria, for each number of baths.
#[derive(Debug, Clone, PartialEq)]
pub struct BathPlan {
    /// The gravities for which the curve is wanted.
    pub range: UsedRange,
    /// Points of that range, SG.
    pub range_points_sg: Vec<f64>,
    /// Probes that the common plan serves.
    pub probes: Vec<String>,
    /// Probes that no plan could be made for, with the reason.
    pub without: Vec<(String, String)>,
    /// The plans: all probes together first, then probe by probe.
    pub plans: Vec<Plan>,
    /// Settings of the plan.
    pub settings: PlanSettings,
}

impl BathPlan {
    /// The plan of `n` baths for one probe, or with `None` for all together.
    pub fn of(&self, probe: Option<&str>, criterion: DesignCriterion, n: usize) -> Option<&Plan> {
        self.plans.iter().find(|p| p.probe.as_deref() == probe && p.criterion == criterion && p.n == n)
    }

    /// The common plan to take: by the mean variance, with the fewest baths after which one more lowers the mean standard
    /// error by less than `least_gain`; where the plans are to define curves, one more than that takes, so that a wrong bath
    /// shows.
    pub fn recommended(&self) -> Option<&Plan> {
        let plans: Vec<&Plan> = self
            .plans
            .iter()
            .filter(|p| p.probe.is_none() && p.criterion == DesignCriterion::I && !p.baths.is_empty())
            .collect();
        let fewest = if self.settings.defines { DEFINING_BATHS + 1 } else { 0 };
        let gains_little = |pair: &&[&Plan]| match pair {
            [now, next] => {
                let (now_se, next_se) = (now.mean_se_sg().unwrap_or(0.0), next.mean_se_sg().unwrap_or(0.0));
                now.n >= fewest && now_se - next_se < self.settings.least_gain * now_se
            }
            _ => false,
        };
        let enough = plans.windows(2).find(gains_little).and_then(|pair| pair.first().copied());
        enough.or_else(|| plans.last().copied())
    }

    /// The plan to take, what it is worth, and what more baths would gain, in a few sentences.
    pub fn in_words(&self) -> String {
        let Some((taken, se)) = self.recommended().and_then(|plan| Some((plan, plan.mean_se_sg()?))) else {
            return "No plan could be made.".to_owned();
        };
        let mut words = format!(
            "Mix {} baths: SG {}. The curves are then known to {se:.5} on average from SG {:.3} to {:.3}.",
            taken.n,
            gravities(taken),
            self.range.low_sg,
            self.range.high_sg
        );
        if let Some(even) = taken.efficiency_even {
            words += &format!(" As many in even steps would be worth {:.0} % of them.", 100.0 * even);
        }
        let most =
            self.plans.iter().filter(|p| p.probe.is_none() && p.criterion == taken.criterion).max_by_key(|p| p.n);
        if let Some((most, se)) = most.filter(|p| p.n > taken.n).and_then(|p| Some((p, p.mean_se_sg()?))) {
            words += &format!(" With {} baths it would be {se:.5}.", most.n);
        }
        words
    }

    /// The table `bath_plan`: one row per plan and bath; a plan without baths, and a probe without a plan, is one row with
    /// its `why`. An empty `probe` stands for all probes together.
    ///
    /// # PlanErrors
    /// [`crate::Error::Frame`] when polars refuses.
    pub fn to_frame(&self) -> Result<DataFrame> {
        let mut rows: Vec<PlanRow<'_>> = Vec::new();
        for plan in &self.plans {
            let baths = plan.baths.iter().enumerate().map(|(i, bath)| (Some(i as i64 + 1), Some(bath)));
            let none = plan.baths.is_empty().then_some((None, None));
            rows.extend(baths.chain(none).map(|(bath, planned)| PlanRow {
                probe: plan.probe.as_deref(),
                plan: Some(plan),
                bath,
                planned,
                why: plan.why.as_deref(),
            }));
        }
        rows.extend(self.without.iter().map(|(probe, why)| PlanRow {
            probe: Some(probe),
            plan: None,
            bath: None,
            planned: None,
            why: Some(why),
        }));
        let of_bath = |of: fn(&PlannedBath) -> f64| rows.iter().map(move |r| r.planned.map(of));
        FrameBuilder::new("bath_plan")
            .text("probe", rows.iter().map(|r| r.probe))
            .text("criterion", rows.iter().map(|r| r.plan.map(|p| p.criterion.to_string())))
            .count("n", rows.iter().map(|r| r.plan.map(|p| p.n as i64)))
            .count("bath", rows.iter().map(|r| r.bath))
            .number("sg", of_bath(|b| b.recipe.sg))
            .number("plato", of_bath(|b| b.recipe.plato))
            .number("sucrose_g_per_l", of_bath(|b| b.recipe.sucrose_g_per_l))
            .number("water_g_per_l", of_bath(|b| b.recipe.water_g_per_l))
            .number("leverage", of_bath(|b| b.leverage))
            .number("mean_se_sg", rows.iter().map(|r| r.plan.and_then(Plan::mean_se_sg)))
            .number("even_mean_se_sg", rows.iter().map(|r| r.plan.and_then(Plan::even_mean_se_sg)))
            .number("efficiency_even", rows.iter().map(|r| r.plan.and_then(|p| p.efficiency_even)))
            .text("method", rows.iter().map(|r| r.plan.filter(|p| !p.baths.is_empty()).map(|_| METHOD)))
            .text("why", rows.iter().map(|r| r.why))
            .finish()
    }
}

/// Baths that a session needs to define a curve: water and three others.
pub(super) const DEFINING_BATHS: usize = 4;
const METHOD: &str = "exchange, locally optimal";

struct PlanRow<'a> {
    probe: Option<&'a str>,
    plan: Option<&'a Plan>,
    bath: Option<i64>,
    planned: Option<&'a PlannedBath>,
    why: Option<&'a str>,
}

/// The gravities of a plan, a repeated one with how often.
pub(crate) fn gravities(plan: &Plan) -> String {
    let mut told: Vec<(String, usize)> = Vec::new();
    for bath in &plan.baths {
        let sg = format!("{:.3}", bath.recipe.sg);
        match told.last_mut() {
            Some((last, times)) if *last == sg => *times += 1,
            _ => told.push((sg, 1)),
        }
    }
    let one = |(sg, times): (String, usize)| if times > 1 { format!("{sg} ({times} times)") } else { sg };
    told.into_iter().map(one).collect::<Vec<_>>().join(", ")
}

impl fmt::Display for BathPlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = (self.range.low_sg, self.range.high_sg);
        let probes = match self.probes.as_slice() {
            [probe] => probe.clone(),
            probes => format!("{} probes", probes.len()),
        };
        writeln!(f, "Baths for the next calibration of {probes}, for SG {low:.3} to {high:.3}")?;
        writeln!(f, "({})", self.range.source)?;
        writeln!(f, "  baths  mean error, SG  evenly spaced are worth  gravities")?;
        for plan in self.plans.iter().filter(|p| p.probe.is_none() && p.criterion == DesignCriterion::I) {
            let Some(se) = plan.mean_se_sg() else {
                writeln!(f, "  {:5}  {}", plan.n, plan.why.as_deref().unwrap_or("no plan"))?;
                continue;
            };
            let even = plan.efficiency_even.map_or("-".to_owned(), |e| format!("{:.0} %", 100.0 * e));
            writeln!(f, "  {:5}  {se:14.5}  {even:>23}  {}", plan.n, gravities(plan))?;
        }
        if let Some(plan) = self.recommended() {
            writeln!(
                f,
                "Recipe of {} baths, for one litre of each at 20 \u{b0}C: sucrose (plain white table sugar), never",
                plan.n
            )?;
            writeln!(f, "dextrose and never malt extract; weigh sugar and water, do not fill up to a mark.")?;
            for bath in &plan.baths {
                let BathRecipe { sg, plato, sucrose_g_per_l: sugar, water_g_per_l: water } = bath.recipe;
                writeln!(f, "  SG {sg:.3} ({plato:5.2} \u{b0}P)  {sugar:6.1} g sucrose  {water:6.1} g water")?;
            }
        }
        for (probe, why) in &self.without {
            writeln!(f, "  {probe}: {why}")?;
        }
        Ok(())
    }
}
