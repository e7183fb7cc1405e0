//! The model functions of the NIST nonlinear problems, with analytic derivatives by dual numbers written out by hand.

use crate::Result;
use crate::fit::nonlinear::Residuals;
use ndarray::ArrayViewMut2;
use serde_json::Value;
use std::f64::consts::PI;

use super::numbers;

/// Data and model of one problem.
pub struct Problem {
    pub name: String,
    y: Vec<f64>,
    x: Vec<f64>,
    x2: Vec<f64>,
}

impl Problem {
    pub fn new(problem: &Value) -> Self {
        let name = problem["name"].as_str().unwrap().to_owned();
        let data = &problem["data"];
        let mut y = numbers(&data["y"]);
        let (x, x2) = if name == "Nelson" {
            y.iter_mut().for_each(|y| *y = y.ln());
            (numbers(&data["x1"]), numbers(&data["x2"]))
        } else {
            let x = numbers(&data["x"]);
            let none = vec![0.0; x.len()];
            (x, none)
        };
        Self { name, y, x, x2 }
    }

    /// The residual of row `i` with its derivatives.
    pub fn row(&self, i: usize, b: &[f64], slopes: &mut [f64]) -> f64 {
        let value = model(&self.name, b, self.x[i], self.x2[i], slopes);
        slopes.iter_mut().for_each(|slope| *slope = -*slope);
        self.y[i] - value
    }
}

impl Residuals for Problem {
    fn count(&self) -> usize {
        self.y.len()
    }

    fn residuals(&self, b: &[f64], out: &mut [f64]) -> Result<()> {
        let mut unused = vec![0.0; b.len()];
        for (i, cell) in out.iter_mut().enumerate() {
            *cell = self.y[i] - model(&self.name, b, self.x[i], self.x2[i], &mut unused);
        }
        Ok(())
    }

    fn jacobian(&self, b: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        let mut slopes = vec![0.0; b.len()];
        for i in 0..self.count() {
            self.row(i, b, &mut slopes);
            for (cell, slope) in out.row_mut(i).iter_mut().zip(&slopes) {
                *cell = *slope;
            }
        }
        Ok(())
    }
}

