//! The likelihood as a function of the parameters of the covariance.

use super::cross::Cross;
use super::design::Spread;
use super::equations::{Factors, SolvedEquations, solve};
use super::scaled::ScaledData;
use crate::fit::Likelihood;
use crate::fit::minimise::newton;
use crate::{Error, Result};

const LN_TWO_PI: f64 = 1.837_877_066_409_345_5;
/// A residual standard deviation never falls below this in scaled units where no error is known.
const LEAST_SIGMA: f64 = 1e-7;

/// The likelihood of one data set.
#[derive(Debug, Clone)]
pub(super) struct MixedModel {
    pub data: ScaledData,
    /// Sums with all rows weighted alike; where errors are partly known they depend on sigma and are made anew.
    cross: Cross,
    pub criterion: Likelihood,
}

/// Parameters of the covariance in scaled units.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Covariance {
    /// By grouping, q x q by rows, `cov(u) = L L'`; absolute, not over sigma^2.
    pub factors: Factors,
    /// Residual standard deviation.
    pub sigma: f64,
}

impl MixedModel {
    pub fn new(data: ScaledData, criterion: Likelihood) -> Result<Self> {
        let cross = Cross::new(&data, None)?;
        Ok(Self { data, cross, criterion })
    }

    /// The same data under another criterion.
    pub fn by(&self, criterion: Likelihood) -> Self {
        Self { criterion, ..self.clone() }
    }

    /// The same model of another response, in scaled units.
    pub fn with_response(&self, y: Vec<f64>) -> Result<Self> {
        let data = ScaledData { y, ..self.data.clone() };
        Self::new(data, self.criterion)
    }

    /// True when sigma can be had in closed form: nothing in the covariance has a unit of its own.
    fn relative(&self) -> bool {
        let known = self.data.terms.iter().any(|term| matches!(term.spread, Spread::Known(_)));
        self.data.known.is_none() && self.data.held.is_none() && !known
    }

    /// Observations less the fixed coefficients, if those are taken out of the likelihood.
    fn df(&self) -> f64 {
        match self.criterion {
            Likelihood::Ml => self.data.n as f64,
            Likelihood::Reml => (self.data.n - self.data.p) as f64,
        }
    }

    /// Minus twice the log-likelihood, in scaled units.
    pub fn deviance(&self, covariance: &Covariance) -> f64 {
        self.solve(covariance).map_or(f64::INFINITY, |(solved, ln_weights)| {
            let squares = if self.data.known.is_none() {
                solved.squares / (covariance.sigma * covariance.sigma)
            } else {
                solved.squares
            };
            let fixed = match self.criterion {
                Likelihood::Ml => 0.0,
                // Weights of one stand in the equations where the true ones are 1 / sigma^2.
                Likelihood::Reml if self.data.known.is_none() => {
                    solved.ln_det_fixed - 2.0 * self.data.p as f64 * covariance.sigma.abs().ln()
                }
                Likelihood::Reml => solved.ln_det_fixed,
            };
            ln_weights + solved.ln_det + fixed + squares + self.df() * LN_TWO_PI
        })
    }

    /// The equations at a covariance, and the logarithms of the rows' error variances summed. Without known errors the
    /// equations are those of rows weighted by one and factors over sigma.
    pub fn solve(&self, covariance: &Covariance) -> Option<(SolvedEquations, f64)> {
        if self.data.known.is_none() {
            let sigma = covariance.sigma.abs();
            if !(sigma >= LEAST_SIGMA) {
                return None;
            }
            let relative = over(&covariance.factors, sigma);
            let solved = solve(&self.data, &self.cross, &relative)?;
            return Some((solved, 2.0 * self.data.n as f64 * sigma.ln()));
        }
        let variances = self.data.variances(covariance.sigma);
        if variances.iter().any(|v| !(*v > 0.0)) {
            return None;
        }
        let cross = Cross::new(&self.data, Some(&variances)).ok()?;
        let solved = solve(&self.data, &cross, &covariance.factors)?;
        Some((solved, variances.iter().map(|v| v.ln()).sum()))
    }

    /// The sums and factors as [`MixedModel::solve`] uses them.
    pub fn system(&self, covariance: &Covariance) -> Result<(Cross, Factors)> {
        if self.data.known.is_none() {
            return Ok((self.cross.clone(), over(&covariance.factors, covariance.sigma)));
        }
        let variances = self.data.variances(covariance.sigma);
        Ok((Cross::new(&self.data, Some(&variances))?, covariance.factors.clone()))
    }

    /// Minus twice the log-likelihood with the best sigma for relative factors, and that sigma.
    fn profiled(&self, relative: &Factors) -> (f64, f64) {
        let df = self.df();
        match solve(&self.data, &self.cross, relative) {
            Some(solved) if solved.squares > 0.0 => {
                let fixed = if self.criterion == Likelihood::Reml { solved.ln_det_fixed } else { 0.0 };
                let variance = solved.squares / df;
                (solved.ln_det + fixed + df * (1.0 + LN_TWO_PI + variance.ln()), variance.sqrt())
            }
            _ => (f64::INFINITY, f64::NAN),
        }
    }

