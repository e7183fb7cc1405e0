//! Designs that are known, from memory: V. V. Fedorov, Theory of Optimal Experiments (1972); A. C. Atkinson and A. N. Donev,
//! Optimum Experimental Designs (1992). And what no best design may break.

use nalgebra::{Matrix4, Vector4};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::design::{DesignModel, DesignProblem, evenly};

/// -1 to 1 in steps of 0.02.
fn grid() -> Vec<f64> {
    (-50..=50).map(|i| f64::from(i) / 50.0).collect()
}

fn powers(x: f64, degree: usize) -> Vector4<f64> {
    Vector4::from_fn(|i, _| if i <= degree { x.powi(i as i32) } else { 0.0 })
}

/// A polynomial with equal errors everywhere, wanted all over the grid.
fn polynomial(degree: usize) -> DesignModel {
    let unused = Vector4::from_fn(|i, _| if i <= degree { 0.0 } else { 1.0 });
    let rows: Vec<Vector4<f64>> = grid().into_iter().map(|x| powers(x, degree)).collect();
    // Simpson's rule would do no better: the range is wanted at many even points.
    let range = (0..=2000).map(|i| powers(f64::from(i) / 1000.0 - 1.0, degree)).collect();
    DesignModel { rows: rows.into_iter().map(Some).collect(), prior: Matrix4::from_diagonal(&unused), range }
}

fn best(model: DesignModel, n: usize) -> Vec<f64> {
    let points = DesignProblem::new(&[model], 0).best(n).unwrap();
    points.into_iter().map(|place| grid()[place]).collect()
}

fn assert_places(found: &[f64], known: &[f64]) {
    assert_eq!(found.len(), known.len());
    assert!(found.iter().zip(known).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}, known {known:?}");
}

#[test]
fn straight_lines_and_parabolas_have_their_known_i_optimal_designs() {
    assert_places(&best(polynomial(1), 2), &[-1.0, 1.0]);
    // Half of the observations in the middle.
    assert_places(&best(polynomial(2), 4), &[-1.0, 0.0, 0.0, 1.0]);
    assert_places(&best(polynomial(2), 8), &[-1.0, -1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0]);
}

#[test]
fn the_efficiency_is_the_quotient_of_mean_variances() {
    let models = [polynomial(2)];
    let problem = DesignProblem::new(&models, 0);
    let (best, ends) = ([0, 50, 50, 100], [0, 0, 50, 100]);
    // The mean variance over -1 to 1 of w observations at each of -1, 0 and 1 by hand: 8/15 of the middle's, 2/15 of the
    // others' variances.
    let by_hand = |w: [f64; 3]| (2.0 / w[0] + 8.0 / w[1] + 2.0 / w[2]) / 15.0;
    let known = by_hand([1.0, 2.0, 1.0]) / by_hand([2.0, 1.0, 1.0]);
    let found = problem.efficiency(&ends, &best).unwrap();
    assert!((found / known - 1.0).abs() < 1e-3, "{found} {known}");
    assert_eq!(problem.efficiency(&best, &best), Some(1.0));
}

/// Small enough to look at every design.
#[test]
fn no_design_at_all_beats_the_best_one() {
    let mut rng = ChaCha8Rng::seed_from_u64(19);
    for trial in 0..30 {
        let mut draw = || Vector4::from_fn(|_, _| rng.random_range(-1.0..1.0));
        let rows: Vec<Option<Vector4<f64>>> = (0..8).map(|_| Some(draw())).collect();
        let range = (0..5).map(|_| draw()).collect();
        let models = [DesignModel { rows, prior: Matrix4::identity() * 0.01, range }];
        for least_distinct in [0, 4] {
            let problem = DesignProblem::new(&models, least_distinct);
            let points = problem.best(5).unwrap();
            let allowed = |points: &[usize]| least_distinct == 0 || (points.contains(&0) && distinct(points) >= 4);
            let all = multisets(8, 5).into_iter().filter(|points| allowed(points));
            let least = all.map(|points| problem.cost(&points)).fold(f64::INFINITY, f64::min);
            let cost = problem.cost(&points);
            assert!(cost <= least + 1e-9 * least.abs(), "trial {trial}: {cost}, least {least}");
            assert!(allowed(&points));
        }
    }
}

fn distinct(points: &[usize]) -> usize {
    points.iter().collect::<std::collections::BTreeSet<_>>().len()
}

/// Every way to take `n` of `places`, with repeats, in order.
fn multisets(places: usize, n: usize) -> Vec<Vec<usize>> {
    let mut all = vec![Vec::new()];
    for _ in 0..n {
        all = all
            .into_iter()
            .flat_map(|points: Vec<usize>| {
                let from = points.last().copied().unwrap_or(0);
                (from..places).map(move |place| points.iter().copied().chain([place]).collect())
            })
            .collect();
    }
    all
}

#[test]
fn too_few_points_determine_nothing_unless_something_is_known_before() {
    let model = polynomial(3);
    let known = DesignModel { prior: Matrix4::identity(), ..model.clone() };
    assert_eq!(DesignProblem::new(&[model], 0).best(3), None);
    assert_eq!(DesignProblem::new(&[known], 0).best(3).unwrap().len(), 3);
    assert_eq!(evenly(&[3, 4, 5, 6, 7], 3), [3, 5, 7]);
}
