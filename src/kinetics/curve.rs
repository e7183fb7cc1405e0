//! The logistic curves of a fermentation, in parameters that a brewer recognises.
//!
//! With `x = t / mid`, the apparent gravity at `t` hours from pitching is
//!
//! `SG(t) = T + (O - T) [(1 + a) / (1 + a exp(B x))]^s`
//!
//! where `O` is the gravity at pitching (`t = 0`, exactly), `T` the terminal gravity, `mid` the time at which half of
//! `O - T` is gone (exactly) and `s` the asymmetry: `s = 1` is the four-parameter logistic used for the fermentability
//! of wort by yeast (ASBC Methods of Analysis, Yeast-14; Speers, Rogers and Smith 2003, J. Inst. Brew. 109(3), 229-235;
//! the form from memory), `s < 1` ends slower than it began, `s > 1` more abruptly. The two constants follow from
//! the demand on `mid` and from the steepness `p > 0`:
//!
//! `c = 1 - 2^(-1/s)`, `w = p / (c s)`, `B = ln 2 / s + w`, `a = c / (exp(w) - 1)`.
//!
//! Every `p > 0` and `s > 0` gives a falling curve; `p -> 0` is the plain exponential decline of a very active yeast
//! without lag. In the writing with asymptotes, `SG = T + D / (1 + exp(k (t - M)))^s`, the same curve has
//! `k = B / mid`, `M = -ln(a) / k` and `D = (O - T) (1 + a)^s`.

use std::f64::consts::LN_2;

/// Number of parameters of a [`Curve`].
pub const PARAMETERS: usize = 5;

/// Names of the parameters, in the order of [`Curve::to_vector`].
pub const PARAMETER_NAMES: [&str; PARAMETERS] =
    ["original_sg", "terminal_sg", "ln_mid_h", "ln_steepness", "ln_asymmetry"];

/// Which of the two curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveKind {
    /// Four parameters: the asymmetry is held at 1.
    Logistic4,
    /// Five parameters.
    Logistic5,
}

impl CurveKind {
    /// Its name in the tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Logistic4 => "logistic4",
            Self::Logistic5 => "logistic5",
        }
    }

    /// How many parameters are free: the first of [`PARAMETER_NAMES`].
    pub const fn free(self) -> usize {
        match self {
            Self::Logistic4 => 4,
            Self::Logistic5 => 5,
        }
    }
}

impl std::fmt::Display for CurveKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// A fermentation curve: see the module's text for its formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// SG at pitching.
    pub original_sg: f64,
    /// SG at rest.
    pub terminal_sg: f64,
    /// Hours from pitching to the middle of the drop.
    pub mid_h: f64,
    /// Steepness `p`, without unit: how far the curve is from a plain exponential decline.
    pub steepness: f64,
    /// Asymmetry `s`, without unit.
    pub asymmetry: f64,
}

/// The constants `ln a`, `B` and their helpers.
struct Constants {
    ln_a: f64,
    rate: f64,
    c: f64,
    w: f64,
}

impl Curve {
    /// The curve with these parameters: SG at pitching, terminal SG, ln mid_h, ln steepness, ln asymmetry.
    pub fn from_vector(parameters: &[f64; PARAMETERS]) -> Self {
        let &[original_sg, terminal_sg, ln_mid, ln_steep, ln_asymmetry] = parameters;
        Self { original_sg, terminal_sg, mid_h: ln_mid.exp(), steepness: ln_steep.exp(), asymmetry: ln_asymmetry.exp() }
    }

    /// The parameters in the order of [`PARAMETER_NAMES`].
    pub fn to_vector(&self) -> [f64; PARAMETERS] {
        [self.original_sg, self.terminal_sg, self.mid_h.ln(), self.steepness.ln(), self.asymmetry.ln()]
    }

    /// The drop from pitching to rest, SG.
    pub fn drop_sg(&self) -> f64 {
        self.original_sg - self.terminal_sg
    }

    fn constants(&self) -> Constants {
        let c = -(-LN_2 / self.asymmetry).exp_m1();
        let w = self.steepness / (c * self.asymmetry);
        Constants { ln_a: c.ln() - ln_exp_m1(w), rate: LN_2 / self.asymmetry + w, c, w }
    }

