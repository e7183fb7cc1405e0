//! The search for the process: scoring steps on the logarithm of the memory and the white share.

use super::likelihood::{LikelihoodData, LikelihoodValue};

/// Steps at most, and shortenings of one.
const STEPS: usize = 60;
const SHORTENINGS: usize = 12;
/// The farthest a step goes along each axis.
const FARTHEST: f64 = 2.0;
/// A climb is given up when this many times what it promises would still not be enough.
const HOPE: f64 = 20.0;

/// How far a search goes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Effort {
    /// The rise of the logarithm of the likelihood that is still worth a step.
    pub worth: f64,
    /// Minus the logarithm of a likelihood below which the search is of no interest; infinity where all are.
    pub enough: f64,
}

/// Where the search may go, and when it ends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// Of the logarithm of the memory.
    pub low: f64,
    pub high: f64,
    /// False where there is no white noise.
    pub white_noise: bool,
    /// A typical gap between readings.
    pub gap: f64,
    pub effort: Effort,
}

/// A local maximum of the likelihood from `start` on (logarithm of the memory, white share): steps of Fisher's scoring, the
/// information corrected so that the last step would have been right (Broyden, Fletcher, Goldfarb, Shanno), shortened until
/// the likelihood rises. `None` where it has no value at the start.
///
/// The white share g is searched as v in g = (e^v - 1) f, where f is the variance that the remembering part gains anew from
/// one reading to the next: white noise is told from memory on that scale, 0 is a place like others, and where only the
/// growth of the variance is seen, not the memory itself, both stay apart.
pub(super) fn climb<const N: usize>(
    columns: &LikelihoodData<'_, N>,
    start: [f64; 2],
    bounds: &Bounds,
) -> Option<([f64; 2], LikelihoodValue<N>)> {
    // f and its derivative by the logarithm of the memory.
    let renewed = |u: f64| {
        let gap = 2.0 * bounds.gap / u.exp();
        (-(-gap).exp_m1(), -gap * (-gap).exp())
    };
    let ends = |u: f64| {
        let most = if bounds.white_noise { (1.0 / renewed(u).0).ln_1p() } else { 0.0 };
        [(bounds.low, bounds.high), (0.0, most)]
    };
    let look = |[u, v]: [f64; 2]| {
        let (new, new_by) = renewed(u);
        let white = (v.exp_m1() * new).clamp(0.0, 1.0);
        let mut value = columns.value::<true>(u.exp(), white)?;
        let (by_u, by_v) = (v.exp_m1() * new_by, v.exp() * new);
        let [[a, b], [_, d]] = value.information;
        value.slopes = [value.slopes[0] + by_u * value.slopes[1], by_v * value.slopes[1]];
        let across = by_v * (b + by_u * d);
        value.information = [[a + 2.0 * by_u * b + by_u * by_u * d, across], [across, by_v * by_v * d]];
        Some((white, value))
    };
    let mut at = [start[0], (start[1] / renewed(start[0]).0).ln_1p()];
    let (mut white, mut here) = look(at)?;
    let mut curvature = sound(here.information);
    for _ in 0..STEPS {
        let ends = ends(at[0]);
        let mut step = downhill(&ends, at, here.slopes, curvature);
        let promised = -(step[0] * here.slopes[0] + step[1] * here.slopes[1]);
        let hopeless = here.loss - HOPE * (promised + 1.0) > bounds.effort.enough;
        if !(promised > bounds.effort.worth) || hopeless {
            break;
        }
        let mut moved = None;
        for _ in 0..SHORTENINGS {
            let to = [0, 1].map(|axis| (at[axis] + step[axis]).clamp(ends[axis].0, ends[axis].1));
            // Rounding of the likelihood counts as no rise.
            if let Some(there) = look(to).filter(|(_, there)| there.loss <= here.loss + 1e-12 * here.loss.abs()) {
                moved = Some((to, there));
                break;
            }
            step = step.map(|part| 0.3 * part);
        }
        let Some((to, (there_white, there))) = moved else { break };
        curvature = corrected(
            sound(there.information),
            [to[0] - at[0], to[1] - at[1]],
            [there.slopes[0] - here.slopes[0], there.slopes[1] - here.slopes[1]],
        );
        (at, white, here) = (to, there_white, there);
    }
    Some(([at[0], white], here))
}

/// The step downhill by the curvature, from a place in the box to another; an axis at whose end the way leads out is left.
fn downhill(ends: &[(f64, f64); 2], at: [f64; 2], slopes: [f64; 2], curvature: [[f64; 2]; 2]) -> [f64; 2] {
    let mut free = [0, 1].map(|axis| {
        let (low, high) = ends[axis];
        low < high && !(at[axis] <= low && slopes[axis] > 0.0) && !(at[axis] >= high && slopes[axis] < 0.0)
    });
    loop {
        let step = match free {
            [true, true] => {
                let [[a, b], [_, d]] = curvature;
                let det = (a * d - b * b).max(1e-10 * a * d);
                [(b * slopes[1] - d * slopes[0]) / det, (b * slopes[0] - a * slopes[1]) / det]
            }
            [true, false] => [-slopes[0] / curvature[0][0], 0.0],
            [false, true] => [0.0, -slopes[1] / curvature[1][1]],
            [false, false] => [0.0, 0.0],
        };
        let longest = (step[0].abs() / FARTHEST).max(step[1].abs() / FARTHEST).max(1.0);
        let step = step.map(|part| part / longest);
        let beyond = |axis: usize| {
            let to = at[axis] + step[axis];
            free[axis] && (to < ends[axis].0 || to > ends[axis].1)
        };
        // An axis that meets its end goes there, and the other takes the step that is then best.
        let Some(axis) = [1, 0].into_iter().find(|axis| beyond(*axis)) else { return step };
        let other = 1 - axis;
        let end = if step[axis] < 0.0 { ends[axis].0 } else { ends[axis].1 };
        let mut whole = [0.0; 2];
        whole[axis] = end - at[axis];
        if free[other] {
            let left = -(slopes[other] + curvature[0][1] * whole[axis]) / curvature[other][other];
            let (low, high) = ends[other];
            whole[other] = left.clamp(-FARTHEST, FARTHEST).clamp(low - at[other], high - at[other]);
        }
        if whole[0] * slopes[0] + whole[1] * slopes[1] < 0.0 {
            return whole;
        }
        free[axis] = false;
    }
}

/// The information, kept away from singular.
fn sound(information: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
    let [[a, b], [_, d]] = information;
    let (a, d) = (a.max(1e-6), d.max(1e-6));
    let most = 0.999 * (a * d).sqrt();
    let b = b.clamp(-most, most);
    [[a, b], [b, d]]
}

/// The curvature that agrees with the change of the slopes over the last step.
fn corrected(curvature: [[f64; 2]; 2], step: [f64; 2], change: [f64; 2]) -> [[f64; 2]; 2] {
    let by = [0, 1].map(|i| curvature[i][0] * step[0] + curvature[i][1] * step[1]);
    let (curved, seen) = (step[0] * by[0] + step[1] * by[1], step[0] * change[0] + step[1] * change[1]);
    if !(seen > 0.02 * curved && seen < 50.0 * curved) {
        return curvature;
    }
    [0, 1].map(|i| [0, 1].map(|j| curvature[i][j] - by[i] * by[j] / curved + change[i] * change[j] / seen))
}
