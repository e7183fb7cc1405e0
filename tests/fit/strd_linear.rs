//! The linear problems of the NIST Statistical Reference Datasets.

use crate::fit::linear::{LinearFit, LinearSettings};
use serde_json::Value;

use super::{fewest_digits, numbers, reference};

fn fit(problem: &Value) -> (LinearFit, f64) {
    let data = problem["data"].as_object().unwrap();
    let y = numbers(&data["y"]);
    let intercept = problem["intercept"].as_bool().unwrap();
    let terms = problem["n_par"].as_u64().unwrap() as usize - usize::from(intercept);
    let columns: Vec<(String, Vec<f64>)> = match data.get("x") {
        Some(x) => {
            let x = numbers(x);
            (1..=terms as i32).map(|k| (format!("x{k}"), x.iter().map(|x| x.powi(k)).collect())).collect()
        }
        None => (1..=terms).map(|k| (format!("x{k}"), numbers(&data[&format!("x{k}")]))).collect(),
    };
    let columns: Vec<(&str, &[f64])> = columns.iter().map(|(name, x)| (name.as_str(), x.as_slice())).collect();
    let fit = LinearSettings { intercept }.fit(&columns, &y, None).unwrap();
    let df = (y.len() - fit.names.len()) as f64;
    (fit, df)
}

fn errors(fit: &LinearFit, df: f64) -> Vec<f64> {
    (0..fit.names.len()).map(|i| (fit.covariance[[i, i]] * fit.sum_of_squares / df).sqrt()).collect()
}

#[test]
fn all_eleven_to_the_digits_they_allow() {
    // Fewest digits of coefficients and of standard errors that each data set must reach.
    let floor = |name: &str| match name {
        "Filip" => (6.0, 6.0),
        "Longley" => (12.0, 11.0),
        "Wampler1" | "Wampler2" => (9.0, 0.0), // exact fits: no standard errors to compare
        "Wampler3" | "Wampler4" | "Wampler5" => (9.0, 9.0),
        _ => (12.0, 12.0),
    };
    let mut failures = Vec::new();
    for problem in reference("strd_linear.json")["problems"].as_array().unwrap() {
        let name = problem["name"].as_str().unwrap();
        let (fit, df) = fit(problem);
        let coefficients = fewest_digits(&fit.coefficients, &numbers(&problem["par"]));
        let errors = fewest_digits(&errors(&fit, df), &numbers(&problem["sd"]));
        println!("{name:10} coefficients {coefficients:5.1}  standard errors {errors:5.1}");
        let (least, least_se) = floor(name);
        if coefficients < least || errors < least_se {
            failures.push(format!("{name}: {coefficients:.1} and {errors:.1} digits"));
        }
        assert_eq!(df, problem["df"].as_f64().unwrap());
    }
    assert!(failures.is_empty(), "{failures:#?}");
}
