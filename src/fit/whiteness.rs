//! Are waves left in residuals?

use super::quantile;

/// How far a row of residuals, in order, is from independent draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Whiteness {
    /// Runs of one sign.
    pub runs: usize,
    /// Runs expected of independent signs.
    pub expected_runs: f64,
    /// Probability of as few or as many runs, two-sided, normal approximation (A. Wald and J. Wolfowitz, Ann. Math. Stat.
    /// 11 (1940) 147).
    pub runs_p: f64,
    /// Autocorrelation of neighbours, about 0.
    pub neighbours: f64,
    /// Its standard error where there is none: `1 / sqrt(n)` (Bartlett).
    pub neighbours_se: f64,
}

impl Whiteness {
    /// Of residuals in order; none of fewer than ten, or where all have one sign. Zeros have no sign and break no run.
    pub fn of(residuals: &[f64]) -> Option<Self> {
        let signs: Vec<bool> = residuals.iter().filter(|r| **r != 0.0 && r.is_finite()).map(|r| *r > 0.0).collect();
        let up = signs.iter().filter(|up| **up).count() as f64;
        let n = signs.len() as f64;
        if signs.len() < 10 || up == 0.0 || up >= n {
            return None;
        }
        let runs = 1 + signs.iter().zip(signs.iter().skip(1)).filter(|(a, b)| a != b).count();
        let expected = 2.0 * up * (n - up) / n + 1.0;
        let variance = (expected - 1.0) * (expected - 2.0) / (n - 1.0);
        let z = (runs as f64 - expected) / variance.sqrt();
        let products: f64 = residuals.iter().zip(residuals.iter().skip(1)).map(|(a, b)| a * b).sum();
        let squares: f64 = residuals.iter().map(|r| r * r).sum();
        Some(Self {
            runs,
            expected_runs: expected,
            runs_p: (2.0 * quantile::normal_upper_tail(z.abs())).min(1.0),
            neighbours: products / squares,
            neighbours_se: 1.0 / (residuals.len() as f64).sqrt(),
        })
    }
}

#[cfg(test)]
#[path = "../../tests/inside/runs_test.rs"]
mod tests;
