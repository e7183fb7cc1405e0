//! Roots, inverses and sums of products against the library of matrices.

use nalgebra::DMatrix;

use crate::fit::matrix::{dot, inverse, solve_transposed, upper_root};

#[test]
fn products_roots_and_what_is_made_of_them_are_right() {
    let ten: Vec<f64> = (0..10).map(f64::from).collect();
    assert_eq!((dot(&ten[..9], &ten), dot(&ten, &ten[..7])), (204.0, 91.0));
    let a = DMatrix::from_fn(21, 21, |i, j| ((i * j) as f64).sin() + if i == j { 30.0 } else { 0.0 });
    let a = a.tr_mul(&a);
    let (root, lower) = (upper_root(a.clone()).unwrap(), a.clone().cholesky().unwrap().unpack());
    assert!((root.transpose() - &lower).amax() < 1e-12);
    assert!((&a * inverse(&root) - DMatrix::identity(21, 21)).amax() < 1e-12);
    let b = DMatrix::from_fn(21, 3, |i, j| if i < 4 * j { 0.0 } else { (i + 7 * j) as f64 });
    let mut x = b.clone();
    solve_transposed(&root, x.as_mut_slice());
    assert!((lower * x - b).amax() < 1e-10);
    assert!(upper_root(-a).is_none());
}