/// The value at x; derivatives go into `g`.
fn model(name: &str, b: &[f64], x: f64, x2: f64, g: &mut [f64]) -> f64 {
    match name {
        "Bennett5" => {
            let base = b[1] + x;
            let power = base.powf(-1.0 / b[2]);
            g[0] = power;
            g[1] = -b[0] * power / (b[2] * base);
            g[2] = b[0] * power * base.ln() / (b[2] * b[2]);
            b[0] * power
        }
        "BoxBOD" | "Misra1a" => {
            let e = (-b[1] * x).exp();
            g[0] = -(-b[1] * x).exp_m1();
            g[1] = b[0] * x * e;
            b[0] * g[0]
        }
        "Chwirut1" | "Chwirut2" => {
            let below = b[1] + b[2] * x;
            let value = (-b[0] * x).exp() / below;
            g[0] = -x * value;
            g[1] = -value / below;
            g[2] = -x * value / below;
            value
        }
        "DanWood" => {
            let power = x.powf(b[1]);
            g[0] = power;
            g[1] = b[0] * power * x.ln();
            b[0] * power
        }
        "ENSO" => {
            let mut value = b[0];
            g[0] = 1.0;
            let mut wave = |period: f64, c: usize, s: usize, p: Option<usize>| {
                let (sin, cos) = (2.0 * PI * x / period).sin_cos();
                g[c] = cos;
                g[s] = sin;
                if let Some(p) = p {
                    g[p] = (b[c] * sin - b[s] * cos) * 2.0 * PI * x / (period * period);
                }
                value += b[c] * cos + b[s] * sin;
            };
            wave(12.0, 1, 2, None);
            wave(b[3], 4, 5, Some(3));
            wave(b[6], 7, 8, Some(6));
            value
        }
        "Eckerle4" => {
            let u = (x - b[2]) / b[1];
            let e = (-0.5 * u * u).exp();
            g[0] = e / b[1];
            g[1] = b[0] * e * (u * u - 1.0) / (b[1] * b[1]);
            g[2] = b[0] * e * u / (b[1] * b[1]);
            b[0] * g[0]
        }
        "Gauss1" | "Gauss2" | "Gauss3" => {
            let e = (-b[1] * x).exp();
            g[0] = e;
            g[1] = -b[0] * x * e;
            let mut value = b[0] * e;
            for k in [2, 5] {
                let u = (x - b[k + 1]) / b[k + 2];
                let e = (-u * u).exp();
                g[k] = e;
                g[k + 1] = 2.0 * b[k] * e * u / b[k + 2];
                g[k + 2] = 2.0 * b[k] * e * u * u / b[k + 2];
                value += b[k] * e;
            }
            value
        }
        "Hahn1" | "Thurber" | "Kirby2" => {
            let top = if name == "Kirby2" { 3 } else { 4 };
            let powers: Vec<f64> = (0..4).map(|k| x.powi(k)).collect();
            let above: f64 = (0..top).map(|k| b[k] * powers[k]).sum();
            let below = 1.0 + (top..b.len()).map(|k| b[k] * powers[k - top + 1]).sum::<f64>();
            let value = above / below;
            for k in 0..top {
                g[k] = powers[k] / below;
            }
            for k in top..b.len() {
                g[k] = -value * powers[k - top + 1] / below;
            }
            value
        }
        "Lanczos1" | "Lanczos2" | "Lanczos3" => {
            let mut value = 0.0;
            for k in [0, 2, 4] {
                let e = (-b[k + 1] * x).exp();
                g[k] = e;
                g[k + 1] = -b[k] * x * e;
                value += b[k] * e;
            }
            value
        }
        "MGH09" => {
            let above = x * x + x * b[1];
            let below = x * x + x * b[2] + b[3];
            g[0] = above / below;
            g[1] = b[0] * x / below;
            g[3] = -b[0] * above / (below * below);
            g[2] = x * g[3];
            b[0] * g[0]
        }
        "MGH10" => {
            let e = (b[1] / (x + b[2])).exp();
            g[0] = e;
            g[1] = b[0] * e / (x + b[2]);
            g[2] = -b[0] * e * b[1] / (x + b[2]).powi(2);
            b[0] * e
        }
        "MGH17" => {
            let (first, second) = ((-x * b[3]).exp(), (-x * b[4]).exp());
            g[0] = 1.0;
            g[1] = first;
            g[2] = second;
            g[3] = -x * b[1] * first;
            g[4] = -x * b[2] * second;
            b[0] + b[1] * first + b[2] * second
        }
        "Misra1b" => {
            let u = 1.0 + 0.5 * b[1] * x;
            g[0] = 1.0 - u.powi(-2);
            g[1] = b[0] * x * u.powi(-3);
            b[0] * g[0]
        }
        "Misra1c" => {
            let u = 1.0 + 2.0 * b[1] * x;
            g[0] = 1.0 - u.powf(-0.5);
            g[1] = b[0] * x * u.powf(-1.5);
            b[0] * g[0]
        }
        "Misra1d" => {
            let u = 1.0 + b[1] * x;
            g[0] = b[1] * x / u;
            g[1] = b[0] * x / (u * u);
            b[0] * g[0]
        }
        "Nelson" => {
            let e = (-b[2] * x2).exp();
            g[0] = 1.0;
            g[1] = -x * e;
            g[2] = b[1] * x * x2 * e;
            b[0] - b[1] * x * e
        }
        "Rat42" => {
            let e = (b[1] - b[2] * x).exp();
            let u = 1.0 + e;
            g[0] = 1.0 / u;
            g[1] = -b[0] * e / (u * u);
            g[2] = -x * g[1];
            b[0] / u
        }
        "Rat43" => {
            let e = (b[1] - b[2] * x).exp();
            let u = 1.0 + e;
            let value = b[0] * u.powf(-1.0 / b[3]);
            g[0] = value / b[0];
            g[1] = -value * e / (b[3] * u);
            g[2] = -x * g[1];
            g[3] = value * u.ln() / (b[3] * b[3]);
            value
        }
        "Roszman1" => {
            let d = x - b[3];
            let below = d * d + b[2] * b[2];
            g[0] = 1.0;
            g[1] = -x;
            g[2] = -d / (PI * below);
            g[3] = -b[2] / (PI * below);
            b[0] - b[1] * x - (b[2] / d).atan() / PI
        }
        other => panic!("no model {other}"),
    }
}
