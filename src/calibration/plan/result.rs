//! Planned baths.

use std::fmt;

use super::recipe::BathRecipe;

/// A plan of one number of baths.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Number of baths.
    pub n: usize,
    /// The baths by rising gravity. The same gravity twice is two baths, mixed apart.
    pub baths: Vec<BathRecipe>,
    /// Standard error of SG by the curve at each of [`BathPlan::range_points_sg`], the mean over the probes.
    pub se_sg: Vec<f64>,
    /// The same for as many baths evenly spaced from water to the highest gravity in use; empty where those determine no
    /// curve.
    pub even_se_sg: Vec<f64>,
    /// Efficiency of the evenly spaced baths: this share of as many best ones would do as well.
    pub efficiency_even: Option<f64>,
}

impl Plan {
    /// Mean standard error of SG over the range.
    pub fn mean_se_sg(&self) -> f64 {
        mean(&self.se_sg)
    }

    /// The same for evenly spaced baths.
    pub fn even_mean_se_sg(&self) -> Option<f64> {
        (!self.even_se_sg.is_empty()).then(|| mean(&self.even_se_sg))
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Plans for the next calibration of all probes together, for each number of baths.
#[derive(Debug, Clone, PartialEq)]
pub struct BathPlan {
    /// Lowest and highest gravity for which the curve is wanted, SG.
    pub range_sg: (f64, f64),
    /// Where that range comes from, in words.
    pub range_source: String,
    /// Points of that range, SG.
    pub range_points_sg: Vec<f64>,
    /// Probes that the plans serve.
    pub probes: Vec<String>,
    /// Probes that no plan could be made for, with the reason.
    pub without: Vec<(String, String)>,
    /// The plans, by number of baths.
    pub plans: Vec<Plan>,
    /// Relative gain in the mean standard error for which one more bath is worth the work.
    pub(super) least_gain: f64,
}

impl BathPlan {
    /// The plan of `n` baths.
    #[doc = example!(study "println!(\"{:?}\", study.bath_plan()?.of(6).map(|plan| plan.mean_se_sg()));")]
    pub fn of(&self, n: usize) -> Option<&Plan> {
        self.plans.iter().find(|p| p.n == n)
    }

    /// The plan to take: the fewest baths after which one more lowers the mean standard error by less than `least_gain`, but
    /// one more than a curve takes, so that a wrong bath shows.
    #[doc = example!(study "println!(\"{:?}\", study.bath_plan()?.recommended().map(|plan| plan.n));")]
    pub fn recommended(&self) -> Option<&Plan> {
        let gains_little = |(now, next): &(&Plan, &Plan)| {
            let se = now.mean_se_sg();
            now.n > DEFINING_BATHS && se - next.mean_se_sg() < self.least_gain * se
        };
        let enough = self.plans.iter().zip(self.plans.iter().skip(1)).find(gains_little).map(|(now, _)| now);
        enough.or_else(|| self.plans.last())
    }

    /// The plan to take, what it is worth, and what more baths would gain, in a few sentences.
    #[doc = example!(study "println!(\"{}\", study.bath_plan()?.in_words());")]
    pub fn in_words(&self) -> String {
        let Some(taken) = self.recommended() else { return "No plan could be made.".to_owned() };
        let mut words = format!(
            "Mix {} baths: SG {}. The curves are then known to {:.5} on average from SG {:.3} to {:.3}.",
            taken.n,
            gravities(taken),
            taken.mean_se_sg(),
            self.range_sg.0,
            self.range_sg.1
        );
        if let Some(even) = taken.efficiency_even {
            words += &format!(" As many baths in even steps would be {:.0} % as good.", 100.0 * even);
        }
        if let Some(most) = self.plans.last().filter(|most| most.n > taken.n) {
            words += &format!(" With {} baths the error would be {:.5}.", most.n, most.mean_se_sg());
        }
        words
    }

    /// The plans bath by bath, then the probes without one.
    fn rows(&self) -> impl Iterator<Item = Result<(&Plan, i64, &BathRecipe), &(String, String)>> {
        let baths = self.plans.iter().flat_map(|plan| (1..).zip(&plan.baths).map(move |row| (plan, row.0, row.1)));
        baths.map(Ok).chain(self.without.iter().map(Err))
    }
}

tables! {
    impl BathPlan {
        /// The table `bath_plan`: one row per plan and bath, and one per probe without a plan, with its `why`.
        #[doc = example!(study "let table = study.bath_plan()?.to_frame()?;")]
        fn to_frame(self) = "bath_plan", |row| self.rows() => {
            "probe": row.err().map(|(probe, _)| probe),
            "n": Some(row.ok()?.0.n),
            "bath": Some(row.ok()?.1),
            "sg": Some(row.ok()?.2.sg),
            "plato": Some(row.ok()?.2.plato),
            "sucrose_g_per_l": Some(row.ok()?.2.sucrose_g_per_l),
            "water_g_per_l": Some(row.ok()?.2.water_g_per_l),
            "mean_se_sg": Some(row.ok()?.0.mean_se_sg()),
            "even_mean_se_sg": row.ok()?.0.even_mean_se_sg(),
            "efficiency_even": row.ok()?.0.efficiency_even,
            "method": row.ok().map(|_| "exchange, locally optimal"),
            "why": row.err().map(|(_, why)| why),
        }
    }
}

/// Baths that a session needs to define a curve: water and three others.
pub(super) const DEFINING_BATHS: usize = 4;

/// The gravities of a plan, a repeated one with how often.
pub(crate) fn gravities(plan: &Plan) -> String {
    let same = plan.baths.chunk_by(|a, b| b.sg - a.sg < 1e-9).filter_map(|same| Some((same.first()?.sg, same.len())));
    let told = same.map(|(sg, times)| if times > 1 { format!("{sg:.3} ({times} times)") } else { format!("{sg:.3}") });
    told.collect::<Vec<_>>().join(", ")
}

impl fmt::Display for BathPlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.range_sg;
        let probes = match self.probes.as_slice() {
            [probe] => probe.clone(),
            probes => format!("{} probes", probes.len()),
        };
        writeln!(f, "Baths for the next calibration of {probes}, for SG {low:.3} to {high:.3}")?;
        writeln!(f, "({})", self.range_source)?;
        writeln!(f, "  baths  mean error, SG  evenly spaced are worth  gravities")?;
        for plan in &self.plans {
            let even = plan.efficiency_even.map_or("-".to_owned(), |e| format!("{:.0} %", 100.0 * e));
            writeln!(f, "  {:5}  {:14.5}  {even:>23}  {}", plan.n, plan.mean_se_sg(), gravities(plan))?;
        }
        if let Some(plan) = self.recommended() {
            writeln!(
                f,
                "Recipe of {} baths, for one litre of each at 20 \u{b0}C: sucrose (plain white table sugar), never",
                plan.n
            )?;
            writeln!(f, "dextrose and never malt extract; weigh sugar and water, do not fill up to a mark.")?;
            for BathRecipe { sg, plato, sucrose_g_per_l: sugar, water_g_per_l: water } in &plan.baths {
                writeln!(f, "  SG {sg:.3} ({plato:5.2} \u{b0}P)  {sugar:6.1} g sucrose  {water:6.1} g water")?;
            }
        }
        self.without.iter().try_for_each(|(probe, why)| writeln!(f, "  {probe}: {why}"))
    }
}
