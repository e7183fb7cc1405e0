//! Start values from the data.

use crate::kinetics::median::median;

use super::SigmoidKind;

/// Blocks into which many points are gathered.
const BLOCKS: usize = 60;

/// Points in few, less noisy ones: where they are and what level they have.
#[derive(Debug, Clone)]
pub(super) struct Smooth {
    x: Vec<f64>,
    y: Vec<f64>,
}

impl Smooth {
    /// Medians of blocks of many points, running medians of five of few. `x` rises.
    pub fn new(x: &[f64], y: &[f64]) -> Self {
        let width = x.len() / BLOCKS;
        let mut buffer = Vec::with_capacity(2 * width + 5);
        let mut middle = |values: &[f64]| {
            buffer.clear();
            buffer.extend_from_slice(values);
            median(&mut buffer)
        };
        if width < 3 {
            let at = |i: usize| {
                let side = 2.min(i).min(x.len() - 1 - i);
                middle(y.get(i - side..=i + side).unwrap_or_default())
            };
            return Self { x: x.to_vec(), y: (0..x.len()).map(at).collect() };
        }
        let places = x.chunks(width).map(|block| 0.5 * (block[0] + block[block.len() - 1])).collect();
        Self { x: places, y: y.chunks(width).map(middle).collect() }
    }

    /// Where the level is first passed on the way up or down, between points by a straight line; the last point at most.
    fn crossing(&self, level: f64, rising: bool) -> f64 {
        let passed = |y: f64| if rising { y >= level } else { y <= level };
        let last = self.x.last().copied().unwrap_or(0.0);
        let Some(i) = self.y.iter().position(|y| passed(*y)) else { return last };
        let Some(before) = i.checked_sub(1) else { return self.x[0] };
        let part = (level - self.y[before]) / (self.y[i] - self.y[before]);
        self.x[before] + part * (self.x[i] - self.x[before])
    }

    /// The sum of squares of points about the straight lines between these; `x` rises.
    pub fn roughness(&self, x: &[f64], y: &[f64]) -> f64 {
        let mut next = 1.min(self.x.len() - 1);
        let mut sum = 0.0;
        for (x, y) in x.iter().zip(y) {
            while *x > self.x[next] && next + 1 < self.x.len() {
                next += 1;
            }
            let before = next.saturating_sub(1);
            let width = self.x[next] - self.x[before];
            let part = if width > 0.0 { ((x - self.x[before]) / width).clamp(0.0, 1.0) } else { 0.0 };
            sum += (y - self.y[before] - part * (self.y[next] - self.y[before])).powi(2);
        }
        sum
    }

    /// Start values in the order of the parameters, the likeliest first.
    pub fn starts(&self, kind: SigmoidKind, from: Option<f64>) -> impl Iterator<Item = Vec<f64>> {
        let (low, high) = self.y.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(*y), h.max(*y)));
        let rising = self.y.last() >= self.y.first();
        let (begin, end) = if rising { (low, high) } else { (high, low) };
        let begin = from.unwrap_or(begin);
        let reach = self.x.last().zip(self.x.first()).map_or(0.0, |(last, first)| 0.02 * (last - first));
        let grid = [0.02, 0.5, 2.0].into_iter().flat_map(|beyond| [1.0, 0.5, 2.5].map(|stretch| (beyond, stretch)));
        grid.filter_map(move |(beyond, stretch)| {
            let to = end + beyond * (end - begin);
            let size = (to - begin).abs();
            let [quarter, half, later] =
                [0.25, 0.5, 0.75].map(|share| self.crossing(begin + share * (to - begin), rising));
            let z = [0.25, 0.5, 0.75].map(|share| kind.z_of(share, 1.0));
            // Where the data end before three quarters, the first part of the change tells the rate.
            let ends = self.x.last().is_some_and(|last| later >= *last);
            let (span, done) = if ends { (half - quarter, z[1] - z[0]) } else { (later - quarter, z[2] - z[0]) };
            let rate = stretch * done * size / span.max(reach);
            let mut start = vec![begin, to, rate, half - z[1] * size / rate];
            if kind.parameters() == 5 {
                start.push(1.0);
            }
            (rate > 0.0 && start.iter().all(|value| value.is_finite())).then_some(start)
        })
    }
}
