//! What lies between the truth and a logged row: noise, bubbles, foam, rounding.

use super::stream::Stream;

/// How one probe measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sensor {
    /// White noise of the tilt, degrees.
    pub white_deg: f64,
    /// Standard deviation of the autocorrelated noise of the tilt, degrees.
    pub slow_deg: f64,
    /// Hours in which that noise forgets all but a part in e.
    pub slow_h: f64,
    /// Zero of the tilt as built, degrees.
    pub zero_deg: f64,
    /// Turn of the zero with temperature, degrees per K from 20 C.
    pub zero_deg_per_k: f64,
    /// Error of the thermometer, K, and its part that grows from 20 C.
    pub temp_offset_k: f64,
    /// Relative error of the thermometer's slope.
    pub temp_slope: f64,
    /// Hours in which the thermometer follows the liquid to a part in e.
    pub temp_lag_h: f64,
    /// Gas that clings to it in a fermentation of 0.015 SG per day, mL.
    pub gas_ml: f64,
    /// Foam that it carries in high foam, g.
    pub foam_g: f64,
}

impl Sensor {
    /// Draws how a probe measures.
    pub fn draw(draw: &mut Stream, noise_scale: f64, bubble_scale: f64) -> Self {
        Self {
            white_deg: noise_scale * draw.uniform(0.08, 0.20),
            slow_deg: noise_scale * draw.uniform(0.10, 0.25),
            slow_h: draw.uniform(1.0, 4.0),
            zero_deg: draw.bounded_normal(0.6),
            zero_deg_per_k: noise_scale * draw.bounded_normal(0.008),
            temp_offset_k: noise_scale * draw.bounded_normal(0.25),
            temp_slope: noise_scale * draw.bounded_normal(0.004),
            temp_lag_h: draw.uniform(0.2, 0.5),
            gas_ml: bubble_scale * 0.05 * draw.bounded_normal(0.4).exp(),
            foam_g: bubble_scale * draw.uniform(0.1, 0.6),
        }
    }

    /// What the thermometer shows at this temperature of its own, C.
    pub fn temperature(&self, temp_c: f64) -> f64 {
        temp_c + self.temp_offset_k + self.temp_slope * (temp_c - 20.0)
    }
}

/// Noise and clinging gas as they go on from reading to reading.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct SensorState {
    slow: f64,
    /// Gas that clings to the shell, mL.
    pub gas_ml: f64,
    /// Foam on the dry part, g.
    pub foam_g: f64,
    /// Readings that a lump of foam or the wall still leans on, and by how much, degrees.
    leaning: (usize, f64),
}

/// Fall of SG per day that clinging gas and foam are given for.
const LIVELY_SG_PER_DAY: f64 = 0.015;
const GAS_H: f64 = 2.0;

impl SensorState {
    /// The probe freshly put into a liquid.
    pub fn fresh(draw: &mut Stream) -> Self {
        Self { slow: draw.normal(1.0), ..Self::default() }
    }

    /// Goes on by `hours` in beer that falls by `rate` SG per day.
    ///
    /// Gas gathers in gamma-distributed lots with a mean proportional to the rate, leaves with a time constant of 2 h and,
    /// about every 15 h, all at once: its lift has one sign. Foam builds in 5 h and dries in 40 h.
    pub fn step(&mut self, draw: &mut Stream, sensor: &Sensor, hours: f64, rate: f64) {
        let kept = (-hours / sensor.slow_h).exp();
        self.slow = kept * self.slow + (1.0 - kept * kept).sqrt() * draw.normal(1.0);
        let vigour = (rate / LIVELY_SG_PER_DAY).max(0.0);
        let stays = (-hours / GAS_H).exp();
        let lot = 0.5 * (draw.exponential(1.0) + draw.exponential(1.0));
        self.gas_ml = stays * self.gas_ml + (1.0 - stays) * sensor.gas_ml * vigour * lot;
        if draw.chance(1.0 - (-hours / 15.0).exp()) {
            self.gas_ml = 0.0;
        }
        let foam = if vigour > 0.35 { sensor.foam_g * vigour.min(1.5) } else { 0.0 };
        let pace = if foam > self.foam_g { 5.0 } else { 40.0 };
        self.foam_g = foam + (self.foam_g - foam) * (-hours / pace).exp();
    }

    /// Noise of one tilt, degrees, with rocking by rising gas and now and then a lump that leans on the probe for a while.
    pub fn noise_deg(&mut self, draw: &mut Stream, sensor: &Sensor, rate: f64, lumps: bool) -> f64 {
        let vigour = (rate / LIVELY_SG_PER_DAY).clamp(0.0, 2.0);
        let white = sensor.white_deg * (1.0 + 0.8 * vigour) * draw.normal(1.0);
        if self.leaning.0 == 0 && draw.chance(0.004 * vigour) && lumps {
            let push = draw.uniform(1.5, 9.0) * if draw.chance(0.7) { 1.0 } else { -1.0 };
            self.leaning = (1 + draw.below(5), push);
        }
        let lean = if self.leaning.0 > 0 { self.leaning.1 } else { 0.0 };
        self.leaning.0 = self.leaning.0.saturating_sub(1);
        white + sensor.slow_deg * self.slow + lean
    }
}

/// `value` rounded to a multiple of `step`, without the noise of binary fractions.
pub(super) fn rounded(value: f64, step: f64) -> f64 {
    let per_unit = 1.0 / step;
    (value * per_unit).round() / per_unit
}

#[cfg(test)]
#[path = "../../tests/inside/sensor.rs"]
mod tests;
