//! The curves of a fermentation, in parameters that a brewer recognises.
//!
//! Of the drop from the gravity `O` at pitching (`t = 0`, exactly) to the terminal gravity `T`, a share is left at
//! `x = t / scale`:
//!
//! `SG(t) = T + (O - T) [(1 - q) exp(-H(x)) + q exp(-r H(x))]`,
//! `H(x) = integral from 0 to x of exp(b(v)) h'(v) dv`.
//!
//! `exp(-h)` is one of the plain forms below, `b` a smooth correction (see [`BENDS`]) of its specific rate, so that the
//! curve still starts at `O`, only falls, and ends at `T`, and the tail is the share `q` of the sugar that the same yeast
//! takes up `r < 1` times as readily as the rest. Each form has half of the drop done at `x = 1` and a steepness
//! `p > 0`; `p -> 0` is for all of them the plain exponential decline of a very active yeast without lag.
//!
//! | form | share left, `exp(-h(x))` |
//! | --- | --- |
//! | logistic | `[(1 + a) / (1 + a exp(B x))]^s`, with `c = 1 - 2^(-1/s)`, `w = p / (c s)`, `B = ln 2 / s + w`, `a = c / (exp(w) - 1)` |
//! | Gompertz | `(1 - exp(-c exp(-k x))) / (1 - exp(-c))`, with `c = 4 p` and `k` such that it is 1/2 at `x = 1` |
//! | lag, then exponential | `2^(-(x - l) / (1 - l))` after `l = p / (2 + p)`, 1 before |
//! | yeast inhibited by alcohol | the solution of a differential equation, see the text of the module `inhibited` |
//!
//! `s = 1` is the four-parameter logistic used for the fermentability of wort by yeast (ASBC Methods of Analysis,
//! Yeast-14; Speers, Rogers and Smith 2003, J. Inst. Brew. 109(3), 229-235; the form from memory), `s < 1` ends slower
//! than it began, `s > 1` more abruptly. In the writing with asymptotes, `SG = T + D / (1 + exp(k (t - M)))^s`, the same
//! curve has `k = B / scale`, `M = -ln(a) / k` and `D = (O - T) (1 + a)^s`. The Gompertz form is the modified one of
//! Zwietering, Jongenburger, Rombouts and van 't Riet (1990, Appl. Environ. Microbiol. 56, 1875, equation 11) from pitching
//! on, its lag and rate being traits. [`super::Sigmoid`] has the same forms with both ends open, for any data.

mod form;
mod inhibited;
mod tabulated;

use super::bend::BENDS;

pub use form::Form;
pub use tabulated::Tabulated;

/// Number of parameters of a [`Curve`].
pub const PARAMETERS: usize = 7 + BENDS;
/// The tail's parameter that stands for none.
pub(crate) const NO_TAIL: f64 = -1.0;
/// A tail's parameter well above this is the tail's share itself; below 0 the share goes to nothing.
const TAIL_BEND: f64 = 0.02;

/// Which of the curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveKind {
    /// Four parameters: a logistic with its asymmetry held at 1, no tail, no correction.
    Logistic4,
    /// A logistic of five parameters, no tail, no correction.
    Logistic5,
    /// The modified Gompertz curve from pitching on, four parameters.
    Gompertz,
    /// Nothing for a while, then an exponential decline; four parameters.
    LagExponential,
    /// Yeast that grows on the sugar and is inhibited by the alcohol, by a differential equation; five parameters.
    Inhibited,
    /// A logistic of five parameters with a slow tail and the smooth correction of the rate.
    Smooth,
}

impl CurveKind {
    /// All of them: the closed forms, the mechanistic one, and the flexible one.
    pub const ALL: [Self; 6] =
        [Self::Logistic4, Self::Logistic5, Self::Gompertz, Self::LagExponential, Self::Inhibited, Self::Smooth];