    /// Natural logarithm of the share of the drop still to come at `hours`.
    fn ln_left(&self, constants: &Constants, hours: f64) -> f64 {
        let x = hours / self.mid_h;
        self.asymmetry * (softplus(constants.ln_a) - softplus(constants.ln_a + constants.rate * x))
    }

    /// SG at `hours` from pitching.
    pub fn sg(&self, hours: f64) -> f64 {
        self.terminal_sg + self.drop_sg() * self.ln_left(&self.constants(), hours).exp()
    }

    /// Share of the drop that is done at `hours`: 0 at pitching, towards 1.
    pub fn progress(&self, hours: f64) -> f64 {
        -self.ln_left(&self.constants(), hours).exp_m1()
    }

    /// SG at `hours` and its derivatives with respect to the parameters of [`PARAMETER_NAMES`].
    pub fn gradient(&self, hours: f64) -> (f64, [f64; PARAMETERS]) {
        let constants = self.constants();
        let Constants { ln_a, rate, c, w } = constants;
        let s = self.asymmetry;
        let x = hours / self.mid_h;
        let (sigma_0, sigma) = (logistic(ln_a), logistic(ln_a + rate * x));
        let ln_left = s * (softplus(ln_a) - softplus(ln_a + rate * x));
        let left = ln_left.exp();
        // Derivatives by ln p and ln s of c, w, B and ln a; those of ln p and ln s by themselves are 1.
        let ln_c_by_s = -(1.0 - c) * LN_2 / (s * c);
        let w_by = [w, w * (-ln_c_by_s - 1.0)];
        let rate_by = [w_by[0], w_by[1] - LN_2 / s];
        let over = w / -(-w).exp_m1() / w;
        let ln_a_by = [-w_by[0] * over, ln_c_by_s - w_by[1] * over];
        let by = |i: usize| s * (sigma_0 * ln_a_by[i] - sigma * (ln_a_by[i] + x * rate_by[i]));
        let scale = self.drop_sg() * left;
        (
            self.terminal_sg + scale,
            [left, 1.0 - left, scale * s * sigma * rate * x, scale * by(0), scale * (by(1) + ln_left)],
        )
    }

    /// Rate of fall at `hours`, SG per hour, positive while the gravity falls.
    pub fn fall_sg_per_h(&self, hours: f64) -> f64 {
        let constants = self.constants();
        let sigma = logistic(constants.ln_a + constants.rate * hours / self.mid_h);
        self.drop_sg() * self.ln_left(&constants, hours).exp() * self.asymmetry * sigma * constants.rate / self.mid_h
    }

    /// Hours from pitching to the steepest point; 0 where the curve is steepest at pitching.
    pub fn steepest_h(&self) -> f64 {
        let constants = self.constants();
        (self.mid_h * (-self.asymmetry.ln() - constants.ln_a) / constants.rate).max(0.0)
    }

    /// Lag: hours from pitching to where the tangent at the steepest point meets the SG at pitching.
    pub fn lag_h(&self) -> f64 {
        let steepest = self.steepest_h();
        if steepest <= 0.0 {
            return 0.0;
        }
        let fall = self.fall_sg_per_h(steepest);
        if fall > 0.0 { steepest - (self.original_sg - self.sg(steepest)) / fall } else { 0.0 }
    }

    /// Hours from pitching to the share `progress` of the drop, `0 <= progress < 1`.
    pub fn time_of_progress_h(&self, progress: f64) -> f64 {
        let constants = self.constants();
        // 1 + a exp(B x) = (1 + a) (1 - f)^(-1/s)
        let ln_right = softplus(constants.ln_a) - (-progress).ln_1p() / self.asymmetry;
        self.mid_h * (ln_exp_m1(ln_right) - constants.ln_a) / constants.rate
    }

