//! Mixed models with known errors and priors, crossed groupings, refusals and boundaries.

use heelwort::fit::mixed::{
    BootstrapSettings, Boundary, Column, Criterion, Design, Df, KnownErrors, MixedFit, MixedSettings,
    PredictionSettings, Random, Residual, Spread,
};
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::mixed::{simulated, with_truth};
use super::{near, numbers, reference};

/// Units (intercepts and slopes) crossed with days of known spread and with operators, and errors that are known in blocks of
/// one unit each.
fn crossed(seed: u64) -> Design {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let (units, visits) = (6, 9);
    let n = units * visits;
    let (days, operators): (Vec<f64>, Vec<f64>) =
        ((0..9).map(|_| 0.4 * normal()).collect(), (0..4).map(|_| normal()).collect());
    let (mut y, mut age, mut unit, mut day, mut operator, mut blocks) =
        (vec![], vec![], vec![], vec![], vec![], vec![]);
    for u in 0..units {
        let (a, b) = (1.2 * normal(), 0.4 * normal());
        let start = y.len();
        for (v, today) in days.iter().enumerate() {
            let t = (v as f64) * 0.7 + 0.1 * u as f64;
            let who = (u * 3 + v * v) % 4;
            age.push(t);
            unit.push(format!("u{u}"));
            day.push(format!("d{v}"));
            operator.push(format!("o{who}"));
            y.push(5.0 + 0.2 * t + a + b * t + today + operators[who] + 0.5 * normal());
        }
        // A curve's error: the more, the later.
        let along = DVector::from_fn(visits, |i, _| 0.2 + 0.1 * age[start + i]);
        let own = DMatrix::from_fn(visits, visits, |i, j| if i == j { 0.05 + 0.01 * i as f64 } else { 0.0 });
        blocks.push(((start..start + visits).collect(), &along * along.transpose() + own));
    }
    let columns = vec![Column::intercept(n), Column::new("age", &age)];
    let alone = || vec![Column::intercept(n)];
    let mut design = Design::new(&y, columns.clone())
        .random(Random::by_label("unit", &unit, columns))
        .random(Random::by_label("day", &day, alone()).spread(Spread::Known(vec![0.4])))
        .random(Random::by_label("operator", &operator, alone()));
    design.known = KnownErrors::Blocks(blocks);
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
        let mut known = DMatrix::zeros(n, n);
        match &design.known {
            KnownErrors::None => {}
            KnownErrors::Variances(v) => (0..n).for_each(|i| known[(i, i)] = v[i]),
            KnownErrors::Blocks(blocks) => {
                for (rows, block) in blocks {
                    for (i, a) in rows.iter().enumerate() {
                        for (j, b) in rows.iter().enumerate() {
                            known[(*a, *b)] = block[(i, j)];
                        }
                    }
                }
            }
        }
        let z = design.random.iter().map(of).collect();
        Self { x, y: DVector::from_column_slice(&design.response), z, known }
    }

    fn big(&self, g: &[DMatrix<f64>], k: usize) -> DMatrix<f64> {
        let q = g[k].nrows();
        let size = self.z[k].ncols();
        DMatrix::from_fn(size, size, |i, j| if i / q == j / q { g[k][(i % q, j % q)] } else { 0.0 })
    }

    /// Restricted log-likelihood, coefficients, their covariance, V^-1.
    fn solve(&self, g: &[DMatrix<f64>], sigma: f64) -> (f64, DVector<f64>, DMatrix<f64>, DMatrix<f64>) {
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
        (-0.5 * (ln_det(&v) + ln_det(&information) + squares + df * two_pi.ln()), b, phi, inverse)
    }
}

