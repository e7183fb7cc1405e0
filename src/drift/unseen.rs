//! Slopes averaged over whether and when a probe shifted: a shift that was found may be none, one that was not may be there.

use nalgebra::DVector;

use super::average::Averaged;
use super::changed::{Columns, columns_of};
use super::mixture::Mixture;
use super::part::{MONTH_D, Step};
use super::scan::{Gaps, ln_sum};

/// The method as it stands in the tables.
pub(super) const METHOD: &str = "GLS with random walk, averaged over its likelihood and over sudden shifts";
/// SDs of a shift's size that are weighed alike, in units of the largest.
const SIZES: [f64; 3] = [0.25, 0.5, 1.0];
/// The gamma prior of the rate of shifts: half a shift in twelve months of one probe.
const SHIFTS_BEFORE: f64 = 0.5;
const MONTHS_BEFORE: f64 = 12.0;
/// Rates that are tried, shifts in a month of one probe: each is this many times the one before.
const LEAST_RATE: f64 = 0.004;
const RATE_STEP: f64 = 1.5;
const RATES: i32 = 15;
/// Parts of a mixture that weigh less than this are left out.
const NEGLIGIBLE: f64 = 1e-6;

/// A guess at the shifts of one probe, seen from the model as it is.
struct Guess {
    /// How many there are.
    shifts: usize,
    /// Logarithm of its prior density, given their number.
    ln_prior: f64,
    /// Columns of steps with the variances of their sizes: negative for one that is taken out of the model.
    change: Vec<(usize, f64)>,
}

/// A guess at one pair of variances.
#[derive(Clone, Copy)]
struct Weighed {
    /// Logarithm of its weight but for the number of shifts.
    ln: f64,
    /// Mean and SD of the slope with shifts and of that without.
    slopes: [(f64, f64); 2],
}

/// A probe's slopes (value and variance) in the model as it is, at one pair of variances, and what steps do to them.
struct AtPoint {
    ln: f64,
    with: (f64, f64),
    without: (f64, f64),
    columns: Columns,
}

impl AtPoint {
    fn weighed(&self, guess: &Guess) -> Weighed {
        let (gain, [with, without]) = self.columns.after(&guess.change);
        let moved = |slope: (f64, f64), by: (f64, f64)| (slope.0 + by.0, (slope.1 + by.1).max(0.0).sqrt());
        let slopes = [moved(self.with, with), moved(self.without, without)];
        Weighed { ln: self.ln + gain + guess.ln_prior, slopes }
    }
}

/// All guesses at one probe, each at every pair of variances.
struct OfProbe {
    months: f64,
    guesses: Vec<(usize, Vec<Weighed>)>,
}

impl Averaged<'_> {
    /// The slope of every probe through its observed span, with and without sudden shifts, averaged over the variances and
    /// over what shifts it may have had: none, or one between any two looks at it; where one was found, none, one, or one
    /// more. Of several that were found on a probe the one that is missed least is weighed in this way; the others stay.
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
    pub fn slopes_over_shifts(&self, sd: f64) -> Vec<[Mixture; 2]> {
        let probes: Vec<OfProbe> = (0..self.model.probes.len()).map(|p| self.guesses(p, sd)).collect();
        let rates: Vec<f64> = (0..RATES).map(|i| LEAST_RATE * RATE_STEP.powi(i)).collect();
        let ln_of: Vec<Vec<f64>> =
            probes.iter().map(|probe| rates.iter().map(|rate| probe.ln_likelihood(*rate)).collect()).collect();
        let at = |place: usize, rate: f64| -> f64 {
            let all: f64 = ln_of.iter().filter_map(|probe| probe.get(place)).sum();
            // On a grid of logarithms.
            SHIFTS_BEFORE * rate.ln() - MONTHS_BEFORE * rate + all
        };
        let all: Vec<f64> = rates.iter().enumerate().map(|(place, rate)| at(place, *rate)).collect();
        let mixtures = |(probe, own): (&OfProbe, &Vec<f64>)| {
            // What the other probes say of the rate.
            let others: Vec<(f64, f64)> =
                rates.iter().zip(all.iter().zip(own)).map(|(rate, (all, own))| (*rate, all - own)).collect();
            [0, 1].map(|which| probe.mixture(&others, which))
        };
        probes.iter().zip(&ln_of).map(mixtures).collect()
    }

    fn guesses(&self, p: usize, sd: f64) -> OfProbe {
        let Some(part) = self.model.probes.get(p) else { return OfProbe { months: 0.0, guesses: Vec::new() } };
        let gaps = Gaps::of(part);
        let found: Vec<&Step> = part.steps.iter().filter(|step| step.is_found_in_pairs()).collect();
        let mut columns = gaps.columns.clone();
        // What a step does to the slope.
        let mut slopes: Vec<f64> = gaps.steps(part).iter().map(|step| part.slope_of_step(step)).collect();
        for step in &found {
            columns.extend([part.column_of(step)]);
            slopes.push(part.slope_of_step(step));
        }
        let slopes = DVector::from_vec(slopes);
        let at: Vec<AtPoint> = self
            .solved
            .iter()
            .filter_map(|(weight, variances, system)| {
                let slope = |shifts: bool| {
                    let target = part.slope_target(*variances, shifts);
                    let (value, variance) = system.predict(p, &target)?;
                    Some((value + self.model.slope_mean * target.load, variance))
                };
                let columns = columns_of(system, p, part, *variances, &columns, &slopes)?;
                Some(AtPoint { ln: weight.ln(), with: slope(true)?, without: slope(false)?, columns })
            })
            .collect();
        let first = gaps.gaps.len();
        let missed = |i: &usize| at.first().map_or(0.0, |at| at.columns.after(&[(first + i, -sd * sd)]).0);
        let least = (0..found.len()).max_by(|a, b| missed(a).total_cmp(&missed(b)));
        let doubted = least.and_then(|i| Some((first + i, *found.get(i)?)));
        let guesses = guesses(&gaps, doubted, found.len(), sd);
        let weighed = |guess: &Guess| (guess.shifts, at.iter().map(|at| at.weighed(guess)).collect());
        OfProbe { months: part.span_d() / MONTH_D, guesses: guesses.iter().map(weighed).collect() }
    }
}

