//! The runs test worked by hand, and on independent draws.

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