fn spreads(fit: &MixedFit) -> (Vec<DMatrix<f64>>, f64) {
    let at = |name: &str| fit.component(name).unwrap().variance;
    let cross = at("correlation of intercept and age by unit");
    let unit = DMatrix::from_row_slice(2, 2, &[at("sd of intercept by unit"), cross, cross, at("sd of age by unit")]);
    let day = DMatrix::from_element(1, 1, at("sd of intercept by day"));
    let operator = DMatrix::from_element(1, 1, at("sd of intercept by operator"));
    (vec![unit, day, operator], fit.component("residual sd").unwrap().value)
}

#[test]
fn known_blocks_priors_and_crossed_groupings_agree_with_dense_formulas() {
    for seed in 1..=5 {
        let design = crossed(seed);
        let fit = MixedSettings::default().fit(&design).unwrap();
        let dense = Dense::new(&design);
        let (g, sigma) = spreads(&fit);
        assert!((g[1][0].sqrt() - 0.4).abs() < 1e-12 && fit.component("sd of intercept by day").unwrap().held);
        let (ln, b, phi, inverse) = dense.solve(&g, sigma);
        assert!((fit.log_likelihood - ln).abs() < 1e-8, "{} {ln}", fit.log_likelihood);
        for i in 0..2 {
            near(fit.coefficients[i], b[i], 1e-8);
            near(fit.covariance[(i, i)], phi[(i, i)], 1e-8);
        }
        let left = &dense.y - &dense.x * &b;
        let project = &inverse - &inverse * &dense.x * &phi * dense.x.transpose() * &inverse;
        for k in 0..3 {
            let big = dense.big(&g, k);
            let load = &dense.z[k] * &big;
            let u = load.transpose() * &inverse * &left;
            let error = &big - load.transpose() * &project * &load;
            let given = &big - load.transpose() * &inverse * &load;
            let with_fixed = -(load.transpose() * &inverse * &dense.x * &phi);
            let q = g[k].nrows();
            for (level, effects) in fit.effects[k].iter().enumerate() {
                for c in 0..q {
                    let at = level * q + c;
                    assert!((effects.values[c] - u[at]).abs() < 1e-8);
                    assert!((effects.prediction[(c, c)] - error[(at, at)]).abs() < 1e-8);
                    assert!((effects.conditional[(c, c)] - given[(at, at)]).abs() < 1e-8);
                    assert!((effects.with_fixed[(c, 1)] - with_fixed[(at, 1)]).abs() < 1e-8);
                }
            }
        }
        // Nothing near it is likelier.
        for (i, j, k) in [(0, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 2)] {
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
        // All methods give some degrees of freedom, and no more than the rows have.
        for df in [Df::KenwardRoger, Df::Satterthwaite] {
            let fit = MixedSettings { df, ..MixedSettings::default() }.fit(&design).unwrap();
            let (se, df) = fit.se_and_df(&[0.0, 1.0]).unwrap();
            assert!(se > 0.0 && df > 1.0 && df < 60.0, "{df}");
        }
    }
}

#[test]
fn variances_and_blocks_of_one_row_are_the_same() {
    let mut one = crossed(7);
    let n = one.response.len();
    let variances: Vec<f64> = (0..n).map(|i| 0.05 + 0.002 * i as f64).collect();
    let mut other = one.clone();
    other.known = KnownErrors::Blocks(
        variances.iter().enumerate().map(|(i, v)| (vec![i], DMatrix::from_element(1, 1, *v))).collect(),
    );
    one.known = KnownErrors::Variances(variances);
    let (a, b) = (MixedSettings::default().fit(&one).unwrap(), MixedSettings::default().fit(&other).unwrap());
    assert!((a.log_likelihood - b.log_likelihood).abs() < 1e-9);
    near(a.coefficients[1], b.coefficients[1], 1e-9);
}

#[test]
fn pooling_is_a_mixed_model_with_known_errors() {
    for set in reference("pooling.json")["sets"].as_array().unwrap() {
        let y = numbers(&set["yi"]);
        let labels: Vec<String> = (0..y.len()).map(|i| format!("study {i:03}")).collect();
        let ones = || vec![Column::intercept(y.len())];
        let mut design = Design::new(&y, ones()).random(Random::by_label("study", &labels, ones()));
        design.known = KnownErrors::Variances(numbers(&set["vi"]));
        design.residual = Residual::Held(0.0);
        let fit = MixedSettings { df: Df::Normal, ..MixedSettings::default() }.fit(&design).unwrap();
        let right = &set["fits"]["REML"]["normal"];
        let at = |key: &str| numbers(&right[key])[0];
        let tau2 = fit.component("sd of intercept by study").unwrap().variance;
        assert!((tau2 - at("tau2")).abs() <= 1e-6 * at("tau2"), "{} {tau2} {}", set["id"], at("tau2"));
        assert_eq!(tau2 == 0.0, at("tau2") == 0.0);
        near(fit.coefficients[0], at("beta"), 1e-6);
        near(fit.se_and_df(&[1.0]).unwrap().0, at("se"), 1e-6);
    }
}

#[test]
fn what_the_data_cannot_tell_is_refused_or_flagged() {
    for set in reference("boundary.json")["sets"].as_array().unwrap() {
        let id = set["id"].as_str().unwrap();
        let y = numbers(&set["y"]);
        let labels = || -> Vec<&str> { set["group"].as_array().unwrap().iter().map(|g| g.as_str().unwrap()).collect() };
        let ones = || vec![Column::intercept(y.len())];
        let fit = |design: &Design| MixedSettings::default().fit(design);
        match id {
            "one_obs_per_group" | "one_group" => {
                let why =
                    fit(&Design::new(&y, ones()).random(Random::by_label("group", &labels(), ones()))).unwrap_err();
                let words = if id == "one_group" { "one level only" } else { "through their sum only" };
                assert!(why.is_not_estimable() && why.to_string().contains(words), "{why}");
            }
            "zero_variance" => {
                for (criterion, df) in [(Criterion::Reml, Df::KenwardRoger), (Criterion::Ml, Df::Satterthwaite)] {
                    let design = Design::new(&y, ones()).random(Random::by_label("group", &labels(), ones()));
                    let fit = MixedSettings { criterion, df }.fit(&design).unwrap();
                    assert_eq!(fit.component("sd of intercept by group").unwrap().value, 0.0);
                    let (column, grouping) = ("intercept".to_owned(), "group".to_owned());
                    assert_eq!(fit.boundary, [Boundary::Variance { column, grouping }]);
                    assert!(fit.to_string().contains("on the boundary: the variance"));
                    near(fit.coefficients[0], set["mean"].as_f64().unwrap(), 1e-12);
                    if criterion == Criterion::Reml {
                        near(fit.component("residual sd").unwrap().value, set["sigma_reml"].as_f64().unwrap(), 1e-9);
                    }
                    assert!(fit.effects[0].iter().all(|e| e.values[0] == 0.0 && e.prediction[0] == 0.0));
                }
            }
            "rank_deficient_fixed" => {
                let (x1, x2) = (numbers(&set["x1"]), numbers(&set["x2"]));
                let why = fit(&Design::new(&y, vec![Column::new("x1", &x1), Column::new("x2", &x2)])).unwrap_err();
                assert!(why.to_string().contains("`x2`") && why.to_string().contains("`x1`"), "{why}");
            }
            "perfect_fit" => {
                let columns = vec![Column::intercept(4), Column::new("x", &numbers(&set["x"]))];
                let why = fit(&Design::new(&y, columns)).unwrap_err();
                assert!(why.is_not_estimable() && why.to_string().contains("exactly"), "{why}");
            }
            other => panic!("{other}"),
        }
    }
}

#[test]
fn a_correlation_of_one_is_flagged() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let times: Vec<f64> = (0..6).map(f64::from).collect();
    let mut seen = 0;
    for _ in 0..20 {
        let fit = MixedSettings::default().fit(&simulated(10, &times, 0.08, 1.0, &mut rng)).unwrap();
        let rho = fit.component("correlation of intercept and age by unit").unwrap().value;
        let flagged = fit
            .boundary
            .iter()
            .any(|b| matches!(b, Boundary::Correlation { columns, .. } if *columns == ["intercept", "age"]));
        assert_eq!(flagged, rho.abs() > 1.0 - 1e-9, "{rho} {:?}", fit.boundary);
        assert!(fit.converged);
        seen += usize::from(flagged);
    }
    assert!(seen > 3, "{seen}");
}

