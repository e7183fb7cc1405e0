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
mod tests {
    use super::*;

    #[test]
    fn a_worked_example() {
        // 6 up, 6 down, 4 runs: expected 7, variance 6 * 5 / 11.
        let row = [1.0, 2.0, 1.0, -1.0, -2.0, -1.0, -1.0, 3.0, 1.0, 1.0, -1.0, -1.0];
        let found = Whiteness::of(&row).unwrap();
        assert_eq!((found.runs, found.expected_runs), (4, 7.0));
        let z: f64 = 3.0 / (30.0_f64 / 11.0).sqrt();
        assert!((found.runs_p - 2.0 * quantile::normal_upper_tail(z)).abs() < 1e-12);
        assert!(Whiteness::of(&row[..5]).is_none() && Whiteness::of(&[1.0; 30]).is_none());
    }

    #[test]
    fn independent_draws_are_found_wanting_as_often_as_they_should() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        let mut low = 0;
        for _ in 0..2000 {
            let row: Vec<f64> = (0..80).map(|_| StandardNormal.sample(&mut rng)).collect();
            low += u32::from(Whiteness::of(&row).unwrap().runs_p < 0.1);
        }
        let share = f64::from(low) / 2000.0;
        assert!((0.07..0.14).contains(&share), "{share}");
    }
}
