//! Fitted curves against other software; tests/reference/statistics/single_curves.json
//! names source and software.

use crate::fit::nonlinear::{NonlinearSettings, Parameter};

use super::points::{Curve, CurveResiduals};
use super::{fewest_digits, numbers, reference};

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

#[test]
fn estimates_and_errors_agree_with_the_reference() {
    let all = reference("single_curves.json");
    for set in all["sets"].as_array().unwrap() {
        let id = set["id"].as_str().unwrap();
        let (x, y) = (numbers(&set["x"]), numbers(&set["y"]));
        let names: Vec<&str> = set["names"].as_array().unwrap().iter().map(|n| n.as_str().unwrap()).collect();
        let starts = numbers(&set["start"]);
        let parameters: Vec<Parameter> = names.iter().zip(&starts).map(|(n, s)| Parameter::new(*n, *s)).collect();
        let curve = model(id);
        let problem = CurveResiduals::new(&curve, &x, &y, None);
        let fit = NonlinearSettings::default().fit(&problem, &parameters).unwrap();
        assert!(fewest_digits(&fit.values(), &numbers(&set["estimate"])) > 5.0, "{id}: {:?}", fit.values());
        let se: Vec<f64> =
            (0..names.len()).map(|i| (fit.covariance[[i, i]] * fit.sum_of_squares / fit.df).sqrt()).collect();
        assert!(fewest_digits(&se, &numbers(&set["se"])) > 5.0, "{id}: {se:?}");
    }
}