    /// Its name in the tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Logistic4 => "logistic4",
            Self::Logistic5 => "logistic5",
            Self::Gompertz => "gompertz",
            Self::LagExponential => "lag_exponential",
            Self::Inhibited => "inhibited",
            Self::Smooth => "smooth",
        }
    }

    /// How many parameters are free: the first of [`Curve::to_vector`].
    pub const fn free(self) -> usize {
        match self {
            Self::Logistic4 | Self::Gompertz | Self::LagExponential => 4,
            Self::Logistic5 | Self::Inhibited => 5,
            Self::Smooth => PARAMETERS,
        }
    }

    /// The form of its curve.
    pub const fn form(self) -> Form {
        match self {
            Self::Logistic4 | Self::Logistic5 | Self::Smooth => Form::Logistic,
            Self::Gompertz => Form::Gompertz,
            Self::LagExponential => Form::LagExponential,
            Self::Inhibited => Form::Inhibited,
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
    /// Which form.
    pub form: Form,
    /// SG at pitching.
    pub original_sg: f64,
    /// SG at rest.
    pub terminal_sg: f64,
    /// Unit of time of the curve, hours: the middle of the drop where there is no correction.
    pub scale_h: f64,
    /// Steepness `p`, without unit: how far the curve is from a plain exponential decline.
    pub steepness: f64,
    /// Asymmetry `s`, without unit; of no effect where the form has none.
    pub asymmetry: f64,
    /// Share `q` of the drop that goes slowly.
    pub tail_share: f64,
    /// How readily it goes, `r`, relative to the rest; under 1.
    pub tail_pace: f64,
    /// Coefficients of the correction; all zero for a plain form.
    pub bend: [f64; BENDS],
}

impl Curve {
    /// A plain curve of a form, without tail or correction.
    pub fn plain(form: Form, original_sg: f64, terminal_sg: f64, scale_h: f64, steepness: f64, asymmetry: f64) -> Self {
        let (tail_share, tail_pace) = (0.0, 0.2);
        Self {
            form,
            original_sg,
            terminal_sg,
            scale_h,
            steepness,
            asymmetry,
            tail_share,
            tail_pace,
            bend: [0.0; BENDS],
        }
    }

    /// A logistic curve.
    pub fn logistic(original_sg: f64, terminal_sg: f64, scale_h: f64, steepness: f64, asymmetry: f64) -> Self {
        Self::plain(Form::Logistic, original_sg, terminal_sg, scale_h, steepness, asymmetry)
    }

    /// The logistic curve with these parameters: SG at pitching, terminal SG, ln scale_h, ln steepness, ln asymmetry, the
    /// tail's share (as the inverse of a softplus, so that it cannot be negative), ln of its pace, correction.
    pub fn from_vector(parameters: &[f64; PARAMETERS]) -> Self {
        Self::of_form(Form::Logistic, parameters)
    }

    /// The same for any form.
    pub fn of_form(form: Form, parameters: &[f64; PARAMETERS]) -> Self {
        let [original_sg, terminal_sg, ln_scale, ln_steep, ln_asymmetry, tail, ln_tail_pace, bend @ ..] = *parameters;
        Self {
            form,
            original_sg,
            terminal_sg,
            scale_h: ln_scale.exp(),
            steepness: ln_steep.exp(),
            asymmetry: ln_asymmetry.exp(),
            tail_share: if tail <= NO_TAIL { 0.0 } else { TAIL_BEND * softplus(tail / TAIL_BEND) },
            tail_pace: ln_tail_pace.exp(),
            bend,
        }
    }

    /// The parameters in the order of [`Curve::from_vector`].
    pub fn to_vector(&self) -> [f64; PARAMETERS] {
        let tail = (TAIL_BEND * ln_exp_m1(self.tail_share / TAIL_BEND)).max(NO_TAIL);
        let first = [
            self.original_sg,
            self.terminal_sg,
            self.scale_h.ln(),
            self.steepness.ln(),
            self.asymmetry.ln(),
            tail,
            self.tail_pace.ln(),
        ];
        std::array::from_fn(|i| first.get(i).or(self.bend.get(i.wrapping_sub(first.len()))).copied().unwrap_or(0.0))
    }

    /// The drop from pitching to rest, SG.
    pub fn drop_sg(&self) -> f64 {
        self.original_sg - self.terminal_sg
    }

    /// SG at `hours` from pitching; for many times [`Curve::tabulate`] first.
    pub fn sg(&self, hours: f64) -> f64 {
        self.tabulate().sg(hours)
    }

    /// SG at `hours` and its derivatives by the parameters; for many times [`Curve::tabulate`] first.
    pub fn gradient(&self, hours: f64) -> (f64, [f64; PARAMETERS]) {
        self.tabulate().gradient(hours)
    }

    /// The curve made ready for many evaluations.
    pub fn tabulate(&self) -> Tabulated {
        Tabulated::new(self)
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
                curves.push(Curve::logistic(1.052, 1.011, 38.0, steepness, asymmetry));
                let bend = std::array::from_fn(|k| 0.3 * (1.7 * k as f64).sin());
                let plain = Curve::logistic(1.052, 1.011, 38.0, steepness, asymmetry);
                curves.push(Curve { bend, ..plain });
                curves.push(Curve { bend, tail_share: 0.15, tail_pace: 0.12, ..plain });
                for form in [Form::Gompertz, Form::LagExponential, Form::Inhibited] {
                    curves.push(Curve::plain(form, 1.052, 1.011, 38.0, steepness, asymmetry));
                }
            }
        }
        curves
    }

    #[test]
    fn the_parameters_are_what_they_say() {
        for curve in curves() {
            let table = curve.tabulate();
            assert!((table.sg(0.0) - 1.052).abs() < 1e-14);
            assert!((table.sg(1e4) - 1.011).abs() < 1e-5);
            assert!((table.sg(table.mid_h()) - 1.0315).abs() < 1e-12);
            let finish = table.finish_h(0.001);
            assert!((table.sg(finish) - 1.012).abs() < 1e-12);
            if curve.bend == [0.0; BENDS] && curve.tail_share == 0.0 {
                let within = if curve.form == Form::Inhibited { 1e-6 } else { 1e-9 };
                assert!((table.mid_h() - 38.0).abs() < within);
            }
        }
    }

    #[test]
    fn the_gradient_agrees_with_differences() {
        for curve in curves() {
            for hours in [0.0, 0.5, 10.1, 38.7, 60.1, 300.0] {
                let (value, gradient) = curve.tabulate().gradient(hours);
                assert!((value - curve.tabulate().sg(hours)).abs() < 1e-15);
                for (i, &analytic) in gradient.iter().enumerate() {
                    let step = 1e-6;
                    let moved = |by: f64| {
                        let mut vector = curve.to_vector();
                        vector[i] += by;
                        Curve::of_form(curve.form, &vector).tabulate().sg(hours)
                    };
                    let numeric = (moved(step) - moved(-step)) / (2.0 * step);
                    // Steps in a tabulated solution are exact to 1e-10 or so.
                    let within = if curve.form == Form::Inhibited { 1e-6 } else { 1e-8 };
                    assert!((analytic - numeric).abs() < within, "{curve:?} {hours} {i}: {analytic} {numeric}");
                }
            }
        }
    }

    #[test]
    fn the_lag_is_the_tangents() {
        for curve in curves() {
            let table = curve.tabulate();
            let steepest = table.steepest_h();
            assert!(table.fall_sg_per_h(steepest) >= table.fall_sg_per_h(steepest + 4.0));
            let tangent = table.sg(steepest) + (steepest - table.lag_h()) * table.fall_sg_per_h(steepest);
            assert!((tangent - 1.052).abs() < 1e-9 || steepest == 0.0 || table.lag_h() == 0.0);
        }
    }

    #[test]
    fn four_parameters_are_the_plain_logistic() {
        let curve = Curve::logistic(1.05, 1.01, 40.0, 1.2, 1.0);
        let table = curve.tabulate();
        // The formulas of the module's text with s = 1: c = 1/2, w = 2 p, B = ln 2 + w, a = 1 / (2 (exp(w) - 1)).
        let k = (std::f64::consts::LN_2 + 2.4) / 40.0;
        let a = 0.5 / 2.4_f64.exp_m1();
        let m = -a.ln() / k;
        let d = curve.drop_sg() * (1.0 + a);
        for hours in [0.0, 13.0, 40.0, 90.0, 500.0] {
            let plain = 1.01 + d / (1.0 + (k * (hours - m)).exp());
            assert!((table.sg(hours) - plain).abs() < 1e-14);
        }
    }

    #[test]
    fn the_gompertz_form_is_the_modified_one_from_pitching_on() {
        let curve = Curve::plain(Form::Gompertz, 1.05, 1.01, 40.0, 1.5, 1.0);
        let table = curve.tabulate();
        // Zwietering's writing: exp(-exp(e R (lag - t) + 1)) of what is left at pitching without its start.
        let c = 6.0_f64;
        let k = (c / -(0.5 * (1.0 + (-c).exp())).ln()).ln() / 40.0;
        let rate = k / std::f64::consts::E;
        let lag = (c.ln() - 1.0) / k;
        let rise = |t: f64| (-((std::f64::consts::E * rate * (lag - t) + 1.0).exp())).exp();
        for hours in [0.0, 5.0, 40.0, 90.0] {
            let left = (1.0 - rise(hours)) / (1.0 - rise(0.0));
            assert!((table.sg(hours) - (1.01 + 0.04 * left)).abs() < 1e-14);
        }
        assert!((table.steepest_h() - c.ln() / k).abs() < 1e-9);
        let lagged = Curve::plain(Form::LagExponential, 1.05, 1.01, 40.0, 1.5, 1.0).tabulate();
        assert!((lagged.lag_h() - 40.0 * 1.5 / 3.5).abs() < 1e-9);
    }
}
