//! Variances of strains drawn together.

use super::{doubt, fall, shrunk};

#[test]
fn logarithms_of_chi_squared_have_known_means_and_variances() {
    // M. Abramowitz and I. Stegun (1964), 6.3.2, 6.4.2: of two degrees of freedom Euler's constant below 0, and pi^2 / 6.
    assert!((fall(2.0) - 0.577_215_66).abs() < 0.01 && (doubt(2.0) - 1.644_934_07).abs() < 0.03);
    // Table 6.1 at 4: psi 1.256 117 668, its derivative 0.283 822 956.
    assert!((fall(8.0) - (4.0_f64.ln() - 1.256_117_668)).abs() < 3e-4 && (doubt(8.0) - 0.283_822_956).abs() < 1e-3);
}

#[test]
fn variances_are_drawn_together_by_what_they_have_in_common() {
    // All alike: one variance with nearly all degrees of freedom.
    for (v, df) in shrunk(&[(2.0, 5.0); 4]).unwrap() {
        assert!((1.9..2.5).contains(&v) && df > 19.9, "{v} {df}");
    }
    // Far apart: each nearly its own.
    let found = shrunk(&[(1.0, 50.0), (100.0, 50.0), (1e4, 50.0)]).unwrap();
    for ((v, df), own) in found.iter().zip([1.0, 100.0, 1e4]) {
        assert!((v / own - 1.0).abs() < 0.1 && *df < 53.0, "{v} {df}");
    }
}
