//! Small systems of ordinary differential equations, y' = f(t, y).
//!
//! The explicit Runge-Kutta pair of orders 5 and 4 of J. R. Dormand and P. J. Prince (J. Comput. Appl. Math. 6 (1980) 19)
//! with step-size control and the continuous extension of order 4 that goes with it (E. Hairer, S. P. Nørsett,
//! G. Wanner, *Solving Ordinary Differential Equations I*, 1993, section II.6), so that requested times cost no steps.
//! It is for problems that are not stiff: a stiff one runs into the step limit and says so.

use crate::{Error, Result};

/// How a system is integrated.
///
/// | setting | default | range | when to change it |
/// | --- | --- | --- | --- |
/// | `relative` | 1e-8 | 1e-14 to 0.1 | error per step as a share of each component |
/// | `absolute` | 1e-10 | above 0 | error per step of components near zero, in their unit |
/// | `max_steps` | 100000 | above 0 | more for long or lively solutions |
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OdeSettings {
    /// Relative tolerance per step.
    pub relative: f64,
    /// Absolute tolerance per step.
    pub absolute: f64,
    /// Steps, taken or refused, before giving up.
    pub max_steps: usize,
}

impl Default for OdeSettings {
    fn default() -> Self {
        Self { relative: 1e-8, absolute: 1e-10, max_steps: 100_000 }
    }
}