#[test]
fn an_interval_without_degrees_of_freedom_is_refused() {
    let mut rng = ChaCha8Rng::seed_from_u64(21);
    let (mut given, mut refused) = (0, 0);
    for _ in 0..200 {
        let (mut y, mut ages, mut of) = (Vec::new(), Vec::new(), Vec::new());
        for (unit, rows) in [("long", 60), ("short", 7)] {
            let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
            let (a, b) = (0.3 * normal(), normal());
            for row in 0..rows {
                let age = 5.0 * f64::from(row) / f64::from(rows);
                ages.push(age);
                of.push(unit);
                y.push(2.0 + a + (0.3 + b) * age + 0.7 * normal());
            }
        }
        let columns = vec![Column::intercept(y.len()), Column::new("age", &ages)];
        let design = Design::new(&y, columns.clone()).random(Random::by_label("unit", &of, columns));
        let fit = MixedSettings::default().fit(&design).unwrap();
        let (se, df) = fit.se_and_df(&[1.0, 0.0]).unwrap();
        match fit.estimate("intercept", 0.9) {
            Ok(e) => {
                assert!(df >= 0.1 && e.upper - e.lower < 1e12 * se, "{df} {e}");
                given += 1;
            }
            Err(why) => {
                assert!(df < 0.1 && why.to_string().contains("degrees of freedom"), "{df} {why}");
                refused += 1;
            }
        }
    }
    assert!(given > 100 && refused > 10, "{given} {refused}");
}

