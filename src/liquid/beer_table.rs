//! Density of one batch's beer, fast enough for every reading of a season.

use std::f64::consts::PI;

use crate::error::{Error, Result};

use super::beer::{At, Mix, TEMP_C, Wort, check_temp};
use super::extract::{SG_HIGH, SG_LOW};
use super::water;

const SG_NODES: usize = 14;
/// Odd: no node lies at 20 C, where the expansion is divided by zero.
const TEMP_NODES: usize = 9;

/// Density to SG for one original gravity: the inverse of [`super::beer_density_kg_m3`] by a small table.
///
/// Holds the ratio of densities `rho(T)/rho_w(T) = SG + (T - 20) g(SG, T)` with `g` as Chebyshev polynomials, one set
/// below the original gravity and one above. It meets the exact function within 1e-9 in SG and is exact at 20 C. Built once per batch; each call costs some tens of operations.
#[derive(Debug, Clone)]
pub(crate) struct BeerDensity {
    split_sg: f64,
    fermented: Expansion,
    unfermented: Expansion,
}

impl BeerDensity {
    /// The table for beer of this original gravity.
    ///
    /// # Errors
    /// [`Error::Domain`] for an original gravity outside 1.00 to 1.20.
    pub fn new(original_sg: f64) -> Result<Self> {
        Wort::new(original_sg)?;
        Self::split(original_sg)
    }

    /// The table for sucrose solutions: baths, water, and wort before the yeast.
    ///
    /// # Errors
    /// [`Error::Numeric`] never in practice: it would mean that a scale has no root.
    pub fn unfermented() -> Result<Self> {
        Self::split(SG_LOW)
    }

    fn split(split_sg: f64) -> Result<Self> {
        let unfermented = Expansion::new(split_sg, SG_HIGH, Mix::unfermented)?;
        let below = (split_sg > SG_LOW).then(|| Expansion::new(SG_LOW, split_sg, |sg| Mix::of(sg, split_sg)));
        let fermented = below.transpose()?.unwrap_or_else(|| unfermented.clone());
        Ok(Self { split_sg, fermented, unfermented })
    }

    /// SG 20/20 from the density at `temp_c`.
    ///
    /// # Errors
    /// [`Error::Domain`] for a density that no SG from 0.95 to 1.20 has, or a temperature outside -3 to 40 C.
    pub fn sg(&self, density_kg_m3: f64, temp_c: f64) -> Result<f64> {
        self.sg_and_slope(density_kg_m3, temp_c).map(|(sg, _)| sg)
    }

    /// SG 20/20 and its slope in the density, per kg/m3, for the propagation of errors.
    ///
    /// # Errors
    /// As [`BeerDensity::sg`].
    pub fn sg_and_slope(&self, density_kg_m3: f64, temp_c: f64) -> Result<(f64, f64)> {
        let t = check_temp(temp_c)?;
        let water = water::density(t);
        let ratio = density_kg_m3 / water;
        let at_split = self.fermented.at(t);
        let at = if ratio > self.split_sg + at_split.at_high() { self.unfermented.at(t) } else { at_split };
        let (mut sg, mut slope) = (ratio.clamp(SG_LOW, SG_HIGH), 1.0);
        // The expansion is nearly straight in SG: the error left is far below the square of the last step.
        for _ in 0..6 {
            let (expansion, by_sg) = at.value(sg);
            slope = 1.0 + by_sg;
            let step = (ratio - sg - expansion) / slope;
            sg += step;
            if step.abs() < 1e-8 {
                break;
            }
        }
        Ok((check_found_sg(sg)?, 1.0 / (water * slope)))
    }
}

/// `sg` within the scales; an end that was converted there and back comes back as the end.
fn check_found_sg(sg: f64) -> Result<f64> {
    const SLACK: f64 = 1e-9;
    Error::check_domain("SG from density", "SG 20/20", "", sg, SG_LOW - SLACK, SG_HIGH + SLACK)
        .map(|sg| sg.clamp(SG_LOW, SG_HIGH))
}

/// `g` on a rectangle of SG and temperature: Chebyshev coefficients, by SG and then temperature.
#[derive(Debug, Clone)]
struct Expansion {
    sg: (f64, f64),
    by_sg: [[f64; TEMP_NODES]; SG_NODES],
}

