//! Profile intervals against limits found by direct root finding elsewhere; tests/reference/statistics/single_curves.json
//! names source and software.

use heelwort::fit::nonlinear::{Curve, CurveResiduals, NonlinearFit, NonlinearSettings, Parameter};
use heelwort::fit::quantile::student_t_two_sided;

use super::{digits, fewest_digits, numbers, reference};

/// A curve with derivatives by Richardson's differences.
struct Model(fn(f64, &[f64]) -> f64);

impl Curve for Model {
    fn value(&self, x: f64, p: &[f64]) -> f64 {
        (self.0)(x, p)
    }

    fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]) {
        for (j, cell) in out.iter_mut().enumerate() {
            let h = 1e-3 * p[j].abs().max(0.01);
            let slope = |h: f64| {
                let (mut up, mut down) = (p.to_vec(), p.to_vec());
                up[j] += h;
                down[j] -= h;
                ((self.0)(x, &up) - (self.0)(x, &down)) / (2.0 * h)
            };
            *cell = (4.0 * slope(0.5 * h) - slope(h)) / 3.0;
        }
    }
}

fn model(id: &str) -> Model {
    Model(match id {
        "DNase1_logis" => |x, p| p[0] / (1.0 + ((p[1] - x) / p[2]).exp()),
        "DNase1_fpl" => |x, p| p[0] + (p[1] - p[0]) / (1.0 + ((p[2] - x) / p[3]).exp()),
        "DNase1_gompertz" => |x, p| p[0] * (-p[1] * p[2].powf(x)).exp(),
        "Puromycin_treated_mm" | "Puromycin_untreated_mm" => |x, p| p[0] * x / (p[1] + x),
        "BOD_expdecay" => |x, p| p[0] * (1.0 - (-p[1].exp() * x).exp()),
        "Lob301_asymp" => |x, p| p[0] + (p[1] - p[0]) * (-p[2].exp() * x).exp(),
        "Chick6_weibull" => |x, p| p[0] - p[1] * (-p[2].exp() * x.powf(p[3])).exp(),
        "Indo1_biexp" => |x, p| p[0] * (-p[1].exp() * x).exp() + p[2] * (-p[3].exp() * x).exp(),
        "CO2Qn1_asympoff" => |x, p| p[0] * (1.0 - (-p[1].exp() * (x - p[2])).exp()),
        other => panic!("no model for {other}"),
    })
}

/// The interval of one parameter.
fn profile(
    settings: &NonlinearSettings,
    fit: &NonlinearFit,
    problem: &CurveResiduals<'_, Model>,
    parameters: &[Parameter],
    name: &str,
    level: f64,
) -> (f64, f64) {
    let place = parameters.iter().position(|p| p.name == name).unwrap();
    let slopes: Vec<f64> = (0..parameters.len()).map(|i| f64::from(u8::from(i == place))).collect();
    fit.profile(settings, problem, parameters, &|p| Ok((p[place], slopes.clone())), level).unwrap()
}

#[test]
fn estimates_errors_and_profile_limits_agree_with_the_reference() {
    let all = reference("single_curves.json");
    for set in all["sets"].as_array().unwrap() {
        let id = set["id"].as_str().unwrap();
        let (x, y) = (numbers(&set["x"]), numbers(&set["y"]));
        let names: Vec<&str> = set["names"].as_array().unwrap().iter().map(|n| n.as_str().unwrap()).collect();
        let starts = numbers(&set["start"]);
        let parameters: Vec<Parameter> = names.iter().zip(&starts).map(|(n, s)| Parameter::new(*n, *s)).collect();
        let curve = model(id);
        let problem = CurveResiduals::new(&curve, &x, &y, None).unwrap();
        let settings = NonlinearSettings::default();
        let fit = settings.fit(&problem, &parameters).unwrap();
        assert!(fewest_digits(&fit.values(), &numbers(&set["estimate"])) > 5.0, "{id}: {:?}", fit.values());
        let se: Vec<f64> = (0..names.len()).map(|i| fit.covariance[[i, i]].sqrt()).collect();
        assert!(fewest_digits(&se, &numbers(&set["se"])) > 5.0, "{id}: {se:?}");
        for (level, key) in [(0.90, "profile_90"), (0.95, "profile_95")] {
            for (name, limits) in names.iter().zip(set[key].as_array().unwrap()) {
                let found = profile(&settings, &fit, &problem, &parameters, name, level);
                for (found, right) in [(found.0, &limits[0]), (found.1, &limits[1])] {
                    match right.as_f64() {
                        Some(right) => assert!(digits(found, right) > 4.0, "{id} {name} {level}: {found} {right}"),
                        // Other limits that the reference lacks are on the far side of the exchange of both terms.
                        None => assert!(*name != "lrc2" || found.is_infinite(), "{id} {name} {level}: {found}"),
                    }
                }
            }
        }
    }
}

#[test]
fn a_known_scale_and_a_prior_give_the_interval_of_the_normal_distribution() {
    // A straight line: the profile is Wald's interval.
    let line = Model(|x, p| p[0] + p[1] * x);
    let x: Vec<f64> = (0..12).map(f64::from).collect();
    let y: Vec<f64> = x.iter().map(|x| 1.0 + 0.3 * x + 0.1 * (3.0 * x).sin()).collect();
    let sd = vec![0.1; 12];
    let problem = CurveResiduals::new(&line, &x, &y, Some(&sd)).unwrap();
    let parameters = [Parameter::new("a", 0.5), Parameter::new("b", 0.1).with_prior(0.2, 0.01)];
    let settings = NonlinearSettings { scale: heelwort::fit::Scale::Known, ..NonlinearSettings::default() };
    let fit = settings.fit(&problem, &parameters).unwrap();
    for name in ["a", "b"] {
        let wald = fit.finding(name, 0.9).unwrap().estimate().unwrap().clone();
        let (lower, upper) = profile(&settings, &fit, &problem, &parameters, name, 0.9);
        assert!(digits(lower, wald.lower) > 6.0 && digits(upper, wald.upper) > 6.0, "{name}: {lower} {upper}");
    }
    assert!(student_t_two_sided(0.9, 10.0).unwrap() > 1.8);
}

#[test]
fn a_limit_on_a_bound_is_the_bound() {
    let line = Model(|x, p| p[0] + p[1] * x);
    let x: Vec<f64> = (0..12).map(f64::from).collect();
    let y: Vec<f64> = x.iter().map(|x| 0.02 * x + 0.3 * (3.0 * x).sin()).collect();
    let problem = CurveResiduals::new(&line, &x, &y, None).unwrap();
    let parameters = [Parameter::new("a", 0.5), Parameter::new("b", 0.1).within(0.0, 1.0)];
    let settings = NonlinearSettings::default();
    let fit = settings.fit(&problem, &parameters).unwrap();
    let found = profile(&settings, &fit, &problem, &parameters, "b", 0.9);
    assert!(found.0 == 0.0 && found.1 > 0.0 && found.1 < 0.2, "{found:?}");
}