const NODES: [f64; 5] = [0.2, 0.3, 0.8, 8.0 / 9.0, 1.0];
/// Weights of the slopes so far in each stage after the first.
const STAGES: [&[f64]; 5] = [
    &[1.0 / 5.0],
    &[3.0 / 40.0, 9.0 / 40.0],
    &[44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0],
    &[19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
    &[9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
];
const FIFTH: [f64; 6] = [35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0];
/// Fifth less fourth order.
const ERROR: [f64; 7] =
    [71.0 / 57600.0, 0.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339_200.0, 22.0 / 525.0, -1.0 / 40.0];
const DENSE: [f64; 7] = [
    -12_715_105_075.0 / 11_282_082_432.0,
    0.0,
    87_487_479_700.0 / 32_700_410_799.0,
    -10_690_763_975.0 / 1_880_347_072.0,
    701_980_252_875.0 / 199_316_789_632.0,
    -1_453_857_185.0 / 822_651_844.0,
    69_997_945.0 / 29_380_423.0,
];

impl OdeSettings {
    /// Integrates from `start` at `from` and gives the state at each of `times`, which rise from `from` on.
    ///
    /// `derivative(t, y, out)` writes dy/dt into `out`.
    ///
    /// # Errors
    /// - [`Error::Setting`]: a tolerance out of range.
    /// - [`Error::Usage`]: times that fall or lie before `from`.
    /// - [`Error::Numeric`]: the step limit was hit, the step shrank to nothing, or the solution left the finite numbers;
    ///   the message says at what time.
    ///
    /// ```
    /// use heelwort::fit::ode::OdeSettings;
    /// let decay = OdeSettings::default().solve(|_, y, out| out[0] = -y[0], 0.0, &[1.0], &[1.0, 2.0])?;
    /// assert!((decay[1][0] - (-2.0_f64).exp()).abs() < 1e-8);
    /// # Ok::<(), heelwort::Error>(())
    /// ```
    pub fn solve<const N: usize>(
        &self,
        mut derivative: impl FnMut(f64, &[f64; N], &mut [f64; N]),
        from: f64,
        start: &[f64; N],
        times: &[f64],
    ) -> Result<Vec<[f64; N]>> {
        self.check(from, start, times)?;
        let mut answers = Vec::with_capacity(times.len());
        let mut pending = times.iter().copied().peekable();
        while pending.next_if(|time| *time <= from).is_some() {
            answers.push(*start);
        }
        let Some(end) = times.last().copied().filter(|end| *end > from) else { return Ok(answers) };

        let (mut t, mut y) = (from, *start);
        // Slopes at the stages; the last, at the end of a step, is the first of the next.
        let mut k = [[0.0; N]; 7];
        derivative(t, &y, &mut k[0]);
        let mut step = self.first_step(&y, &k[0], end - from);
        let mut refused = false;
        for _ in 0..self.max_steps {
            // The last step ends at the end, also where rounding has t + (end - t) just before it.
            let to_end = t + step > end || t + 1.000_001 * step >= end;
            if to_end {
                step = end - t;
            }
            if !(step > 16.0 * f64::EPSILON * t.abs().max(end.abs())) {
                return Err(Error::numeric("an ODE", format!("the step shrank to nothing at t = {t}")));
            }
            for (stage, (weights, node)) in STAGES.iter().zip(&NODES).enumerate() {
                let trial = combine(&y, step, weights, &k);
                derivative(t + node * step, &trial, &mut k[stage + 1]);
            }
            let trial = combine(&y, step, &FIFTH, &k);
            derivative(t + step, &trial, &mut k[6]);
            let error = self.error(&y, &trial, step, &k);
            if !(error <= 1.0) {
                // NaN and infinity too: shorten, and let the shrinking step name the place.
                step *= if error.is_finite() { (0.9 * error.powf(-0.2)).max(0.2) } else { 0.1 };
                refused = true;
                continue;
            }
            let next = if to_end || t + step >= end { end } else { t + step };
            while let Some(time) = pending.next_if(|time| *time <= next) {
                let theta = ((time - t) / step).min(1.0);
                answers.push(between(theta, &y, &trial, step, &k));
            }
            if next >= end {
                return Ok(answers);
            }
            t = next;
            y = trial;
            k[0] = k[6];
            let growth = if error > 0.0 { (0.9 * error.powf(-0.2)).clamp(0.2, 10.0) } else { 10.0 };
            step *= if refused { growth.min(1.0) } else { growth };
            refused = false;
        }
        Err(Error::numeric("an ODE", format!("{} steps reached only t = {t} of {end}", self.max_steps)))
    }

    fn check(&self, from: f64, start: &[f64], times: &[f64]) -> Result<()> {
        if !(1e-14..=0.1).contains(&self.relative) {
            let value = self.relative.to_string();
            return Err(Error::Setting { name: "relative", value, wanted: "1e-14 to 0.1" });
        }
        if !(self.absolute > 0.0) {
            return Err(Error::Setting { name: "absolute", value: self.absolute.to_string(), wanted: "above 0" });
        }
        if !from.is_finite() || start.iter().chain(times).any(|x| !x.is_finite()) {
            return Err(Error::Usage("an ODE needs finite times and a finite start".to_owned()));
        }
        let rising = times.iter().zip(times.iter().skip(1)).all(|(a, b)| a <= b);
        if !rising || times.first().is_some_and(|first| *first < from) {
            return Err(Error::Usage(format!("times of an ODE rise from the start at {from}")));
        }
        Ok(())
    }

    fn unit(&self, a: f64, b: f64) -> f64 {
        self.absolute + self.relative * a.abs().max(b.abs())
    }

    /// A step in which the state changes by about the hundredth part of itself.
    fn first_step(&self, y: &[f64], slope: &[f64], span: f64) -> f64 {
        let (mut size, mut speed) = (0.0, 0.0);
        for (y, slope) in y.iter().zip(slope) {
            let unit = self.unit(*y, *y);
            size += (y / unit).powi(2);
            speed += (slope / unit).powi(2);
        }
        let step = if size > 1e-10 && speed > 1e-10 { 0.01 * (size / speed).sqrt() } else { 1e-6 };
        step.clamp(1e-12 * span, 0.1 * span)
    }

    fn error<const N: usize>(&self, before: &[f64; N], after: &[f64; N], step: f64, k: &[[f64; N]; 7]) -> f64 {
        let mut sum = 0.0;
        for (i, (a, b)) in before.iter().zip(after).enumerate() {
            sum += (step * weighted(&ERROR, k, i) / self.unit(*a, *b)).powi(2);
        }
        (sum / N.max(1) as f64).sqrt()
    }
}

/// The weighted sum of the slopes of component `i`.
fn weighted<const N: usize>(weights: &[f64], k: &[[f64; N]; 7], i: usize) -> f64 {
    weights.iter().zip(k).map(|(w, slope)| w * slope[i]).sum()
}

fn combine<const N: usize>(y: &[f64; N], step: f64, weights: &[f64], k: &[[f64; N]; 7]) -> [f64; N] {
    std::array::from_fn(|i| y[i] + step * weighted(weights, k, i))
}

/// The continuous extension at a share `theta` of the step.
fn between<const N: usize>(theta: f64, before: &[f64; N], after: &[f64; N], step: f64, k: &[[f64; N]; 7]) -> [f64; N] {
    let rest = 1.0 - theta;
    std::array::from_fn(|i| {
        let rise = after[i] - before[i];
        let start = step * k[0][i] - rise;
        let bend = rise - step * k[6][i] - start;
        before[i] + theta * (rise + rest * (start + theta * (bend + rest * step * weighted(&DENSE, k, i))))
    })
}
