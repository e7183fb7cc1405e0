//! The 27 nonlinear problems of the NIST Statistical Reference Datasets, from both of their starts.

use crate::fit::nonlinear::{NonlinearFit, NonlinearSettings, Parameter, Residuals};
use ndarray::Array2;
use serde_json::Value;

use super::points::numeric_jacobian;
use super::strd_models::Problem;
use super::{fewest_digits, numbers, reference};

fn fit(problem: &Value, start: &str) -> NonlinearFit {
    let parameters: Vec<Parameter> = numbers(&problem[start])
        .into_iter()
        .enumerate()
        .map(|(i, value)| Parameter::new(format!("b{}", i + 1), value))
        .collect();
    let model = Problem::new(problem);
    NonlinearSettings::default().fit(&model, &parameters).unwrap()
}

#[test]
fn the_models_have_right_derivatives() {
    for problem in reference("strd_nonlinear.json")["problems"].as_array().unwrap() {
        let model = Problem::new(problem);
        let par = numbers(&problem["par"]);
        let mut analytic = Array2::zeros((model.count(), par.len()));
        model.jacobian(&par, analytic.view_mut()).unwrap();
        let numeric = numeric_jacobian(&model, &par);
        for j in 0..par.len() {
            let norm = analytic.column(j).iter().map(|x| x * x).sum::<f64>().sqrt();
            let off = (&analytic.column(j) - &numeric.column(j)).iter().map(|x| x * x).sum::<f64>().sqrt();
            assert!(off < 1e-6 * norm, "{} b{}: {off:e} of {norm:e}", model.name, j + 1);
        }
    }
}

#[test]
fn all_27_from_both_starts() {
    let mut failures = Vec::new();
    for problem in reference("strd_nonlinear.json")["problems"].as_array().unwrap() {
        let name = problem["name"].as_str().unwrap();
        for start in ["start1", "start2"] {
            let fit = fit(problem, start);
            let par = fewest_digits(&fit.values(), &numbers(&problem["par"]));
            let errors: Vec<f64> = (0..fit.values().len())
                .map(|i| (fit.covariance[[i, i]] * fit.sum_of_squares / fit.df).sqrt())
                .collect();
            let se = fewest_digits(&errors, &numbers(&problem["sd"]));
            println!("{name:9} {start} parameters {par:5.1}  errors {se:5.1}  {}", fit.stop);
            let wanted_se = if name == "Lanczos1" { 0.0 } else { 4.0 };
            if par < 6.0 || se < wanted_se || !fit.stop.is_converged() {
                failures.push(format!("{name} {start}: {par:.1} and {se:.1} digits, {}, {:?}", fit.stop, fit.values()));
            }
        }
    }
    assert!(failures.is_empty(), "{failures:#?}");
}