impl OfProbe {
    /// Logarithm of the prior of so many shifts, but for the factorial: the moments are in their order.
    fn ln_prior(&self, rate: f64, shifts: usize) -> f64 {
        shifts as f64 * (rate * self.months).max(1e-12).ln() - rate * self.months
    }

    fn ln_likelihood(&self, rate: f64) -> f64 {
        ln_sum(
            self.guesses.iter().flat_map(|(shifts, all)| all.iter().map(move |w| w.ln + self.ln_prior(rate, *shifts))),
        )
    }

    /// The slope with shifts (0) or without (1), by what the `others` say of the rate.
    fn mixture(&self, others: &[(f64, f64)], which: usize) -> Mixture {
        let mut parts: Vec<(f64, f64, f64)> = Vec::new();
        let slope = |weighed: &Weighed| weighed.slopes.get(which).copied().unwrap_or_default();
        let fewest = self.guesses.iter().map(|(shifts, _)| *shifts).min().unwrap_or(0);
        for (shifts, all) in &self.guesses {
            let prior = ln_sum(others.iter().map(|(rate, ln)| ln + self.ln_prior(*rate, *shifts)));
            let of_all = all.iter().map(|weighed| (weighed.ln + prior, slope(weighed)));
            if *shifts == fewest {
                parts.extend(of_all.map(|(ln, (mean, sd))| (ln, mean, sd)));
                continue;
            }
            // One part for each moment and size.
            let ln = ln_sum(of_all.clone().map(|(ln, _)| ln));
            let inner = Mixture(of_all.map(|(one, (mean, sd))| ((one - ln).exp(), mean, sd)).collect());
            if ln.is_finite() {
                parts.push((ln, inner.mean(), inner.sd()));
            }
        }
        let total = ln_sum(parts.iter().map(|part| part.0));
        parts.iter_mut().for_each(|part| part.0 = (part.0 - total).exp());
        parts.retain(|part| part.0 > NEGLIGIBLE);
        let sum: f64 = parts.iter().map(|part| part.0).sum();
        parts.iter_mut().for_each(|part| part.0 /= sum);
        Mixture(parts)
    }
}

/// The guesses at a probe on which `found` shifts were found; the one in doubt with its column.
fn guesses(gaps: &Gaps, doubted: Option<(usize, &Step)>, found: usize, sd: f64) -> Vec<Guess> {
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
                let ln_prior = ln_prior + gaps.share_at(step.months).max(1e-12).ln();
                all.push(Guess { shifts: certain + 2, ln_prior, change: vec![one] });
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::super::changed::tests::{part, step};
    use super::super::model::Model;
    use super::*;

    /// A model of `probes` copies of one that was found to have shifted, or not.
    fn model(probes: usize, found: bool) -> Model {
        let bare = part(Vec::new());
        let one = |index: usize| {
            let mut part = part(if found { vec![step(&bare, 3.3, 0.006)] } else { Vec::new() });
            part.touching.effects = vec![index];
            part
        };
        Model { probes: (0..probes).map(one).collect(), prior_sd: vec![None; probes], beer: None, slope_mean: 0.0 }
    }

    #[test]
    fn a_shift_in_doubt_widens_the_slope_without_it() {
        let (with, none) = (model(1, true), model(1, false));
        let (with, none) = (Averaged::over(&with).unwrap(), Averaged::over(&none).unwrap());
        let (fixed, never) = (with.slope(0, false, 0.9).unwrap(), none.slope(0, false, 0.9).unwrap());
        // Found or not, the doubt is the same, and the slope lies between those of its two answers.
        for averaged in [with, none] {
            let mixtures = averaged.slopes_over_shifts(0.006);
            let [_, gradual] = &mixtures[0];
            assert!(gradual.sd() > 1.05 * fixed.se, "{} {fixed}", gradual.sd());
            assert!(fixed.value < gradual.mean() && gradual.mean() < never.value, "{} {fixed} {never}", gradual.mean());
        }
    }

    #[test]
    fn where_shifts_are_frequent_one_is_believed_sooner() {
        let model = model(1, false);
        let probe = Averaged::over(&model).unwrap().guesses(0, 0.006);
        let gradual = |rate: f64| probe.mixture(&[(rate, 0.0)], 1).mean();
        assert!(gradual(0.5) < gradual(0.02) && gradual(0.02) < gradual(1e-4), "{} {}", gradual(0.5), gradual(0.02));
        // And this probe speaks for frequent ones.
        assert!(probe.ln_likelihood(0.2) > probe.ln_likelihood(1e-4));
    }
}
