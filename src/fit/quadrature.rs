//! Integrals over an interval.

use std::sync::OnceLock;

/// Nodes in (-1, 1) and weights of the Gauss-Legendre rule with `n` points, exact for polynomials of degree 2n - 1.
///
/// The nodes are the zeros of the Legendre polynomial by Newton's method from Tricomi's approximation (Abramowitz and
/// Stegun 1964, section 25.4.29); good to a few units in the last place for n up to some hundreds.
pub fn gauss_legendre(n: usize) -> Vec<(f64, f64)> {
    let size = n as f64;
    let mut rule = Vec::with_capacity(n);
    for i in 0..n {
        let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (size + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..100 {
            let (mut value, mut before) = (1.0, 0.0);
            for j in 0..n {
                let k = j as f64;
                (value, before) = (((2.0 * k + 1.0) * x * value - k * before) / (k + 1.0), value);
            }
            slope = size * (x * value - before) / (x * x - 1.0);
            let step = value / slope;
            x -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        rule.push((x, 2.0 / ((1.0 - x * x) * slope * slope)));
    }
    rule
}

/// The integral of a smooth `function` from `low` to `high`: 20 Gauss-Legendre points in each of `panels` equal parts.
pub fn integrate(function: impl Fn(f64) -> f64, low: f64, high: f64, panels: usize) -> f64 {
    static RULE: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
    let rule = RULE.get_or_init(|| gauss_legendre(20));
    let panels = panels.max(1);
    let half = 0.5 * (high - low) / panels as f64;
    let mut sum = 0.0;
    for panel in 0..panels {
        let middle = low + half * (2 * panel + 1) as f64;
        sum += rule.iter().map(|(node, weight)| weight * function(middle + half * node)).sum::<f64>();
    }
    half * sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_polynomial_of_high_degree_is_exact() {
        let value = integrate(|x: f64| 40.0 * x.powi(39), 0.0, 1.0, 1);
        assert!((value - 1.0).abs() < 1e-13, "{value}");
    }

    #[test]
    fn a_bell_curve_over_panels() {
        let value = integrate(|x: f64| (-0.5 * x * x).exp(), -12.0, 12.0, 8);
        assert!((value - (2.0 * std::f64::consts::PI).sqrt()).abs() < 1e-12, "{value}");
    }
}