#[test]
fn answers_know_no_units_and_no_order_of_rows() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let times: Vec<f64> = (0..7).map(f64::from).collect();
    let design = simulated(9, &times, 0.2, 0.3, &mut rng);
    let n = design.response.len();
    let fit = MixedSettings::default().fit(&design).unwrap();
    let order: Vec<usize> = (0..n).map(|i| (i * 29 + 5) % n).collect();
    let pick = |x: &[f64], by: f64| -> Vec<f64> { order.iter().map(|i| x[*i] * by).collect() };
    let columns = vec![Column::intercept(n), Column::new("age", &pick(&design.fixed[1].values, 365.0))];
    let labels: Vec<&String> =
        order.iter().map(|i| &design.random[0].levels[design.random[0].level_of_row[*i]]).collect();
    let other =
        Design::new(&pick(&design.response, 1e-3), columns.clone()).random(Random::by_label("unit", &labels, columns));
    let other = MixedSettings::default().fit(&other).unwrap();
    for (a, b) in fit.components.iter().zip(&other.components) {
        let by = if a.name.contains("correlation") {
            1.0
        } else if a.name.contains("age") {
            1e-3 / 365.0
        } else {
            1e-3
        };
        near(b.value, a.value * by, 1e-6);
    }
    let (a, b) = (fit.estimate("age", 0.9).unwrap(), other.estimate("age", 0.9).unwrap());
    near(b.value, a.value * 1e-3 / 365.0, 1e-8);
    near(b.lower, a.lower * 1e-3 / 365.0, 1e-5);
    let settings = PredictionSettings { draws: 30, ..PredictionSettings::default() };
    for (a, b) in fit.predictions(&settings).unwrap().iter().zip(&other.predictions(&settings).unwrap()) {
        let by = if a.column == "age" { 1e-3 / 365.0 } else { 1e-3 };
        assert_eq!((&a.level, &a.column), (&b.level, &b.column));
        let (a, b) = (a.total.as_ref().unwrap(), b.total.as_ref().unwrap());
        // The same draws but for rounding on the way to them.
        near(b.se, a.se * by, 1e-3);
        near(b.upper - b.lower, (a.upper - a.lower) * by, 1e-3);
    }
}

