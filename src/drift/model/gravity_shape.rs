//! How a probe's error shows at other gravities than that at which drift is stated.

use crate::drift::pairs::Curves;
use crate::drift::scale::AT_SG;

/// Gravities at which a curve is looked at, and between which its slope is straight.
const GRID_SG: [f64; 11] = [0.990, 1.000, 1.010, 1.020, 1.030, 1.040, 1.050, 1.065, 1.080, 1.100, 1.130];

assumed! {
    /// A curve may be this many times as steep elsewhere, or as little, as at SG 1.020: beyond that it is no float's.
    const STEEPEST: f64 = 4.0, "times";
    /// Without a curve: by how much more an error of the sensor's zero or across the axis shows for each 0.030 below SG 1.020, as
    /// the hydrostatics of two floats have it (0.27 to 0.40).
    const SIDEWAYS: f64 = 0.33, "share";
    /// The part of an error's variance that is sideways where nothing tells it.
    pub(in crate::drift) const EVEN: f64 = 0.5, "share";
}

/// A number and how far it may be from that, SD, with a sign.
///
/// An error whose variance is the part r of kind s and for the rest of kind p has the covariance r s s' + (1 - r) p p' over
/// gravities. That is m m' + d d' with m = r s + (1 - r) p and d = sqrt(r (1 - r)) (s - p): what it is expected to show, and
/// by how much it may differ, all gravities alike.
pub(in crate::drift) type GravityResponse = (f64, f64);

/// How the errors of one probe show at a gravity, in units of those at SG 1.020, by kind.
///
/// ```text
/// proportional: error(SG) ~ SG                  (mass, height, shell: a relative error of density)
/// sideways:     error(SG) ~ (dSG/dtilt)(SG)     (sensor zero, mass across the axis: the slope of the probe's curve)
/// ```
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct GravityShape {
    /// Sideways at the gravities of the grid; none for a curve that does not tell.
    sideways: Option<[f64; GRID_SG.len()]>,
    /// Slope of the probe's curve at SG 1.020 in units of the fleet's: a wander of the sensor's zero by so many degrees moves
    /// the gravity of a steeper one farther.
    pub steepness: f64,
}

impl Default for GravityShape {
    fn default() -> Self {
        Self { sideways: None, steepness: 1.0 }
    }
}

impl GravityShape {
    /// The shapes of these probes by their first curves.
    pub fn of(curves: &Curves, probes: &[&str]) -> Vec<Self> {
        let slopes: Vec<Option<f64>> = probes.iter().map(|probe| slope(curves, probe, AT_SG)).collect();
        let squares: Vec<f64> = slopes.iter().flatten().map(|slope| slope * slope).collect();
        let usual = (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt();
        let of = |(probe, at): (&&str, &Option<f64>)| match at {
            Some(at) => Self { sideways: sideways(curves, probe, *at), steepness: at / usual },
            None => Self::default(),
        };
        probes.iter().zip(&slopes).map(of).collect()
    }

    fn sideways(&self, sg: f64) -> f64 {
        let Some(sideways) = &self.sideways else { return 1.0 + *SIDEWAYS * (AT_SG - sg) / 0.030 };
        let mut points = GRID_SG.iter().zip(sideways).zip(GRID_SG.iter().zip(sideways).skip(1));
        let last = points.clone().next_back();
        let Some(((a, left), (b, right))) = points.find(|(_, (b, _))| sg <= **b).or(last) else { return 1.0 };
        left + (right - left) * ((sg - a) / (b - a)).clamp(0.0, 1.0)
    }

    /// An error of which this part of the variance is sideways.
    fn mixed(&self, part: f64, (sideways, proportional): (f64, f64)) -> GravityResponse {
        (part * sideways + (1.0 - part) * proportional, (part * (1.0 - part)).sqrt() * (sideways - proportional))
    }

    /// What an error of 1 at SG 1.020 of unknown kind shows.
    pub fn shown(&self, sg: f64) -> GravityResponse {
        self.mixed(*EVEN, (self.sideways(sg), sg / AT_SG))
    }

    /// What a walk of 1 at SG 1.020 of a usual probe shows on this one; this part of its variance is sideways.
    pub fn walked(&self, part: f64, sg: f64) -> GravityResponse {
        self.mixed(part, (self.steepness * self.sideways(sg), sg / AT_SG))
    }
}

/// Slope of a probe's first curve, SG per degree.
fn slope(curves: &Curves, probe: &str, sg: f64) -> Option<f64> {
    curves.first(probe).and_then(|first| curves.per_deg(first, sg)).filter(|slope| slope.is_finite() && *slope > 0.0)
}

/// The slopes on the grid in units of that at SG 1.020; beyond the curve the last there is. A curve that is not steeper in water
/// than in strong wort, as every float's is, does not tell.
fn sideways(curves: &Curves, probe: &str, at_1020: f64) -> Option<[f64; GRID_SG.len()]> {
    let mut found = GRID_SG.map(|sg| slope(curves, probe, sg).map(|s| (s / at_1020).clamp(1.0 / *STEEPEST, *STEEPEST)));
    for i in 1..found.len() {
        if found.get(i).copied().flatten().is_none() {
            let before = found.get(i - 1).copied().flatten();
            *found.get_mut(i)? = before;
        }
    }
    let first = found.iter().flatten().next().copied()?;
    let shape = found.map(|slope| slope.unwrap_or(first));
    let at = |sg: f64| GRID_SG.iter().position(|g| (g - sg).abs() < 1e-9).and_then(|i| shape.get(i)).copied();
    (at(1.0)? > at(1.05)?).then_some(shape)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_mix_in_variance() {
        let shape =
            GravityShape { sideways: Some([1.6, 1.5, 1.2, 1.0, 0.9, 0.8, 0.7, 0.6, 0.6, 0.6, 0.6]), steepness: 1.4 };
        let part = 0.3;
        for (a, b) in [(1.0, 1.0), (1.005, 1.045), (1.02, 1.2), (0.9, 1.09)] {
            let (first, second) = (shape.walked(part, a), shape.walked(part, b));
            let found = first.0 * second.0 + first.1 * second.1;
            let wanted = part * 1.4 * 1.4 * shape.sideways(a) * shape.sideways(b) + 0.7 * a * b / (AT_SG * AT_SG);
            assert!((found - wanted).abs() < 1e-12);
        }
        assert!((shape.sideways(1.005) - 1.35).abs() < 1e-12 && (shape.sideways(0.9) - 1.6).abs() < 1e-12);
        assert!((shape.shown(AT_SG).0 - 1.0).abs() < 1e-12 && shape.shown(AT_SG).1.abs() < 1e-12);
        assert!((GravityShape::default().sideways(0.99) - 1.33).abs() < 1e-12);
    }
}
