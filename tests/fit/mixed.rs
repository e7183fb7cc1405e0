//! Linear mixed models against published data sets, answers by other software, and dense formulas.

use crate::fit::mixed::{Column, Design, MixedFit, Random};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::Value;

use super::{near, numbers, reference};

/// All data sets with answers, without those whose effects of one level are correlated: the model has none such.
pub fn sets() -> Vec<Value> {
    let all = reference("mixed_models.json")["sets"].as_array().unwrap().clone();
    let alone = |term: &Value| term["terms"].as_array().unwrap().len() == 1;
    all.into_iter().filter(|set| set["fits"]["REML"]["random"].as_array().unwrap().iter().all(alone)).collect()
}

/// The standard deviation of the effects of a column by a grouping.
pub fn spread(fit: &MixedFit, column: &str, grouping: &str) -> f64 {
    let of = fit.design.random.iter().zip(&fit.spreads).find(|(random, _)| random.grouping == grouping).unwrap();
    of.1[of.0.columns.iter().position(|c| c.name == column).unwrap()]
}

fn texts(value: &Value) -> Vec<String> {
    value.as_array().unwrap().iter().map(|x| x.as_str().unwrap().to_owned()).collect()
}

/// A fixed or random column by its name there: the intercept, a number, an indicator of a label, or a product.
fn column(data: &Value, rows: usize, name: &str) -> Vec<f64> {
    if name == "(Intercept)" {
        return vec![1.0; rows];
    }
    if let Some((a, b)) = name.split_once(':') {
        return column(data, rows, a).iter().zip(column(data, rows, b)).map(|(a, b)| a * b).collect();
    }
    if let Some(values) = data.get(name) {
        return numbers(values);
    }
    let (label, values) = data.as_object().unwrap().iter().find(|(key, _)| name.starts_with(key.as_str())).unwrap();
    texts(values).iter().map(|v| f64::from(u8::from(v == &name[label.len()..]))).collect()
}

/// The design of a set.
pub fn design(set: &Value) -> Design {
    let data = &set["data"];
    let y = numbers(&data[set["formula"].as_str().unwrap().split(" ~ ").next().unwrap()]);
    let fit = &set["fits"]["REML"];
    let columns = |names: &Value| -> Vec<Column> {
        texts(names).iter().map(|name| Column::new(name.as_str(), &column(data, y.len(), name))).collect()
    };
    let mut design = Design::new(&y, columns(&fit["fixed"]["names"]));
    for term in fit["random"].as_array().unwrap() {
        let group = term["group"].as_str().unwrap();
        // Two parts of one grouping are independent columns of it.
        match design.random.iter_mut().find(|r| r.grouping == group) {
            Some(known) => known.columns.extend(columns(&term["terms"])),
            None => design = design.random(Random::by_label(group, &texts(&data[group]), columns(&term["terms"]))),
        }
    }
    design
}

fn unit(size: usize, at: usize) -> Vec<f64> {
    (0..size).map(|i| f64::from(u8::from(i == at))).collect()
}

fn check_spreads(id: &str, fit: &MixedFit, right: &Value) {
    let found = right["varcomp"].as_array().unwrap();
    assert_eq!(found.len(), 1 + fit.spreads.iter().flatten().count(), "{id}");
    for wanted in found {
        let group = wanted["group"].as_str().unwrap().trim_end_matches(".1");
        let sd = wanted["var1"].as_str().map_or(fit.residual_sd, |column| spread(fit, column, group));
        let (value, variance) = (wanted["sdcor"].as_f64().unwrap(), wanted["vcov"].as_f64().unwrap());
        if value == 0.0 {
            assert_eq!(sd, 0.0, "{id}: {group}");
        } else {
            near(sd, value, 1e-6);
            near(sd * sd, variance, 3e-6);
        }
    }
}

#[test]
fn public_data_sets_by_reml() {
    for set in sets() {
        let id = set["id"].as_str().unwrap();
        let design = design(&set);
        let size = design.fixed.len();
        let right = &set["fits"]["REML"];
        let fit = design.fit().unwrap();
        assert!(fit.converged, "{id}");
        let wanted = right["log_likelihood"].as_f64().unwrap();
        let off = (fit.log_likelihood - wanted).abs();
        assert!(off < 1e-8, "{id}: log-likelihood {} for {wanted}", fit.log_likelihood);
        let on_the_edge = fit.spreads.iter().flatten().any(|sd| *sd == 0.0);
        assert_eq!(on_the_edge, right["singular"].as_bool().unwrap(), "{id}");
        check_spreads(id, &fit, right);
        let (values, ses) = (numbers(&right["fixed"]["estimate"]), numbers(&right["fixed"]["se"]));
        for i in 0..size {
            near(fit.coefficients[i], values[i], 1e-7);
            near(fit.covariance[(i, i)].sqrt(), ses[i], 1e-6);
            let (se, df) = fit.se_and_df(&unit(size, i)).unwrap();
            near(se, numbers(&right["kenward_roger_se"])[i], 1e-6);
            near(df, numbers(&right["kenward_roger_df"])[i], 1e-5);
        }
    }
}

/// Units measured again and again: intercepts and slopes that vary, with standard deviations 1 and `slope_sd`.
pub fn simulated(units: usize, times: &[f64], slope_sd: f64, rng: &mut ChaCha8Rng) -> Design {
    let (mut y, mut ages, mut of) = (Vec::new(), Vec::new(), Vec::new());
    let effects: Vec<[f64; 2]> =
        (0..units).map(|_| [1.0, slope_sd].map(|sd| sd * Distribution::<f64>::sample(&StandardNormal, rng))).collect();
    for (unit, [a, b]) in effects.into_iter().enumerate() {
        for age in times {
            let error: f64 = StandardNormal.sample(rng);
            ages.push(*age);
            of.push(format!("unit {unit:05}"));
            y.push(2.0 + 0.3 * age + a + b * age + 0.7 * error);
        }
    }
    let columns = vec![Column::intercept(y.len()), Column::new("age", &ages)];
    Design::new(&y, columns.clone()).random(Random::by_label("unit", &of, columns))
}
