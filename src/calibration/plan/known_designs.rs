//! Designs that are known, from memory: V. V. Fedorov, Theory of Optimal Experiments (1972); A. C. Atkinson and A. N. Donev,
//! Optimum Experimental Designs (1992). And what no best design may break.

use nalgebra::{Matrix4, Vector4};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::design::{DesignCriterion, DesignModel, DesignProblem, DesignRule, evenly};

/// -1 to 1 in steps of 0.02, and the places that cubic and quartic designs want.
fn grid() -> Vec<f64> {
    let fifth = 1.0 / 5f64.sqrt();
    let mut grid: Vec<f64> = (-50..=50).map(|i| f64::from(i) / 50.0).chain([-fifth, fifth]).collect();
    grid.sort_by(f64::total_cmp);
    grid
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
    DesignModel {
        rows: rows.into_iter().map(Some).collect(),
        prior: Matrix4::from_diagonal(&unused),
        range,
        coefficients: degree + 1,
    }
}

fn best(model: &DesignModel, criterion: DesignCriterion, n: usize) -> Vec<f64> {
    let models = [model];
    let points = DesignProblem::new(&models, criterion).best(n, &DesignRule::default()).unwrap();
    points.into_iter().map(|place| grid()[place]).collect()
}

fn assert_places(found: &[f64], known: &[f64]) {
    assert_eq!(found.len(), known.len());
    assert!(found.iter().zip(known).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}, known {known:?}");
}

#[test]
fn polynomials_have_their_known_d_optimal_designs() {
    let fifth = 1.0 / 5f64.sqrt();
    for (degree, known) in [(1, vec![-1.0, 1.0]), (2, vec![-1.0, 0.0, 1.0]), (3, vec![-1.0, -fifth, fifth, 1.0])] {
        assert_places(&best(&polynomial(degree), DesignCriterion::D, degree + 1), &known);
        let twice: Vec<f64> = known.iter().flat_map(|x| [*x, *x]).collect();
        assert_places(&best(&polynomial(degree), DesignCriterion::D, 2 * (degree + 1)), &twice);
    }
}

#[test]
fn straight_lines_and_parabolas_have_their_known_i_optimal_designs() {
    assert_places(&best(&polynomial(1), DesignCriterion::I, 2), &[-1.0, 1.0]);
    // Half of the observations in the middle.
    assert_places(&best(&polynomial(2), DesignCriterion::I, 4), &[-1.0, 0.0, 0.0, 1.0]);
    assert_places(&best(&polynomial(2), DesignCriterion::I, 8), &[-1.0, -1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0]);
}

/// J. Kiefer and J. Wolfowitz, Canadian Journal of Mathematics 12 (1960) 363: a design is D-optimal exactly when the
/// variance of the fitted curve, times the number of observations, nowhere exceeds the number of coefficients.
#[test]
fn no_place_has_a_variance_above_that_of_the_design() {
    for degree in 1..=3 {
        let model = polynomial(degree);
        let models = [&model];
        let n = 3 * (degree + 1);
        let points = DesignProblem::new(&models, DesignCriterion::D).best(n, &DesignRule::default()).unwrap();
        // The leverage of a place in a design that it is added to for nothing: ask for the design and then the place.
        let everywhere = DesignModel { range: model.rows.iter().flatten().copied().collect(), ..model.clone() };
        let variances: Vec<f64> =
            everywhere.standard_errors(&points).unwrap().iter().map(|se| n as f64 * se * se).collect();
        let p = (degree + 1) as f64;
        let largest = variances.iter().copied().fold(0.0, f64::max);
        assert!((largest / p - 1.0).abs() < 1e-9, "degree {degree}: {largest}");
        for leverage in model.leverages(&points).unwrap() {
            assert!((n as f64 * leverage / p - 1.0).abs() < 1e-9, "equal at the points of the design: {leverage}");
        }
    }
}

#[test]
fn the_efficiency_of_even_steps_is_that_of_their_determinants() {
    let model = polynomial(3);
    let models = [&model];
    let problem = DesignProblem::new(&models, DesignCriterion::D);
    let points = problem.best(4, &DesignRule::default()).unwrap();
    let thirds: Vec<usize> = [-1.0, -1.0 / 3.0, 1.0 / 3.0, 1.0]
        .iter()
        .map(|x: &f64| {
            (0..grid().len()).min_by(|a, b| (grid()[*a] - x).abs().total_cmp(&(grid()[*b] - x).abs())).unwrap()
        })
        .collect();
    // Vandermonde's determinant is the product of the differences.
    let product = |x: &[f64]| -> f64 {
        (0..x.len()).flat_map(|i| (0..i).map(move |j| (i, j))).map(|(i, j)| x[i] - x[j]).product()
    };
    let at = |places: &[usize]| -> Vec<f64> { places.iter().map(|place| grid()[*place]).collect() };
    let known = (product(&at(&thirds)) / product(&at(&points))).abs().sqrt();
    let efficiency = problem.efficiency(&thirds, &points).unwrap();
    assert!((efficiency / known - 1.0).abs() < 1e-12 && known < 0.97, "{efficiency} {known}");
    assert_eq!(problem.efficiency(&points, &points), Some(1.0));
}

/// Small enough to look at every design.
#[test]
fn no_design_at_all_beats_the_best_one() {
    let mut rng = ChaCha8Rng::seed_from_u64(19);
    for trial in 0..30 {
        let mut draw = || Vector4::from_fn(|_, _| rng.random_range(-1.0..1.0));
        let rows: Vec<Option<Vector4<f64>>> = (0..8).map(|_| Some(draw())).collect();
        let range = (0..5).map(|_| draw()).collect();
        let prior = Matrix4::identity() * 0.01;
        let model = DesignModel { rows, prior, range, coefficients: 4 };
        let models = [&model];
        let rules = [DesignRule::default(), DesignRule { holds: Some(0), distinct: 4 }];
        for (criterion, rule) in
            [(DesignCriterion::D, rules[0]), (DesignCriterion::I, rules[0]), (DesignCriterion::I, rules[1])]
        {
            let problem = DesignProblem::new(&models, criterion);
            let points = problem.best(5, &rule).unwrap();
            let least = multisets(8, 5)
                .into_iter()
                .filter(|points| rule.distinct == 0 || (points.contains(&0) && distinct(points) >= 4))
                .map(|points| problem.cost(&points))
                .fold(f64::INFINITY, f64::min);
            let cost = problem.cost(&points);
            assert!(cost <= least + 1e-9 * least.abs(), "trial {trial}, {criterion}: {cost}, least {least}");
            assert!(rule.distinct == 0 || (points.contains(&0) && distinct(&points) >= 4));
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
    let models = [&model];
    assert_eq!(DesignProblem::new(&models, DesignCriterion::I).best(3, &DesignRule::default()), None);
    let known = DesignModel { prior: Matrix4::identity(), ..model.clone() };
    let models = [&known];
    assert_eq!(DesignProblem::new(&models, DesignCriterion::I).best(3, &DesignRule::default()).unwrap().len(), 3);
    assert_eq!(evenly(&[3, 4, 5, 6, 7], 3), [3, 5, 7]);
}
