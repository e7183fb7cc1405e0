//! Answers averaged over whether and when a probe shifted: a shift that was found may be none, one that was not may be there.

use nalgebra::DVector;

use crate::drift::model::{
    Averaged, LowRankUpdate, NormalMixture, PredictionTarget, ShiftColumns, ShiftTerm, Variances, columns_of, ln_sum,
};
use crate::drift::scale::MONTH_D;

use super::visit_gaps::VisitGaps;

/// The method as it stands in the tables.
pub(in crate::drift) const OVER_SHIFTS: &str =
    "GLS with random walk, averaged over its likelihood and over sudden shifts";
/// SDs of a shift's size that are weighed alike, in units of the largest.
const SIZES: [f64; 3] = [0.25, 0.5, 1.0];

assumed! {
    /// The gamma prior of the rate of shifts: so many shifts of one probe.
    pub(super) const SHIFTS_BEFORE: f64 = 0.5, "shifts";
    /// In so many months.
    pub(super) const MONTHS_BEFORE: f64 = 12.0, "months";
}

/// Rates that are tried, shifts in a month of one probe: each is this many times the one before.
const LEAST_RATE: f64 = 0.004;
const RATE_STEP: f64 = 1.5;
const RATES: i32 = 15;
/// Guesses that weigh less than this are left out, and so are variances that make less than this of a guess's weight.
const NEGLIGIBLE: f64 = 3e-5;

/// Moments of a gap between two visits at which a shift may have been.
const MOMENTS: usize = 6;

/// A step that may be there, or one that was found.
struct PossibleStep {
    term: ShiftTerm,
    /// Its gap, months.
    between: (f64, f64),
    /// Mean square of the size of one that was found: the model has it, at one moment.
    found: Option<f64>,
}

impl PossibleStep {
    /// What a step of size 1 does to a target, and the mean square of what it does more or less at the moments of its gap.
    fn moves(&self, stepped: &impl Fn(&ShiftTerm) -> f64) -> (f64, f64) {
        let (from, to) = self.between;
        let at = |i: usize| from + (to - from) * (i as f64 + 0.5) / MOMENTS as f64;
        let all: Vec<f64> = (0..MOMENTS).map(|i| stepped(&ShiftTerm { months: at(i), ..self.term.clone() })).collect();
        let mean = all.iter().sum::<f64>() / MOMENTS as f64;
        let by = self.found.map_or(mean, |_| stepped(&self.term));
        (by, all.iter().map(|one| (one - by).powi(2)).sum::<f64>() / MOMENTS as f64)
    }
}

/// A guess at the shifts of one probe, seen from the model as it is.
struct Guess {
    /// How many there are.
    shifts: usize,
    /// Logarithm of its prior density, given their number.
    ln_prior: f64,
    /// ShiftColumns of steps with the variances of their sizes: negative for one that is taken out of the model.
    change: Vec<(usize, f64)>,
}

/// A guess with the logarithm of its weight at every pair of variances, but for the number of shifts.
struct Weighed {
    shifts: usize,
    at: Vec<(f64, LowRankUpdate)>,
    /// Logarithm of its weight over all of them.
    ln: f64,
}

/// A guess that is believed to some degree.
struct Believed {
    /// Its weights at pairs of variances, by their place.
    at: Vec<(usize, f64, LowRankUpdate)>,
    /// One with the fewest shifts: it is not summed up in one normal.
    fewest: bool,
}

/// What one probe may have had.
struct ProbeGuesses {
    months: f64,
    /// Steps that may be there, and those that were found.
    steps: Vec<PossibleStep>,
    /// What they do to the pairs, at every pair of variances.
    columns: Vec<ShiftColumns>,
    guesses: Vec<Weighed>,
}

/// The shifts that the probes of a solved model may have had, weighed by their pairs: none, or one between any two visits
/// at a probe; where one was found, none, one, or one more. Of several that were found on a probe the one that is
/// missed least is weighed in this way; the others stay.
///
/// # Method
/// The number of shifts of a probe is Poisson with a rate that all probes have in common, their moments are spread evenly
/// over the time observed, their sizes are N(0, s^2) with s a quarter, half or all of `sd`. The rate has a gamma prior
/// and is averaged over the likelihood of all probes, so that a fleet that shifts often doubts each of its probes more.
///
/// With D the columns of steps that are added (variance T = s^2) or taken out (T = -s^2), S = D' P y, G = D' P D and a
/// target that moves by g with the steps and whose prediction moves by a with them:
///
/// ```text
/// ln B = (S' (T^-1 + G)^-1 S - ln det(I + T G))/2
/// target' = target + (g - a)' (T^-1 + G)^-1 S,   variance' = variance + (g - a)' (T^-1 + G)^-1 (g - a)
/// ```
///
/// When in its gap a shift was nothing tells. A target moves by g(t) with a shift at t: the variance of g(t) over the gap times the
/// mean square of the shift's size adds to the target's variance.
pub(in crate::drift) struct ShiftAverage<'a> {
    averaged: &'a Averaged<'a>,
    probes: Vec<(Vec<PossibleStep>, Vec<ShiftColumns>, Vec<Believed>)>,
}