impl Expansion {
    fn new(low: f64, high: f64, mix: impl Fn(f64) -> Result<Mix>) -> Result<Self> {
        let at_20 = At::new(20.0);
        let temps: [f64; TEMP_NODES] = std::array::from_fn(|k| stretch(node(k, TEMP_NODES), TEMP_C));
        let at_temps = temps.map(|t| (At::new(t), t - 20.0));
        let (along_temp, along_sg) = (cosines::<TEMP_NODES>(), cosines::<SG_NODES>());
        let mut by_node = [[0.0; TEMP_NODES]; SG_NODES];
        for (k, row) in by_node.iter_mut().enumerate() {
            let mix = mix(stretch(node(k, SG_NODES), (low, high)))?;
            let sg = at_20.ratio(mix);
            *row = chebyshev(&along_temp, &at_temps.map(|(at, from_20)| (at.ratio(mix) - sg) / from_20));
        }
        // The same transform along SG, one temperature coefficient at a time.
        let mut by_sg = [[0.0; TEMP_NODES]; SG_NODES];
        for j in 0..TEMP_NODES {
            let column: [f64; SG_NODES] = by_node.map(|row| row.get(j).copied().unwrap_or_default());
            for (row, c) in by_sg.iter_mut().zip(chebyshev(&along_sg, &column)) {
                if let Some(cell) = row.get_mut(j) {
                    *cell = c;
                }
            }
        }
        Ok(Self { sg: (low, high), by_sg })
    }

    /// `(T - 20) g` at one temperature.
    fn at(&self, t: f64) -> ExpansionAt {
        let x = shrink(t, TEMP_C);
        let mut basis = [t - 20.0; TEMP_NODES];
        let (mut before, mut last) = ((t - 20.0) * x, t - 20.0);
        for value in basis.iter_mut().skip(1) {
            *value = before;
            (last, before) = (before, 2.0 * x * before - last);
        }
        let by_sg = self.by_sg.map(|row| row.iter().zip(&basis).map(|(c, value)| c * value).sum());
        ExpansionAt { sg: self.sg, by_sg }
    }
}

/// [`Expansion`] at one temperature.
struct ExpansionAt {
    sg: (f64, f64),
    by_sg: [f64; SG_NODES],
}

impl ExpansionAt {
    /// The value at the upper end of SG, where every Chebyshev polynomial is one.
    fn at_high(&self) -> f64 {
        self.by_sg.iter().sum()
    }

    fn value(&self, sg: f64) -> (f64, f64) {
        let (value, slope) = clenshaw(&self.by_sg, shrink(sg, self.sg));
        (value, slope * 2.0 / (self.sg.1 - self.sg.0))
    }
}

/// Chebyshev node `k` of `n` on -1..1.
fn node(k: usize, n: usize) -> f64 {
    (PI * (k as f64 + 0.5) / n as f64).cos()
}

fn stretch(x: f64, (low, high): (f64, f64)) -> f64 {
    0.5 * (low + high + x * (high - low))
}

fn shrink(value: f64, (low, high): (f64, f64)) -> f64 {
    (2.0 * value - low - high) / (high - low)
}

/// Chebyshev polynomials, one a row, at the nodes.
fn cosines<const N: usize>() -> [[f64; N]; N] {
    std::array::from_fn(|j| std::array::from_fn(|k| (PI * j as f64 * (k as f64 + 0.5) / N as f64).cos()))
}

/// Coefficients of the Chebyshev series through values at the nodes; the first is halved already.
fn chebyshev<const N: usize>(cosines: &[[f64; N]; N], values: &[f64; N]) -> [f64; N] {
    let mut by = cosines.map(|row| values.iter().zip(row).map(|(v, cosine)| v * cosine).sum::<f64>() * 2.0 / N as f64);
    if let Some(first) = by.first_mut() {
        *first *= 0.5;
    }
    by
}

/// Chebyshev series and its slope at `x`, by Clenshaw's recurrence.
fn clenshaw(c: &[f64], x: f64) -> (f64, f64) {
    let (mut b1, mut b2, mut d1, mut d2) = (0.0, 0.0, 0.0, 0.0);
    for c in c.iter().skip(1).rev() {
        let b = c + 2.0 * x * b1 - b2;
        let d = 2.0 * b1 + 2.0 * x * d1 - d2;
        (b2, b1, d2, d1) = (b1, b, d1, d);
    }
    let first = c.first().copied().unwrap_or_default();
    (first + x * b1 - b2, b1 + x * d1 - d2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chebyshev_series_meets_the_polynomial_it_was_made_from() {
        let values = std::array::from_fn(|k| {
            let x = node(k, 6);
            x.powi(5) - 2.0 * x * x + 0.5
        });
        let c = chebyshev::<6>(&cosines(), &values);
        let (value, slope) = clenshaw(&c, 0.3);
        assert!((value - (0.3f64.powi(5) - 0.18 + 0.5)).abs() < 1e-14);
        assert!((slope - (5.0 * 0.3f64.powi(4) - 1.2)).abs() < 1e-13);
    }
}
