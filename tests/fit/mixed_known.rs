//! Mixed models with known errors and with crossed groupings.

use crate::fit::mixed::{Column, Design, MixedFit, Random};
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::{near, numbers, reference};

/// Units (intercepts and slopes) crossed with days and with operators, and errors that are known in part.
fn crossed(seed: u64) -> Design {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let (units, visits) = (6, 9);
    let n = units * visits;
    let (days, operators): (Vec<f64>, Vec<f64>) =
        ((0..9).map(|_| 0.4 * normal()).collect(), (0..4).map(|_| normal()).collect());
    let (mut y, mut age, mut unit, mut day, mut operator, mut known) = (vec![], vec![], vec![], vec![], vec![], vec![]);
    for u in 0..units {
        let (a, b) = (1.2 * normal(), 0.4 * normal());
        for (v, today) in days.iter().enumerate() {
            let t = (v as f64) * 0.7 + 0.1 * u as f64;
            let who = (u * 3 + v * v) % 4;
            age.push(t);
            unit.push(format!("u{u}"));
            day.push(format!("d{v}"));
            operator.push(format!("o{who}"));
            y.push(5.0 + 0.2 * t + a + b * t + today + operators[who] + 0.5 * normal());
        }
        known.extend((0..visits).map(|i| 0.05 + 0.01 * i as f64));
    }
    let columns = vec![Column::intercept(n), Column::new("age", &age)];
    let alone = || vec![Column::intercept(n)];
    let mut design = Design::new(&y, columns.clone())
        .random(Random::by_label("unit", &unit, columns))
        .random(Random::by_label("day", &day, alone()))
        .random(Random::by_label("operator", &operator, alone()));
    design.known = known;
    design
}

/// The same model with dense matrices: one covariance per grouping and the residual standard deviation.
struct Dense {
    x: DMatrix<f64>,
    y: DVector<f64>,
    z: Vec<DMatrix<f64>>,
    known: DMatrix<f64>,
}

impl Dense {
    fn new(design: &Design) -> Self {
        let n = design.response.len();
        let x = DMatrix::from_fn(n, design.fixed.len(), |i, j| design.fixed[j].values[i]);
        let of = |r: &Random| {
            let q = r.columns.len();
            DMatrix::from_fn(n, q * r.levels.len(), |i, j| {
                if r.level_of_row[i] == j / q { r.columns[j % q].values[i] } else { 0.0 }
            })
        };
        let known = DMatrix::from_diagonal(&DVector::from_column_slice(&design.known));
        let z = design.random.iter().map(of).collect();
        Self { x, y: DVector::from_column_slice(&design.response), z, known }
    }

    fn big(&self, g: &[DMatrix<f64>], k: usize) -> DMatrix<f64> {
        let q = g[k].nrows();
        let size = self.z[k].ncols();
        DMatrix::from_fn(size, size, |i, j| if i / q == j / q { g[k][(i % q, j % q)] } else { 0.0 })
    }

    /// Restricted log-likelihood, coefficients, their covariance.
    fn solve(&self, g: &[DMatrix<f64>], sigma: f64) -> (f64, DVector<f64>, DMatrix<f64>) {
        let n = self.y.len();
        let mut v = self.known.clone() + DMatrix::identity(n, n) * (sigma * sigma);
        for k in 0..g.len() {
            v += &self.z[k] * self.big(g, k) * self.z[k].transpose();
        }
        let ln_det = |m: &DMatrix<f64>| 2.0 * m.clone().cholesky().unwrap().l().diagonal().map(f64::ln).sum();
        let inverse = v.clone().try_inverse().unwrap();
        let information = self.x.transpose() * &inverse * &self.x;
        let phi = information.clone().try_inverse().unwrap();
        let b = &phi * self.x.transpose() * &inverse * &self.y;
        let left = &self.y - &self.x * &b;
        let squares = (left.transpose() * &inverse * &left)[0];
        let df = (n - b.len()) as f64;
        let two_pi = 2.0 * std::f64::consts::PI;
        (-0.5 * (ln_det(&v) + ln_det(&information) + squares + df * two_pi.ln()), b, phi)
    }
}

fn spreads(fit: &MixedFit) -> (Vec<DMatrix<f64>>, f64) {
    let of = |sds: &Vec<f64>| DMatrix::from_diagonal(&DVector::from_iterator(sds.len(), sds.iter().map(|sd| sd * sd)));
    (fit.spreads.iter().map(of).collect(), fit.residual_sd)
}

#[test]
fn known_errors_and_crossed_groupings_agree_with_dense_formulas() {
    for seed in 1..=5 {
        let design = crossed(seed);
        let fit = design.fit().unwrap();
        let dense = Dense::new(&design);
        let (g, sigma) = spreads(&fit);
        let (ln, b, phi) = dense.solve(&g, sigma);
        assert!((fit.log_likelihood - ln).abs() < 1e-8, "{} {ln}", fit.log_likelihood);
        for i in 0..2 {
            near(fit.coefficients[i], b[i], 1e-8);
            near(fit.covariance[(i, i)], phi[(i, i)], 1e-8);
        }
        // Nothing near it is likelier.
        for (i, j, k) in [(0, 0, 0), (1, 1, 0), (0, 0, 1), (0, 0, 2)] {
            for factor in [0.97, 1.03] {
                let mut other = g.clone();
                other[k][(i, j)] *= factor;
                other[k][(j, i)] = other[k][(i, j)];
                if other[k].clone().determinant() > 0.0 {
                    assert!(dense.solve(&other, sigma).0 <= ln + 1e-9);
                }
            }
        }
        for factor in [0.98, 1.02] {
            assert!(dense.solve(&g, factor * sigma).0 <= ln + 1e-9);
        }
        let (se, df) = fit.se_and_df(&[0.0, 1.0]).unwrap();
        assert!(se > 0.0 && df > 1.0 && df < 60.0, "{df}");
    }
}

#[test]
fn pooling_is_a_mixed_model_with_known_errors() {
    for set in reference("pooling.json")["sets"].as_array().unwrap() {
        let y = numbers(&set["yi"]);
        let labels: Vec<String> = (0..y.len()).map(|i| format!("study {i:03}")).collect();
        let ones = || vec![Column::intercept(y.len())];
        let mut design = Design::new(&y, ones()).random(Random::by_label("study", &labels, ones()));
        design.known = numbers(&set["vi"]);
        design.residual_sd = Some(0.0);
        let fit = design.fit().unwrap();
        let right = &set["fits"]["REML"]["normal"];
        let at = |key: &str| numbers(&right[key])[0];
        let tau2 = fit.spreads[0][0].powi(2);
        assert!((tau2 - at("tau2")).abs() <= 1e-6 * at("tau2"), "{} {tau2} {}", set["id"], at("tau2"));
        assert_eq!(tau2 == 0.0, at("tau2") == 0.0);
        near(fit.coefficients[0], at("beta"), 1e-6);
        near(fit.covariance[(0, 0)].sqrt(), at("se"), 1e-6);
    }
}
