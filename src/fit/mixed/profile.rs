//! Profile likelihood intervals of the random part.

use std::cell::RefCell;

use super::component::{Component, ComponentKind, components};
use super::design::Spread;
use super::fitted::MixedFit;
use super::likelihood::{MixedModel, places};
use super::scaled::Covariance;
use crate::fit::matrix::dot;
use crate::fit::minimise::newton;
use crate::fit::{Estimate, Finding, quantile, root};
use crate::{Error, Result};

const DOING: &str = "a profile likelihood interval";

/// A component with its interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Profiled {
    /// The component of the ML fit.
    pub component: Component,
    /// Its interval. `se` is the half-width over the normal factor.
    pub finding: Finding,
}

/// One number of the covariance held while the others follow.
struct HeldComponent<'a> {
    model: &'a MixedModel,
    kind: ComponentKind,
    /// Columns of the grouping, the ones in question first.
    order: Vec<usize>,
    /// The other numbers at the top of the likelihood.
    begin: Vec<f64>,
    /// Where the last search ended, so that the next one is short.
    last: RefCell<Vec<f64>>,
}

impl MixedFit {
    /// Profile likelihood intervals of all standard deviations and correlations, always of the ML fit (the restricted likelihood
    /// has no such theory for what changes the fixed part's weight):
    ///
    /// ```text
    /// { v : 2 (max ln L - max over all else of ln L at v) <= chi-squared quantile with 1 df }
    /// ```
    ///
    /// An end that the likelihood does not reach is 0, 1 or -1. Of a standard deviation at 0 the interval is wider than its level
    /// says.
    ///
    /// # Errors
    /// [`Error::Setting`] for a level outside (0, 1); [`Error::Numeric`] when the ML fit fails. A single interval that fails is
    /// a [`Finding::NotEstimable`].
    pub fn profile(&self, level: f64) -> Result<Vec<Profiled>> {
        let factor = quantile::normal_two_sided(level)?;
        let model = self.model.unrestricted();
        let (at, _, _) = model.fit(Some(&self.at))?;
        // In absolute terms, as the profiles are.
        let top = model.deviance(&at);
        let list = components(&self.design, &model.data, &at);
        list.into_iter()
            .map(|component| {
                let finding = if component.held {
                    Finding::Fixed { value: component.value, why: "given, not estimated".to_owned() }
                } else if component.value.is_nan() {
                    Finding::missing("one of the two variances is 0, so there is no correlation")
                } else {
                    match ends(&model, &at, &component, top, factor * factor) {
                        Ok((lower, upper)) => Finding::Estimated(Estimate {
                            value: component.value,
                            se: 0.5 * (upper - lower) / factor,
                            lower,
                            upper,
                            level,
                            method: "ML, profile likelihood".into(),
                        }),
                        Err(why) => Finding::missing(why.to_string()),
                    }
                };
                Ok(Profiled { component, finding })
            })
            .collect()
    }
}

/// Both ends in the user's units.
fn ends(model: &MixedModel, at: &Covariance, component: &Component, top: f64, cut: f64) -> Result<(f64, f64)> {
    let data = &model.data;
    let unit = match component.kind {
        ComponentKind::Sd { grouping, column } => data.unit / data.terms[grouping].scale[column],
        ComponentKind::Correlation { .. } => 1.0,
        ComponentKind::Residual => data.unit,
    };
    let best = component.value / unit;
    let held = HeldComponent::new(model, component.kind, at);
    let above = |value: f64| held.deviance(value) - top - cut;
    let restart = || *held.last.borrow_mut() = held.begin.clone();
    restart();
    if let ComponentKind::Correlation { .. } = component.kind {
        let lower = bounded(&above, best, -1.0)?;
        restart();
        return Ok((lower, bounded(&above, best, 1.0)?));
    }
    // Downwards in ratios, so that the searches stay near one another.
    let (mut inside, mut lower) = (best, None);
    while inside > 1e-3 * best.max(1e-3) {
        let next = 0.7 * inside;
        if above(next) > 0.0 {
            lower = Some(root::brent(DOING, above, next, inside, 1e-9)?);
            break;
        }
        inside = next;
    }
    let lower = match lower {
        Some(lower) => lower,
        // A residual of 0 cannot be reached where no other error is known: the likelihood has no value there.
        None if above(0.0) > 0.0 => root::brent(DOING, above, 1e-9, inside, 1e-9).unwrap_or(0.0),
        None => 0.0,
    };
    restart();
    let mut inside = best;
    let mut next = (1.4 * best).max(0.05);
    for _ in 0..60 {
        if above(next) > 0.0 {
            let upper = root::brent(DOING, above, inside, next, 1e-9)?;
            return Ok((lower * unit, upper * unit));
        }
        inside = next;
        next *= 1.4;
    }
    Err(Error::numeric(DOING, "the likelihood does not fall to the cut"))
}

/// The end towards `limit`, which is that itself when the likelihood stays above the cut.
fn bounded(above: &impl Fn(f64) -> f64, best: f64, limit: f64) -> Result<f64> {
    let mut inside = best;
    for _ in 0..12 {
        let next = inside + 0.4 * (limit - inside);
        if above(next) > 0.0 {
            return root::brent(DOING, above, inside, next, 1e-9);
        }
        inside = next;
    }
    if above(limit) <= 0.0 { Ok(limit) } else { root::brent(DOING, above, inside, limit, 1e-9) }
}

