//! Instruments that were checked against standards, with published answers.

use heelwort::fit::Likelihood;
use heelwort::fit::autocorrelation::AutocorrelationSettings;
use heelwort::fit::linear::LinearSettings;
use heelwort::fit::mixed::{Column, Design, Random};
use heelwort::fit::quantile::student_t_two_sided;
use ndarray::Array2;
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
    LinearSettings { intercept: false, ..LinearSettings::default() }.fit(&named, y, None).unwrap().sigma
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
    assert!((between.sigma - right["s2"].as_f64().unwrap()).abs() < 0.5e-5, "{between:?}");
    assert_eq!((between.df as u64, 5 * sds.len() as u64), (24, right["s1_df"].as_u64().unwrap()));
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

/// Twelve and a half years of one check standard on one balance: no answer is published. A step at the best time and a straight
/// drift are set side by side; errors follow one another.
#[test]
fn a_balance_steps_or_drifts() {
    let all = reference("check_standards.json");
    let (years, mg) = (numbers(&all["mass"]["year"]), numbers(&all["mass"]["value"]));
    let right = &all["computed"]["mass"];
    let n = mg.len();
    let line = LinearSettings::default().fit(&[("year", &years)], &mg, None).unwrap();
    assert!((line.value("year").unwrap() - right["slope"].as_f64().unwrap()).abs() < 1e-6);
    assert!((line.covariance[[1, 1]].sqrt() - right["slope_se"].as_f64().unwrap()).abs() < 1e-6);

    // Independent errors: the cut chosen by hand, and the best cut.
    let from = |cut: f64| -> Vec<f64> { years.iter().map(|year| f64::from(u8::from(*year >= cut))).collect() };
    let step_at = |cut: f64| LinearSettings::default().fit(&[("step", &from(cut))], &mg, None).unwrap();
    let by_hand = step_at(1985.0).value("step").unwrap();
    let means = right["from_1985"]["mean"].as_f64().unwrap() - right["before_1985"]["mean"].as_f64().unwrap();
    assert!((by_hand - means).abs() < 2e-5, "{by_hand}");
    // Pairs of neighbouring times with at least five readings on each side.
    let cuts: Vec<(f64, f64)> = (5..n - 4).map(|i| (years[i - 1], years[i])).filter(|(a, b)| a < b).collect();
    let best = cuts.iter().copied().min_by(|a, b| step_at(a.1).sigma.total_cmp(&step_at(b.1).sigma)).unwrap();
    assert!((1986.2..1986.8).contains(&best.0), "{best:?}");

    // Errors that follow one another, found together with the columns.
    let likelihood = |columns: &[Vec<f64>]| {
        let design = Array2::from_shape_fn((n, columns.len()), |(i, j)| columns[j][i]);
        let settings = AutocorrelationSettings { criterion: Likelihood::Ml, ..AutocorrelationSettings::default() };
        settings.fit(years.as_slice(), &mg, Some(&design)).unwrap()
    };
    let (ones, age) = (vec![1.0; n], years.iter().map(|year| year - 1982.0).collect::<Vec<f64>>());
    let step = from(best.1);
    let process = likelihood(&[ones.clone(), age.clone(), step.clone()]).process;
    let whitener = process.whitener(years.as_slice()).unwrap();
    let white = |column: &[f64]| {
        let mut column = column.to_vec();
        whitener.whiten(column.iter_mut());
        column
    };
    let response = white(&mg);
    for (name, columns) in [("step alone", vec![&ones]), ("step beside a line", vec![&ones, &age])] {
        let with_step = |cut: f64| {
            let columns: Vec<Vec<f64>> = columns.iter().map(|c| white(c)).chain([white(&from(cut))]).collect();
            let named: Vec<(&str, &[f64])> =
                ["level", "age", "more"].into_iter().zip(columns.iter().map(Vec::as_slice)).collect();
            let fit = LinearSettings { intercept: false, ..LinearSettings::default() }.fit(&named, &response, None);
            fit.unwrap()
        };
        let fits = cuts.iter().map(|cut| (cut.0, with_step(cut.1)));
        let (before, fit) = fits.min_by(|a, b| a.1.sigma.total_cmp(&b.1.sigma)).unwrap();
        let at = columns.len();
        let t = student_t_two_sided(0.9, fit.df).unwrap();
        let (step, half) = (fit.coefficients[at], t * fit.covariance[[at, at]].sqrt());
        println!(
            "errors of memory {:.2} years, white share {:.2}, {name}: {step} \u{b1} {half} after {before:.2}",
            process.memory(),
            process.white_share
        );
        assert!((1986.2..1986.8).contains(&before) && step > half, "{name}: {step} after {before}");
    }
    let models =
        [vec![ones.clone()], vec![ones.clone(), age.clone()], vec![ones.clone(), step.clone()], vec![ones, age, step]];
    let fits = models.map(|columns| likelihood(&columns).ln_likelihood);
    println!("ln likelihood: constant {:.2}, line {:.2}, step {:.2}, both {:.2}", fits[0], fits[1], fits[2], fits[3]);
    // One parameter more than a constant each: the step says far more than the line, and the line adds nothing to the step.
    assert!(fits[2] > fits[1] + 5.0 && fits[3] < fits[2] + 1.0, "{fits:?}");
}