impl<'a> ShiftAverage<'a> {
    /// Weighs the shifts of all probes.
    pub fn new(averaged: &'a Averaged<'a>, sd: f64) -> Self {
        let probes: Vec<ProbeGuesses> =
            (0..averaged.model.probes.len()).map(|p| ProbeGuesses::new(averaged, p, sd)).collect();
        let rates: Vec<f64> = (0..RATES).map(|i| LEAST_RATE * RATE_STEP.powi(i)).collect();
        let ln_of: Vec<Vec<f64>> =
            probes.iter().map(|probe| rates.iter().map(|rate| probe.ln_likelihood(*rate)).collect()).collect();
        let at = |place: usize, rate: f64| -> f64 {
            let all: f64 = ln_of.iter().filter_map(|probe| probe.get(place)).sum();
            // On a grid of logarithms.
            *SHIFTS_BEFORE * rate.ln() - *MONTHS_BEFORE * rate + all
        };
        let all: Vec<f64> = rates.iter().enumerate().map(|(place, rate)| at(place, *rate)).collect();
        let believed = |(probe, own): (ProbeGuesses, &Vec<f64>)| {
            // What the other probes say of the rate.
            let others: Vec<(f64, f64)> =
                rates.iter().zip(all.iter().zip(own)).map(|(rate, (all, own))| (*rate, all - own)).collect();
            probe.believed(&others)
        };
        let probes = probes.into_iter().zip(&ln_of).map(believed).collect();
        Self { averaged, probes }
    }

    /// A target of probe `p`, as [`Averaged::mixture`]; `stepped` is what a step of size 1 does to it.
    pub fn mixture(
        &self,
        p: usize,
        of: impl Fn(Variances) -> PredictionTarget,
        stepped: impl Fn(&ShiftTerm) -> f64,
    ) -> NormalMixture {
        let Some((steps, columns, guesses)) = self.probes.get(p) else { return NormalMixture(Vec::new()) };
        let (moves, spread): (Vec<f64>, Vec<f64>) = steps.iter().map(|step| step.moves(&stepped)).unzip();
        let stepped = DVector::from_vec(moves);
        let found = steps.iter().zip(&spread).enumerate().filter_map(|(k, (step, by))| Some((k, by * step.found?)));
        let found: Vec<(usize, f64)> = found.collect();
        let mean = self.averaged.model.slope_mean;
        let at: Vec<Option<(f64, f64, DVector<f64>)>> = self
            .averaged
            .solved
            .iter()
            .zip(columns)
            .map(|((_, variances, system), columns)| {
                let target = of(*variances);
                let sought = system.seek(p, &target)?;
                let variance = system.variance(&sought);
                Some((sought.value + mean * target.load, variance, columns.moves(&sought, &stepped)))
            })
            .collect();
        let mut parts = Vec::new();
        for guess in guesses {
            let of_guess = guess.at.iter().filter_map(|(place, weight, change)| {
                let (value, variance, moves) = at.get(*place)?.as_ref()?;
                let (moved, more) = change.of(moves);
                let added = change.squares().map(|(k, square)| match (spread.get(k), steps.get(k)) {
                    (Some(by), Some(step)) if step.found.is_none() => by * square,
                    _ => 0.0,
                });
                let stay = found.iter().filter(|(k, _)| !change.columns.contains(k)).map(|(_, doubt)| *doubt);
                let doubt = stay.chain(added).sum::<f64>();
                Some((*weight, value + moved, (variance + more + doubt).max(0.0).sqrt()))
            });
            if guess.fewest {
                parts.extend(of_guess);
                continue;
            }
            // One part for each moment and size.
            let weight: f64 = of_guess.clone().map(|part| part.0).sum();
            let inner = NormalMixture(of_guess.map(|(one, mean, sd)| (one / weight, mean, sd)).collect());
            parts.push((weight, inner.mean(), inner.sd()));
        }
        NormalMixture(parts)
    }
}

