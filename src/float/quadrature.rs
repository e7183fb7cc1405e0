//! Gauss-Legendre nodes.

use std::f64::consts::PI;
use std::sync::OnceLock;

/// Nodes a panel; the panel's ends are smoothed first, so that the rule converges at full speed.
const NODES: usize = 28;

/// Nodes and weights on 0..1 after the substitution `z = 3 u^2 - 2 u^3`: where the water plane leaves a slice, areas end
/// like (z - z0)^(3/2) and chords like its square root, which become smooth in u.
pub(crate) fn panel_nodes() -> &'static [(f64, f64); NODES] {
    static NODES_AND_WEIGHTS: OnceLock<[(f64, f64); NODES]> = OnceLock::new();
    NODES_AND_WEIGHTS.get_or_init(|| {
        std::array::from_fn(|k| {
            let (u, weight) = node(k);
            (u * u * (3.0 - 2.0 * u), weight * 6.0 * u * (1.0 - u))
        })
    })
}

/// Node `k` on 0..1 and its weight, by Newton's method on the Legendre polynomial, from the usual asymptotic start.
fn node(k: usize) -> (f64, f64) {
    let n = NODES as f64;
    let mut x = (PI * (k as f64 + 0.75) / (n + 0.5)).cos();
    let mut slope = 0.0;
    for _ in 0..8 {
        let (mut before, mut value) = (1.0, x);
        for j in 2..=NODES {
            let j = j as f64;
            (before, value) = (value, ((2.0 * j - 1.0) * x * value - (j - 1.0) * before) / j);
        }
        slope = n * (x * value - before) / (x * x - 1.0);
        x -= value / slope;
    }
    (0.5 * (1.0 + x), 1.0 / ((1.0 - x * x) * slope * slope))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_up_to_twice_the_nodes_are_exact() {
        for power in [0, 1, 7, 2 * NODES as i32 - 1] {
            let integral: f64 = (0..NODES).map(node).map(|(x, w)| w * x.powi(power)).sum();
            assert!((integral * f64::from(power + 1) - 1.0).abs() < 1e-13, "{power}: {integral}");
        }
    }

    #[test]
    fn a_square_root_at_an_end_is_no_trouble() {
        let integral: f64 = panel_nodes().iter().map(|(z, w)| w * (z * (1.0 - z)).sqrt()).sum();
        assert!((integral - PI / 8.0).abs() < 1e-12, "{integral}");
    }
}