    /// Finish time, hours from pitching: where the curve comes within `tolerance_sg` of its terminal gravity. The
    /// curve only falls, so it stays there; 0 for a curve that starts there.
    pub fn finish_h(&self, tolerance_sg: f64) -> f64 {
        let left = tolerance_sg / self.drop_sg();
        if left >= 1.0 || left.is_nan() || left <= 0.0 { 0.0 } else { self.time_of_progress_h(1.0 - left) }
    }
}

/// `ln(1 + exp(z))` without overflow.
fn softplus(z: f64) -> f64 {
    if z > 0.0 { z + (-z).exp().ln_1p() } else { z.exp().ln_1p() }
}

/// `ln(exp(z) - 1)` for `z > 0` without overflow.
fn ln_exp_m1(z: f64) -> f64 {
    if z > 30.0 { z + (-(-z).exp()).ln_1p() } else { z.exp_m1().ln() }
}

/// `1 / (1 + exp(-z))`.
fn logistic(z: f64) -> f64 {
    if z >= 0.0 { 1.0 / (1.0 + (-z).exp()) } else { z.exp() / (1.0 + z.exp()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curves() -> Vec<Curve> {
        let mut curves = Vec::new();
        for steepness in [0.02, 0.5, 1.3, 6.0] {
            for asymmetry in [0.2, 1.0, 4.0] {
                curves.push(Curve { original_sg: 1.052, terminal_sg: 1.011, mid_h: 38.0, steepness, asymmetry });
            }
        }
        curves
    }

    #[test]
    fn the_parameters_are_what_they_say() {
        for curve in curves() {
            assert!((curve.sg(0.0) - 1.052).abs() < 1e-14);
            assert!((curve.sg(38.0) - 1.0315).abs() < 1e-12, "{curve:?} {}", curve.sg(38.0));
            assert!((curve.time_of_progress_h(0.5) - 38.0).abs() < 1e-9);
            assert!((curve.sg(1e4) - 1.011).abs() < 1e-5);
            let finish = curve.finish_h(0.001);
            assert!((curve.sg(finish) - 1.012).abs() < 1e-12);
        }
    }

    #[test]
    fn the_gradient_agrees_with_differences() {
        for curve in curves() {
            for hours in [0.0, 0.5, 10.0, 38.0, 60.0, 200.0] {
                let (value, gradient) = curve.gradient(hours);
                assert!((value - curve.sg(hours)).abs() < 1e-15);
                for (i, &analytic) in gradient.iter().enumerate() {
                    let step = 1e-6;
                    let moved = |by: f64| {
                        let mut vector = curve.to_vector();
                        vector[i] += by;
                        Curve::from_vector(&vector).sg(hours)
                    };
                    let numeric = (moved(step) - moved(-step)) / (2.0 * step);
                    assert!((analytic - numeric).abs() < 1e-8, "{curve:?} {hours} {i}: {analytic} {numeric}");
                }
            }
        }
    }

    #[test]
    fn the_lag_is_the_tangents() {
        for curve in curves() {
            let steepest = curve.steepest_h();
            let step = 1e-3;
            let slope = (curve.sg(steepest + step) - curve.sg(steepest + 2.0 * step)) / step;
            assert!((slope / curve.fall_sg_per_h(steepest) - 1.0).abs() < 1e-3);
            assert!(curve.fall_sg_per_h(steepest) >= curve.fall_sg_per_h(steepest + 1.0));
            let tangent = curve.sg(steepest) + (steepest - curve.lag_h()) * curve.fall_sg_per_h(steepest);
            assert!((tangent - 1.052).abs() < 1e-9 || steepest == 0.0);
        }
    }

    #[test]
    fn four_parameters_are_the_plain_logistic() {
        let curve = Curve { original_sg: 1.05, terminal_sg: 1.01, mid_h: 40.0, steepness: 1.2, asymmetry: 1.0 };
        let constants = curve.constants();
        let k = constants.rate / curve.mid_h;
        let m = -constants.ln_a / k;
        let d = curve.drop_sg() * (1.0 + constants.ln_a.exp());
        for hours in [0.0, 13.0, 40.0, 90.0] {
            let plain = 1.01 + d / (1.0 + (k * (hours - m)).exp());
            assert!((curve.sg(hours) - plain).abs() < 1e-14);
        }
    }
}
