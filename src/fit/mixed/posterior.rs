//! Covariances drawn from what the likelihood leaves possible.

use nalgebra::{DVector, SymmetricEigen};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::by_rows::dot;
use super::design::Spread;
use super::model::{Covariance, Model};
use super::newton::{hessian, minimise};

/// Variances of random effects beyond the square of this become less and less likely, in the scaled units in which response and columns have
/// size one.
const PRIOR_SCALE: f64 = 2.0;
/// Steps before the first draw, and from draw to draw.
const SETTLING: usize = 600;
const BETWEEN: usize = 12;
/// Share of steps that should be taken.
const WANTED: f64 = 0.3;

/// Draws of the covariance from the likelihood times weak priors: uniform in every variance, the choice with which predictions cover
/// about as often as they say (C. N. Morris and R. Tang, Stat. Sci. 26 (2011) 271; from memory), and uniform over correlation
/// matrices (D. Lewandowski, D. Kurowicka and H. Joe, J. Multivar. Anal. 100 (2009) 1989; from memory). By the random walk of N. Metropolis and others (1953) in log standard deviations and transformed partial
/// correlations, with steps shaped by the curvature at the top.
pub(super) fn draw(model: &Model, at: &Covariance, count: usize, rng: &mut ChaCha8Rng) -> Vec<Covariance> {
    let minus_log = |place: &[f64]| minus_log_posterior(model, place);
    let top = minimise(&minus_log, &start(model, at));
    let size = top.at.len();
    if size == 0 {
        return vec![at.clone()];
    }
    let eigen = SymmetricEigen::new(hessian(&minus_log, &top.at));
    // Where the likelihood says nothing the priors' own width is about two.
    let widths = eigen.eigenvalues.map(|curvature| 1.0 / curvature.abs().max(0.25).sqrt());
    let mut scale = 2.38 / (size as f64).sqrt();
    let (mut place, mut value) = (top.at, top.value);
    let mut draws = Vec::with_capacity(count);
    for step in 1..=SETTLING + count * BETWEEN {
        let z = DVector::from_fn(size, |i, _| {
            let z: f64 = StandardNormal.sample(rng);
            scale * z * widths[i]
        });
        let moved: Vec<f64> = place.iter().zip((&eigen.eigenvectors * z).iter()).map(|(x, d)| x + d).collect();
        let new = minus_log(&moved);
        let taken = rng.random::<f64>().ln() < 0.5 * (value - new);
        if taken {
            (place, value) = (moved, new);
        }
        if step <= SETTLING {
            let towards = f64::from(u8::from(taken)) - WANTED;
            scale *= (towards / (1.0 + step as f64 / 20.0)).exp();
        } else if (step - SETTLING).is_multiple_of(BETWEEN) {
            draws.push(covariance(model, &place).0);
        }
    }
    draws
}

/// Minus twice the logarithm of likelihood times prior, as a density in the coordinates.
fn minus_log_posterior(model: &Model, place: &[f64]) -> f64 {
    let (covariance, ln_prior) = covariance(model, place);
    let value = model.deviance(&covariance) - 2.0 * ln_prior;
    if value.is_nan() { f64::INFINITY } else { value }
}

/// Logarithm of the prior of a variance, uniform up to the scale's square and proper, as a density of its logarithm.
fn ln_prior_of(sd: f64) -> f64 {
    2.0 * sd.ln() - 1.5 * (1.0 + (sd / PRIOR_SCALE).powi(2)).ln()
}

/// The covariance at coordinates, and the logarithm of its prior. Coordinates by grouping: logarithms of the standard
/// deviations, then inverse hyperbolic tangents of partial correlations by rows; the logarithm of sigma last.
fn covariance(model: &Model, place: &[f64]) -> (Covariance, f64) {
    let mut left = place.iter().copied();
    let mut next = || left.next().unwrap_or_default();
    let mut ln_prior = 0.0;
    let mut factors = Vec::new();
    for term in &model.data.terms {
        let q = term.q;
        let mut factor = vec![0.0; q * q];
        if let Spread::Known(sds) = &term.spread {
            sds.iter().enumerate().for_each(|(i, sd)| factor[i * q + i] = *sd);
            factors.push(factor);
            continue;
        }
        let sds: Vec<f64> = (0..q).map(|_| next().exp()).collect();
        ln_prior += sds.iter().map(|sd| ln_prior_of(*sd)).sum::<f64>();
        for i in 0..q {
            let mut rest = 1.0_f64;
            if term.spread == Spread::Correlated {
                for j in 0..i {
                    let partial = next().tanh();
                    // Uniform over correlation matrices: (1 - r^2)^(b - 1), one more for the coordinate.
                    let power = 1.0 + 0.5 * (q as f64 - 2.0 - j as f64);
                    ln_prior += power * (1.0 - partial * partial).max(1e-300).ln();
                    factor[i * q + j] = sds[i] * partial * rest.sqrt();
                    rest *= 1.0 - partial * partial;
                }
            }
            factor[i * q + i] = sds[i] * rest.max(0.0).sqrt();
        }
        factors.push(term.orthogonal(&factor));
    }
    let sigma = match model.data.held {
        Some(held) => held,
        None => {
            let sigma = next().exp();
            ln_prior += ln_prior_of(sigma);
            sigma
        }
    };
    (Covariance { factors, sigma }, ln_prior)
}

/// Coordinates near a covariance, off its edges.
fn start(model: &Model, at: &Covariance) -> Vec<f64> {
    let mut place = Vec::new();
    for (term, factor) in model.data.terms.iter().zip(&at.factors) {
        let q = term.q;
        if matches!(term.spread, Spread::Known(_)) {
            continue;
        }
        let factor = term.balanced(factor);
        let row = |i: usize| &factor[i * q..(i + 1) * q];
        place.extend((0..q).map(|i| dot(row(i), row(i)).sqrt().max(0.05).ln()));
        if term.spread == Spread::Correlated {
            for i in 0..q {
                let mut rest = dot(row(i), row(i));
                for x in &row(i)[..i] {
                    let partial = if rest > 0.0 { x / rest.sqrt() } else { 0.0 };
                    place.push(partial.clamp(-0.9, 0.9).atanh());
                    rest -= x * x;
                }
            }
        }
    }
    if model.data.held.is_none() {
        place.push(at.sigma.max(0.05).ln());
    }
    place
}