impl<'a> HeldComponent<'a> {
    fn new(model: &'a MixedModel, kind: ComponentKind, at: &Covariance) -> Self {
        let (grouping, front) = match kind {
            ComponentKind::Sd { grouping, column } => (Some(grouping), vec![column]),
            ComponentKind::Correlation { grouping, column, other } => (Some(grouping), vec![other, column]),
            ComponentKind::Residual => (None, Vec::new()),
        };
        let q = grouping.and_then(|g| model.data.terms.get(g)).map_or(0, |term| term.q);
        let mut order = front;
        order.extend((0..q).filter(|c| !order.contains(c)).collect::<Vec<_>>());
        let mut held = Self { model, kind, order, begin: Vec::new(), last: RefCell::new(Vec::new()) };
        held.begin = held.parameters(at);
        held
    }

    fn grouping(&self) -> Option<usize> {
        match self.kind {
            ComponentKind::Sd { grouping, .. } | ComponentKind::Correlation { grouping, .. } => Some(grouping),
            ComponentKind::Residual => None,
        }
    }

    fn with_sigma(&self) -> bool {
        self.model.data.held.is_none() && self.kind != ComponentKind::Residual
    }

    /// The free places of the grouping in question, in the new order of its columns: all but the one held. With a correlation
    /// (0, 0) and (1, 1) stand for the roots of both standard deviations, so that neither changes its sign, and (1, 0) is made
    /// from them.
    fn free_places(&self, spread: &Spread, q: usize) -> Vec<(usize, usize)> {
        let gone = match self.kind {
            ComponentKind::Sd { .. } => (0, 0),
            _ => (1, 0),
        };
        places(spread, q).filter(|place| *place != gone).collect()
    }

    /// Least deviance with the number in question at `value`, in scaled units.
    fn deviance(&self, value: f64) -> f64 {
        // Beside an effect of variance 0 others may be far from where they belong: back to the start.
        let last = self.last.borrow().clone();
        let start = if last.contains(&0.0) { self.begin.clone() } else { last };
        let found = newton(&|parameters| self.model.deviance(&self.covariance(value, parameters)), &start);
        if found.value.is_finite() {
            *self.last.borrow_mut() = found.at;
        }
        found.value
    }

    fn parameters(&self, at: &Covariance) -> Vec<f64> {
        let mut list = Vec::new();
        for (index, (term, factor)) in self.model.data.terms.iter().zip(&at.factors).enumerate() {
            let q = term.q;
            if Some(index) == self.grouping() {
                let turned = reordered(&term.balanced(factor), &self.order);
                list.extend(self.free_places(&term.spread, q).into_iter().map(|(i, j)| {
                    let pair = matches!(self.kind, ComponentKind::Correlation { .. }) && i < 2;
                    let sd = || turned[i * q..(i + 1) * q].iter().map(|x| x * x).sum::<f64>().sqrt();
                    if pair { sd().sqrt() } else { turned[i * q + j] }
                }));
            } else {
                list.extend(places(&term.spread, q).map(|(i, j)| factor[i * q + j]));
            }
        }
        if self.with_sigma() {
            list.push(at.sigma);
        }
        list
    }

    fn covariance(&self, value: f64, parameters: &[f64]) -> Covariance {
        let mut left = parameters.iter().copied();
        let mut next = || left.next().unwrap_or_default();
        let mut factors = Vec::new();
        for (index, term) in self.model.data.terms.iter().enumerate() {
            let q = term.q;
            let mut factor = term.known_factor();
            if Some(index) != self.grouping() {
                places(&term.spread, q).for_each(|(i, j)| factor[i * q + j] = next());
                factors.push(factor);
                continue;
            }
            let mut turned = vec![0.0; q * q];
            for (i, j) in self.free_places(&term.spread, q) {
                turned[i * q + j] = next();
            }
            if let ComponentKind::Correlation { .. } = self.kind {
                turned[0] *= turned[0];
                let sd = turned[q + 1] * turned[q + 1];
                turned[q] = sd * value;
                turned[q + 1] = sd * (1.0 - value * value).max(0.0).sqrt();
            } else {
                turned[0] = value;
            }
            for (i, column) in self.order.iter().enumerate() {
                factor[column * q..(column + 1) * q].copy_from_slice(&turned[i * q..(i + 1) * q]);
            }
            factors.push(term.orthogonal(&factor));
        }
        let sigma = match self.kind {
            ComponentKind::Residual => value,
            _ => self.model.data.held.unwrap_or_else(next),
        };
        Covariance { factors, sigma }
    }
}

/// The lower triangular factor of the same covariance with its columns in another order.
fn reordered(factor: &[f64], order: &[usize]) -> Vec<f64> {
    let q = order.len();
    let row = |i: usize| &factor[order[i] * q..(order[i] + 1) * q];
    let mut lower = vec![0.0; q * q];
    for i in 0..q {
        for j in 0..=i {
            let rest = dot(row(i), row(j)) - dot(&lower[i * q..i * q + j], &lower[j * q..j * q + j]);
            let pivot = lower[j * q + j];
            lower[i * q + j] = match i == j {
                true => rest.max(0.0).sqrt(),
                false if pivot > 0.0 => rest / pivot,
                false => 0.0,
            };
        }
    }
    lower
}
