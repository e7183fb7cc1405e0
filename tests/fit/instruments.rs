//! Instruments that were checked against standards, with published answers.

use crate::fit::linear::LinearSettings;
use crate::fit::mixed::{Column, Design, Random};
use serde_json::Value;

use super::{numbers, reference};

fn labels(value: &Value) -> Vec<String> {
    value.as_array().unwrap().iter().map(|x| x.as_str().unwrap().to_owned()).collect()
}

/// Standard deviation within groups, pooled: the residual one of a linear fit with an indicator per group.
fn within(groups: &[String], y: &[f64]) -> f64 {
    let mut names = groups.to_vec();
    names.sort();
    names.dedup();
    let columns: Vec<Vec<f64>> =
        names.iter().map(|name| groups.iter().map(|g| f64::from(u8::from(g == name))).collect()).collect();
    let named: Vec<(&str, &[f64])> = names.iter().map(String::as_str).zip(columns.iter().map(Vec::as_slice)).collect();
    let fit = LinearSettings { intercept: false }.fit(&named, y, None).unwrap();
    (fit.sum_of_squares / (y.len() - names.len()) as f64).sqrt()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Root of the mean of squares: the pooled standard deviation of groups of one size.
fn pooled(sds: &[f64]) -> f64 {
    let squares: Vec<f64> = sds.iter().map(|sd| sd * sd).collect();
    mean(&squares).sqrt()
}

#[test]
fn a_check_standard_within_and_between_days() {
    let all = reference("check_standards.json");
    let (data, right) = (&all["check_standard_137"], &all["published"]);
    let (means, sds) = (numbers(&data["mean"]), numbers(&data["sd"]));
    assert!((pooled(&sds) - right["s1"].as_f64().unwrap()).abs() < 0.5e-5);
    let between = LinearSettings::default().fit(&[], &means, None).unwrap();
    let df = means.len() - 1;
    assert!(
        ((between.sum_of_squares / df as f64).sqrt() - right["s2"].as_f64().unwrap()).abs() < 0.5e-5,
        "{between:?}"
    );
    assert_eq!((df as u64, 5 * sds.len() as u64), (24, right["s1_df"].as_u64().unwrap()));
}

#[test]
fn biases_of_five_probes_in_two_runs() {
    let all = reference("check_standards.json");
    let (data, right) = (&all["gauge"], &all["published"]);
    let probes = labels(&right["probe"]);
    let (of_wafer, of_probe, y) = (labels(&data["wafer"]), labels(&data["probe"]), numbers(&data["mean"]));
    for (run, key) in [(1.0, "bias_run1"), (2.0, "bias_run2")] {
        let rows: Vec<usize> = (0..y.len()).filter(|i| numbers(&data["run"])[*i] == run).collect();
        let n = rows.len();
        // Effects that sum to zero: the last probe is minus the sum of the others.
        let effect = |probe: &str| -> Vec<f64> {
            let value = |p: &str| f64::from(u8::from(p == probe)) - f64::from(u8::from(p == probes[4]));
            rows.iter().map(|i| value(&of_probe[*i])).collect()
        };
        let mut fixed = vec![Column::intercept(n)];
        fixed.extend(probes.iter().take(4).map(|p| Column::new(p.as_str(), &effect(p))));
        let response: Vec<f64> = rows.iter().map(|i| y[*i]).collect();
        let by = |of: &[String]| -> Vec<String> { rows.iter().map(|i| of[*i].clone()).collect() };
        let pairs: Vec<String> = rows.iter().map(|i| format!("{} {}", of_wafer[*i], of_probe[*i])).collect();
        let design = Design::new(&response, fixed)
            .random(Random::by_label("wafer", &by(&of_wafer), vec![Column::intercept(n)]))
            .random(Random::by_label("wafer and probe", &pairs, vec![Column::intercept(n)]));
        let fit = design.fit().unwrap();
        for (i, wanted) in numbers(&right[key]).into_iter().enumerate() {
            let weights: Vec<f64> = (0..5)
                .map(|j| if i == 4 { if j == 0 { 0.0 } else { -1.0 } } else { f64::from(u8::from(j == i + 1)) })
                .collect();
            let bias = fit.contrast(&weights, 0.9).unwrap();
            println!("run {run}, probe {}: {bias}; published {wanted}", probes[i]);
            assert!((bias.value - wanted).abs() < 1e-4, "run {run}, probe {}: {bias} for {wanted}", probes[i]);
        }
    }
}

#[test]
fn three_levels_of_five_probes() {
    let all = reference("check_standards.json");
    let (data, right) = (&all["gauge"], &all["computed"]);
    let (of_wafer, of_probe, y) = (labels(&data["wafer"]), labels(&data["probe"]), numbers(&data["mean"]));
    let (run, sds) = (numbers(&data["run"]), numbers(&data["sd"]));
    for (i, probe) in labels(&right["probe"]).iter().enumerate() {
        let rows = |wanted: f64| -> Vec<usize> {
            (0..y.len()).filter(|r| &of_probe[*r] == probe && run[*r] == wanted).collect()
        };
        let first = rows(1.0);
        let pick = |from: &[f64]| -> Vec<f64> { first.iter().map(|r| from[*r]).collect() };
        let wafers: Vec<String> = first.iter().map(|r| of_wafer[*r].clone()).collect();
        let (mut groups, mut means) = (Vec::new(), Vec::new());
        for of_run in [first.clone(), rows(2.0)] {
            let mut names = wafers.clone();
            names.dedup();
            for wafer in names {
                let values: Vec<f64> = of_run.iter().filter(|r| of_wafer[**r] == wafer).map(|r| y[*r]).collect();
                means.push(mean(&values));
                groups.push(wafer);
            }
        }
        let found = [pooled(&pick(&sds)), within(&wafers, &pick(&y)), within(&groups, &means)];
        for (found, key) in found.into_iter().zip(["level1", "level2", "level3"]) {
            let wanted = numbers(&right[key])[i];
            assert!((found - wanted).abs() < 0.55e-4, "probe {probe}, {key}: {found} for {wanted}");
        }
    }
}
