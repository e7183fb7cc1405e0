//! The likelihood as a function of the parameters of the covariance.

use std::sync::{Arc, Mutex, PoisonError};

use super::equations::{Layout, SolvedEquations};
use super::scaled::{Covariance, ScaledData};
use crate::fit::minimise::newton;
use crate::{Error, Result};

const LN_TWO_PI: f64 = 1.837_877_066_409_345_5;
/// The variance of a row's error never falls below this in scaled units.
const LEAST_VARIANCE: f64 = 1e-14;
/// Multiples of one for all spreads and for sigma from the best of which the search starts.
const SPREADS: [f64; 5] = [1.0, 0.3, 0.1, 3.0, 0.03];
const SIGMAS: [f64; 3] = [1.0, 0.5, 0.1];

/// The products at a residual standard deviation, and the logarithms of the rows' error variances summed.
type Products = Arc<(Vec<f64>, f64)>;

/// The likelihood of one data set.
#[derive(Debug, Clone)]
pub(super) struct MixedModel {
    pub data: ScaledData,
    layout: Layout,
    /// The last residual standard deviation and the products at it: a search mostly changes other parameters.
    last: Arc<Mutex<Option<(f64, Products)>>>,
    /// Nothing in the covariance has a unit of its own: its best size is had in closed form, and the search takes sigma for 1.
    relative: bool,
}

impl MixedModel {
    pub fn new(data: ScaledData) -> Result<Self> {
        let layout = Layout::new(&data)?;
        let relative = !data.has_known_parts();
        Ok(Self { data, layout, last: Arc::default(), relative })
    }

    /// Observations less the fixed coefficients.
    fn df(&self) -> f64 {
        (self.data.n() - self.data.p) as f64
    }

    /// Minus twice the restricted log-likelihood, in scaled units; of the best size of the covariance where that is free.
    fn deviance(&self, covariance: &Covariance) -> f64 {
        self.solve(covariance).map_or(f64::INFINITY, |(solved, ln_weights)| {
            let df = self.df();
            let squares = if self.relative { df * (1.0 + (solved.squares / df).ln()) } else { solved.squares };
            ln_weights + solved.ln_det + solved.ln_det_fixed + squares + df * LN_TWO_PI
        })
    }

    /// The equations at a covariance, and the logarithms of the rows' error variances summed.
    pub fn solve(&self, covariance: &Covariance) -> Option<(SolvedEquations, f64)> {
        let products = self.products(covariance.sigma)?;
        Some((self.layout.solve(&self.data, covariance, &products.0)?, products.1))
    }

    /// None where a row's error all but vanishes.
    fn products(&self, sigma: f64) -> Option<Products> {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, products)) = last.as_ref().filter(|(of, _)| of.to_bits() == sigma.to_bits()) {
            return Some(Arc::clone(products));
        }
        let variances = self.data.variances(sigma);
        if variances.iter().any(|v| !(*v >= LEAST_VARIANCE)) {
            return None;
        }
        let ln_weights = variances.iter().map(|v| v.ln()).sum();
        let products = Arc::new((self.layout.products(&self.data, &variances), ln_weights));
        *last = Some((sigma, Arc::clone(&products)));
        Some(products)
    }

    /// The covariance of highest likelihood, its deviance, and whether the search settled.
    pub fn fit(&self) -> Result<(Covariance, f64, bool)> {
        let function = |parameters: &[f64]| self.deviance(&self.covariance(parameters));
        let found = newton(&function, &self.start(function));
        if !found.value.is_finite() {
            return Err(Error::numeric(
                "the fit of a mixed model",
                "its likelihood is not finite anywhere near the start",
            ));
        }
        let mut covariance = self.covariance(&found.at);
        if let Some((solved, _)) = self.solve(&covariance).filter(|_| self.relative) {
            let size = (solved.squares / self.df()).sqrt();
            covariance.sigma *= size;
            covariance.factors.iter_mut().flatten().for_each(|x| *x *= size);
        }
        covariance.sigma = covariance.sigma.abs();
        covariance.factors.iter_mut().flatten().for_each(|x| *x = x.abs());
        Ok((covariance, found.value, found.converged))
    }

    fn start(&self, function: impl Fn(&[f64]) -> f64) -> Vec<f64> {
        let mut best = (f64::INFINITY, Vec::new());
        for sigma in SIGMAS.into_iter().take(if self.sigma_held().is_some() { 1 } else { SIGMAS.len() }) {
            for spread in SPREADS {
                let factors = self.data.terms.iter().map(|term| vec![spread; term.q]).collect();
                let start = self.parameters(&Covariance { factors, sigma });
                let value = function(&start);
                if value < best.0 || best.1.is_empty() {
                    best = (value, start);
                }
            }
        }
        best.1
    }

    /// The residual standard deviation that the search holds.
    fn sigma_held(&self) -> Option<f64> {
        self.data.held.or(self.relative.then_some(1.0))
    }

    /// The free numbers of a covariance: those of its groupings, then sigma.
    fn parameters(&self, covariance: &Covariance) -> Vec<f64> {
        let sigma = Some(covariance.sigma).filter(|_| self.sigma_held().is_none());
        covariance.factors.iter().flatten().copied().chain(sigma).collect()
    }

    fn covariance(&self, parameters: &[f64]) -> Covariance {
        let mut left = parameters.iter().copied();
        let factors = self.data.terms.iter().map(|term| left.by_ref().take(term.q).collect()).collect();
        let sigma = self.sigma_held().or(left.next()).unwrap_or(f64::NAN);
        Covariance { factors, sigma }
    }
}