#[test]
fn the_bootstrap_agrees_with_the_formulas_where_both_hold() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let times: Vec<f64> = (0..8).map(f64::from).collect();
    let fit = MixedSettings::default().fit(&simulated(30, &times, 0.3, 0.2, &mut rng)).unwrap();
    let settings = BootstrapSettings { resamples: 400, ..BootstrapSettings::default() };
    let boot = fit.bootstrap(&settings).unwrap();
    assert_eq!((boot.fitted, boot.failed), (400, 0));
    for (name, estimate) in &boot.fixed {
        let formula = fit.estimate(name, 0.9).unwrap();
        // The standard deviation of 400 draws is known to 3.5 %.
        near(estimate.se, formula.se, 0.12);
        assert!((estimate.lower - formula.lower).abs() < 0.4 * formula.se, "{name}: {estimate} and {formula}");
    }
    for (profiled, (name, estimate)) in fit.profile(0.9).unwrap().iter().zip(&boot.components) {
        assert_eq!(&profiled.component.name, name);
        let profile = profiled.finding.estimate().unwrap();
        near(estimate.se, profile.se, 0.3);
    }
    assert_eq!(boot, fit.bootstrap(&settings).unwrap());
    let few = BootstrapSettings { resamples: 3, ..settings };
    assert!(fit.bootstrap(&few).unwrap_err().to_string().contains("resamples"));
}

/// Share of 90 % intervals that hold the truth: of the mean slope, and of each unit's own, over simulated fleets of eight.
#[test]
fn intervals_of_a_small_fleet_cover() {
    let times: Vec<f64> = (0..12).map(|i| 0.5 * f64::from(i)).collect();
    let fleets = 400;
    let mut rng = ChaCha8Rng::seed_from_u64(12);
    let mut covered = [0_usize; 3];
    for _ in 0..fleets {
        let design = simulated(8, &times, 0.15, 0.0, &mut rng);
        for (i, df) in [Df::KenwardRoger, Df::Satterthwaite, Df::Normal].into_iter().enumerate() {
            let fit = MixedSettings { df, ..MixedSettings::default() }.fit(&design).unwrap();
            let slope = fit.estimate("age", 0.9).unwrap();
            covered[i] += usize::from(slope.lower <= 0.3 && 0.3 <= slope.upper);
        }
    }
    let share = covered.map(|c| c as f64 / fleets as f64);
    println!(
        "90 % intervals of the mean slope cover: Kenward-Roger {}, Satterthwaite {}, normal {}",
        share[0], share[1], share[2]
    );
    let error = (0.9_f64 * 0.1 / fleets as f64).sqrt();
    assert!((share[0] - 0.9).abs() < 3.0 * error && (share[1] - 0.9).abs() < 3.0 * error, "{share:?}");
}