    /// The covariance of highest likelihood, its deviance, and whether the search settled. `from` is where it starts, if known.
    pub fn fit(&self, from: Option<&Covariance>) -> Result<(Covariance, f64, bool)> {
        let free = Free { with_sigma: !self.relative() && self.data.held.is_none() };
        let start = match from {
            Some(covariance) if free.with_sigma => free.parameters(&self.data, covariance),
            Some(covariance) => {
                let unit = if self.relative() { covariance.sigma } else { 1.0 };
                let factors = over(&covariance.factors, unit);
                free.parameters(&self.data, &Covariance { factors, sigma: 1.0 })
            }
            None => self.start(&free),
        };
        let function = |parameters: &[f64]| self.value(&free, parameters);
        let found = newton(&function, &start);
        if !found.value.is_finite() {
            return Err(Error::numeric(
                "the fit of a mixed model",
                "its likelihood is not finite anywhere near the start",
            ));
        }
        let mut covariance = free.covariance(&self.data, &found.at);
        if self.relative() {
            let (_, sigma) = self.profiled(&covariance.factors);
            covariance = Covariance { factors: over(&covariance.factors, 1.0 / sigma), sigma };
        }
        tidy(&self.data, &mut covariance);
        Ok((covariance, found.value, found.converged))
    }

    fn value(&self, free: &Free, parameters: &[f64]) -> f64 {
        let covariance = free.covariance(&self.data, parameters);
        if self.relative() { self.profiled(&covariance.factors).0 } else { self.deviance(&covariance) }
    }

    /// The best of a few multiples of one for all spreads.
    fn start(&self, free: &Free) -> Vec<f64> {
        let multiples = [1.0, 0.3, 0.1, 3.0, 0.03];
        let sigmas: &[f64] = if free.with_sigma { &[1.0, 0.5, 0.1] } else { &[1.0] };
        let mut best = (f64::INFINITY, Vec::new());
        for sigma in sigmas {
            for multiple in multiples {
                let factors = self.data.terms.iter().map(|term| diagonal(term.q, multiple)).collect();
                let start = free.parameters(&self.data, &Covariance { factors, sigma: *sigma });
                let value = self.value(free, &start);
                if value < best.0 || best.1.is_empty() {
                    best = (value, start);
                }
            }
        }
        best.1
    }
}

/// Which numbers of a covariance are free, in one list: by grouping the lower triangle by rows, or the diagonal; sigma last.
#[derive(Debug, Clone, Copy)]
pub(super) struct Free {
    pub with_sigma: bool,
}

impl Free {
    pub fn parameters(&self, data: &ScaledData, covariance: &Covariance) -> Vec<f64> {
        let mut list = Vec::new();
        for (term, factor) in data.terms.iter().zip(&covariance.factors) {
            list.extend(places(&term.spread, term.q).map(|(i, j)| factor[i * term.q + j]));
        }
        if self.with_sigma {
            list.push(covariance.sigma);
        }
        list
    }

    pub fn covariance(&self, data: &ScaledData, parameters: &[f64]) -> Covariance {
        let mut left = parameters.iter();
        let mut factors = Vec::with_capacity(data.terms.len());
        for term in &data.terms {
            let mut factor = vec![0.0; term.q * term.q];
            if let Spread::Known(sds) = &term.spread {
                sds.iter().enumerate().for_each(|(i, sd)| factor[i * term.q + i] = *sd);
            }
            for (i, j) in places(&term.spread, term.q) {
                factor[i * term.q + j] = left.next().copied().unwrap_or_default();
            }
            factors.push(factor);
        }
        let sigma = if self.with_sigma { left.next().copied() } else { data.held };
        Covariance { factors, sigma: sigma.unwrap_or(1.0) }
    }
}

/// The free places of a grouping's factor.
pub(super) fn places(spread: &Spread, q: usize) -> impl Iterator<Item = (usize, usize)> {
    let (free, triangle) = match spread {
        Spread::Correlated => (q, true),
        Spread::Uncorrelated => (q, false),
        Spread::Known(_) => (0, false),
    };
    (0..free).flat_map(move |i| {
        let first = if triangle { 0 } else { i };
        (first..=i).map(move |j| (i, j))
    })
}

fn diagonal(q: usize, value: f64) -> Vec<f64> {
    let mut factor = vec![0.0; q * q];
    (0..q).for_each(|i| factor[i * q + i] = value);
    factor
}

fn over(factors: &Factors, sigma: f64) -> Factors {
    factors.iter().map(|factor| factor.iter().map(|x| x / sigma).collect()).collect()
}

/// Signs and, where a variance is 0, the free rotation, brought to the usual form: a lower triangle with a diagonal of 0 or more.
fn tidy(data: &ScaledData, covariance: &mut Covariance) {
    covariance.sigma = covariance.sigma.abs();
    for (term, factor) in data.terms.iter().zip(&mut covariance.factors) {
        let q = term.q;
        for j in 0..q {
            for k in j + 1..q {
                // A zero on the diagonal above others in its column: turn columns j and k so that row k is met on its diagonal.
                if factor[j * q + j] == 0.0 && factor[k * q + j] != 0.0 {
                    let (a, b) = (factor[k * q + j], factor[k * q + k]);
                    let length = a.hypot(b);
                    for i in 0..q {
                        let (u, v) = (factor[i * q + j], factor[i * q + k]);
                        factor[i * q + j] = (b * u - a * v) / length;
                        factor[i * q + k] = (a * u + b * v) / length;
                    }
                    factor[k * q + j] = 0.0;
                }
            }
            if factor[j * q + j] < 0.0 {
                (0..q).for_each(|i| factor[i * q + j] = -factor[i * q + j]);
            }
        }
    }
}
