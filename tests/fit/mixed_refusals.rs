//! What mixed models refuse, and what lies on the edge of what it may be.

use crate::fit::mixed::{Column, Design, Random};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::{near, numbers, reference};

#[test]
fn what_the_data_cannot_tell_is_refused_or_flagged() {
    for set in reference("boundary.json")["sets"].as_array().unwrap() {
        let id = set["id"].as_str().unwrap();
        let y = numbers(&set["y"]);
        let labels = || -> Vec<&str> { set["group"].as_array().unwrap().iter().map(|g| g.as_str().unwrap()).collect() };
        let ones = || vec![Column::intercept(y.len())];
        let fit = |design: &Design| design.fit();
        match id {
            "one_obs_per_group" | "one_group" => {
                let why =
                    fit(&Design::new(&y, ones()).random(Random::by_label("group", &labels(), ones()))).unwrap_err();
                let words = if id == "one_group" { "one level only" } else { "through their sum only" };
                assert!(why.is_not_estimable() && why.to_string().contains(words), "{why}");
            }
            "zero_variance" => {
                let design = Design::new(&y, ones()).random(Random::by_label("group", &labels(), ones()));
                let fit = design.fit().unwrap();
                assert_eq!(fit.spreads[0][0], 0.0);
                near(fit.coefficients[0], set["mean"].as_f64().unwrap(), 1e-12);
                near(fit.residual_sd, set["sigma_reml"].as_f64().unwrap(), 1e-9);
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
        let fit = design.fit().unwrap();
        let (se, df) = fit.se_and_df(&[1.0, 0.0]).unwrap();
        match fit.contrast(&[1.0, 0.0], 0.9) {
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