#[test]
fn predictions_shrink_towards_the_mean_and_allow_for_the_variances() {
    let mut rng = ChaCha8Rng::seed_from_u64(21);
    let times: Vec<f64> = (0..8).map(f64::from).collect();
    let fit = MixedSettings::default().fit(&simulated(40, &times, 0.3, 0.0, &mut rng)).unwrap();
    let found = fit.predictions(&PredictionSettings::default()).unwrap();
    assert_eq!(found.len(), 80);
    // With forty units the variances are known well, and averaging over them changes little.
    for predicted in &found {
        let random = &fit.design.random[0];
        let level = random.levels.iter().position(|l| *l == predicted.level).unwrap();
        let column = random.columns.iter().position(|c| c.name == predicted.column).unwrap();
        let plain = &fit.effects[0][level];
        let se = plain.prediction[(column, column)].sqrt();
        assert!((predicted.effect.value - plain.values[column]).abs() < 0.3 * se);
        assert!(predicted.effect.se > 0.95 * se && predicted.effect.se < 1.2 * se, "{} {se}", predicted.effect);
    }
    // With a variance estimated as 0 they do not all lie on one line.
    let flat =
        (0..).map(|_| simulated(5, &times, 0.0, 0.0, &mut rng)).map(|d| MixedSettings::default().fit(&d).unwrap());
    let flat = flat.into_iter().find(|fit| fit.component("sd of age by unit").unwrap().value < 1e-3).unwrap();
    for predicted in flat.predictions(&PredictionSettings::default()).unwrap().iter().filter(|p| p.column == "age") {
        assert!(predicted.effect.upper - predicted.effect.lower > 0.02, "{}", predicted.effect);
    }
}

/// Share of 90 % intervals of each unit's own slope that hold it, over fleets of several sizes; the Monte Carlo error is that of
/// fleets, as units of one fleet share their mean.
#[test]
#[ignore = "long simulation, run in release by .ci/run"]
fn predictions_cover() {
    for (units, rows, slope_sd) in [(8, 12, 0.15), (8, 12, 0.5), (20, 12, 0.15), (5, 12, 0.3)] {
        let mut rng = ChaCha8Rng::seed_from_u64(31);
        let times: Vec<f64> = (0..rows).map(|i| 6.0 * f64::from(i) / f64::from(rows)).collect();
        let fleets = 300;
        let shares: Vec<f64> = (0..fleets)
            .map(|_| {
                let (design, slopes) = with_truth(units, &times, slope_sd, &mut rng);
                let fit = MixedSettings { df: Df::Normal, ..MixedSettings::default() }.fit(&design).unwrap();
                let found = fit.predictions(&PredictionSettings::default()).unwrap();
                let own = found.iter().filter(|p| p.column == "age").map(|p| p.total.clone().unwrap());
                let covered = own.zip(&slopes).filter(|(e, truth)| e.lower <= **truth && **truth <= e.upper).count();
                covered as f64 / slopes.len() as f64
            })
            .collect();
        let mean = shares.iter().sum::<f64>() / f64::from(fleets);
        let variance = shares.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / f64::from(fleets - 1);
        let error = (variance / f64::from(fleets)).sqrt();
        println!("{units} units, {rows} rows, slope sd {slope_sd}: own slopes covered {mean:.3} +- {error:.3}");
        assert!((mean - 0.9).abs() < 0.03 + 2.0 * error, "{units} units: {mean}");
    }
}

#[test]
fn slopes_on_columns_far_from_zero_are_the_same() {
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    let times: Vec<f64> = (0..9).map(f64::from).collect();
    for _ in 0..5 {
        let design = simulated(7, &times, 0.3, 0.4, &mut rng);
        let mut far = design.clone();
        for column in far.fixed.iter_mut().chain(&mut far.random[0].columns).filter(|c| c.name == "age") {
            column.values.iter_mut().for_each(|t| *t += 1976.0);
        }
        let (near_zero, far) =
            (MixedSettings::default().fit(&design).unwrap(), MixedSettings::default().fit(&far).unwrap());
        assert!(far.converged && (near_zero.log_likelihood - far.log_likelihood).abs() < 1e-6);
        let at = |fit: &MixedFit| fit.component("sd of age by unit").unwrap().value;
        near(at(&far), at(&near_zero), 1e-4);
        near(far.coefficients[1], near_zero.coefficients[1], 1e-5);
        near(far.se_and_df(&[0.0, 1.0]).unwrap().1, near_zero.se_and_df(&[0.0, 1.0]).unwrap().1, 1e-3);
    }
}