impl ProbeGuesses {
    fn new(averaged: &Averaged, p: usize, sd: f64) -> Self {
        let Some(part) = averaged.model.probes.get(p) else {
            return Self { months: 0.0, steps: Vec::new(), columns: Vec::new(), guesses: Vec::new() };
        };
        let gaps = VisitGaps::of(part);
        let found: Vec<&ShiftTerm> = part.steps.iter().filter(|step| step.is_found()).collect();
        let mut all = gaps.columns.clone();
        for step in &found {
            all.extend([part.column_of(step)]);
        }
        let solved = averaged.solved.iter();
        let columns: Vec<ShiftColumns> = solved.filter_map(|(.., system)| columns_of(system, p, &all)).collect();
        let square = |k: usize, sd: f64| {
            averaged.solved.iter().zip(&columns).map(|((weight, ..), at)| weight * at.square(k, sd)).sum()
        };
        let with_found = gaps.steps(part).into_iter().chain(found.iter().map(|step| (*step).clone()));
        let possible = |(k, term): (usize, ShiftTerm)| {
            let between = gaps.holding(term.months).map_or((term.months, term.months), |gap| (gap.from, gap.to));
            let found = (k >= gaps.gaps.len()).then(|| square(k, term.sd));
            PossibleStep { term, between, found }
        };
        let steps = with_found.enumerate().map(possible).collect();
        let first = gaps.gaps.len();
        let missed = |i: &usize| columns.first().map_or(0.0, |at| at.after(&[(first + i, -sd * sd)]).gain);
        let least = (0..found.len()).max_by(|a, b| missed(a).total_cmp(&missed(b)));
        let doubted = least.and_then(|i| Some((first + i, *found.get(i)?)));
        let weighed = |guess: Guess| {
            let at = averaged.solved.iter().zip(&columns).map(|((weight, ..), columns)| {
                let change = columns.after(&guess.change);
                (weight.ln() + guess.ln_prior + change.gain, change)
            });
            let at: Vec<(f64, LowRankUpdate)> = at.collect();
            Weighed { shifts: guess.shifts, ln: ln_sum(at.iter().map(|at| at.0)), at }
        };
        let guesses = guesses(&gaps, doubted, found.len(), sd).into_iter().map(weighed).collect();
        Self { months: part.span_d() / MONTH_D, steps, columns, guesses }
    }

    /// Logarithm of the prior of so many shifts, but for the factorial: the moments are in their order.
    fn ln_prior(&self, rate: f64, shifts: usize) -> f64 {
        shifts as f64 * (rate * self.months).max(1e-12).ln() - rate * self.months
    }

    fn ln_likelihood(&self, rate: f64) -> f64 {
        ln_sum(self.guesses.iter().map(|guess| guess.ln + self.ln_prior(rate, guess.shifts)))
    }

    /// The guesses that weigh something, by what the `others` say of the rate.
    fn believed(self, others: &[(f64, f64)]) -> (Vec<PossibleStep>, Vec<ShiftColumns>, Vec<Believed>) {
        let fewest = self.guesses.iter().map(|guess| guess.shifts).min().unwrap_or(0);
        let prior = |guess: &Weighed| ln_sum(others.iter().map(|(rate, ln)| ln + self.ln_prior(*rate, guess.shifts)));
        let priors: Vec<f64> = self.guesses.iter().map(prior).collect();
        let total = ln_sum(self.guesses.iter().zip(&priors).map(|(guess, prior)| guess.ln + prior));
        let mut believed = Vec::new();
        for (guess, prior) in self.guesses.into_iter().zip(priors) {
            let weight = (guess.ln + prior - total).exp();
            if weight < NEGLIGIBLE {
                continue;
            }
            let at = guess.at.into_iter().enumerate();
            let at = at.map(|(place, (ln, change))| (place, (ln + prior - total).exp(), change));
            let at = at.filter(|(_, own, _)| *own > weight * NEGLIGIBLE).collect();
            believed.push(Believed { at, fewest: guess.shifts == fewest });
        }
        let sum: f64 = believed.iter().flat_map(|guess| &guess.at).map(|at| at.1).sum();
        believed.iter_mut().flat_map(|guess| &mut guess.at).for_each(|at| at.1 /= sum);
        (self.steps, self.columns, believed)
    }
}

/// The guesses at a probe on which `found` shifts were found; the one in doubt with its column.
fn guesses(gaps: &VisitGaps, doubted: Option<(usize, &ShiftTerm)>, found: usize, sd: f64) -> Vec<Guess> {
    let out: Vec<(usize, f64)> = doubted.iter().map(|(column, _)| (*column, -sd * sd)).collect();
    let certain = found - out.len();
    let mut all = vec![Guess { shifts: certain, ln_prior: 0.0, change: out.clone() }];
    for (k, gap) in gaps.gaps.iter().enumerate() {
        for size in SIZES {
            let ln_prior = (gap.share.max(1e-12) / SIZES.len() as f64).ln();
            let one = (k, (size * sd).powi(2));
            all.push(Guess { shifts: certain + 1, ln_prior, change: out.iter().copied().chain([one]).collect() });
            if let Some((_, step)) = doubted {
                // The one found is one of its kind in its gap.
                let share = gaps.holding(step.months).map_or(0.0, |gap| gap.share);
                let ln_prior = ln_prior + share.max(1e-12).ln();
                all.push(Guess { shifts: certain + 2, ln_prior, change: vec![one] });
            }
        }
    }
    all
}

#[cfg(test)]
#[path = "../../../tests/inside/shift_average.rs"]
mod tests;
