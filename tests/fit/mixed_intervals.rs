//! Laws of mixed models' answers, and how often their intervals hold the truth.

use crate::fit::mixed::{Column, Design, MixedFit, Random};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::mixed::simulated;
use super::near;

#[test]
fn answers_know_no_units_and_no_order_of_rows() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let times: Vec<f64> = (0..7).map(f64::from).collect();
    let design = simulated(9, &times, 0.2, &mut rng);
    let n = design.response.len();
    let fit = design.fit().unwrap();
    let order: Vec<usize> = (0..n).map(|i| (i * 29 + 5) % n).collect();
    let pick = |x: &[f64], by: f64| -> Vec<f64> { order.iter().map(|i| x[*i] * by).collect() };
    let columns = vec![Column::intercept(n), Column::new("age", &pick(&design.fixed[1].values, 365.0))];
    let labels: Vec<&String> =
        order.iter().map(|i| &design.random[0].levels[design.random[0].level_of_row[*i]]).collect();
    let other =
        Design::new(&pick(&design.response, 1e-3), columns.clone()).random(Random::by_label("unit", &labels, columns));
    let other = other.fit().unwrap();
    near(other.residual_sd, 1e-3 * fit.residual_sd, 1e-6);
    for (i, by) in [1e-3, 1e-3 / 365.0].into_iter().enumerate() {
        near(other.spreads[0][i], fit.spreads[0][i] * by, 1e-6);
    }
    let slope = |fit: &MixedFit| fit.contrast(&[0.0, 1.0], 0.9).unwrap();
    let (a, b) = (slope(&fit), slope(&other));
    near(b.value, a.value * 1e-3 / 365.0, 1e-8);
    near(b.lower, a.lower * 1e-3 / 365.0, 1e-5);
}

/// Share of 90 % intervals of the mean slope that hold the truth, over simulated fleets of eight.
#[test]
fn intervals_of_a_small_fleet_cover() {
    let times: Vec<f64> = (0..12).map(|i| 0.5 * f64::from(i)).collect();
    let fleets = 400;
    let mut rng = ChaCha8Rng::seed_from_u64(12);
    let mut covered = 0;
    for _ in 0..fleets {
        let fit = simulated(8, &times, 0.15, &mut rng).fit().unwrap();
        let slope = fit.contrast(&[0.0, 1.0], 0.9).unwrap();
        covered += usize::from(slope.lower <= 0.3 && 0.3 <= slope.upper);
    }
    let share = covered as f64 / f64::from(fleets);
    println!("90 % intervals of the mean slope cover {share}");
    assert!((share - 0.9).abs() < 3.0 * (0.9_f64 * 0.1 / f64::from(fleets)).sqrt(), "{share}");
}
