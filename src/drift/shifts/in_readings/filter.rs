//! Beer and probes of one batch as a linear model in time, solved forwards and backwards.
//!
//! ```text
//! median of probe k = g + w_k a_k + b_k + beta_k (T - mean T) + own noise
//! ```
//!
//! `g` is the gravity of the beer with a slope that wanders (an integrated random walk, quicker while it ferments), `w_k` what gas
//! and handling make of the probe for some hours (an autoregression), `b_k` its offset, `beta_k` what is left of shell and
//! thermometer, per K. A sudden lasting shift of the probe is a jump of `b_k`. Forwards runs the Kalman filter, one median at
//! a time; backwards run the scores `r` and informations `N` of a jump of each state at each moment (P. de Jong and
//! J. Penzer, J. Am. Stat. Assoc. 93 (1998) 796; J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods,
//! 2nd ed. 2012, sections 4.5 and 7.5):
//!
//! ```text
//! jump = r/N,   se = N^-1/2,   T^2 = r^2/N is twice the logarithm of the likelihood ratio
//! ```

/// Standard deviations before the first median: gravity, its slope per hour, an offset, shell and thermometer per K.
const FIRST_SD: [f64; 4] = [0.05, 0.002, 0.01, 1.5e-4];
/// States of the beer, and of each probe.
const BEER: usize = 2;
const OF_PROBE: usize = 3;

/// Index of a probe's offset among the states.
pub(super) fn offset(probe: usize) -> usize {
    BEER + OF_PROBE * probe + 1
}

/// Index of what gas and handling make of a probe.
pub(super) fn wander(probe: usize) -> usize {
    BEER + OF_PROBE * probe
}

/// From one bin to the next.
#[derive(Debug, Clone, Default)]
pub(super) struct BinStep {
    /// Hours.
    pub hours: f64,
    /// Share of a wander that is kept.
    pub kept: f64,
    /// Variance by which the slope of the gravity wanders, (SG/h)^2 an hour.
    pub slope_variance: f64,
    /// Variance by which each offset wanders, SG^2 an hour.
    pub offset_variance: f64,
    /// Jumps of states that are allowed for: state and variance.
    pub jolts: Vec<(usize, f64)>,
}

/// One median with what leads to it.
#[derive(Debug, Clone)]
pub(super) struct FilterNode {
    /// The move before it, where it is the first of its bin; none before the first of all.
    pub before: Option<BinStep>,
    /// The probe.
    pub probe: usize,
    /// BinMedian, SG.
    pub sg: f64,
    /// Variance of its own noise.
    pub variance: f64,
    /// How much of a unit wander it shows, SG.
    pub wander: f64,
    /// Hours from the middle of the bin to the median.
    pub late_h: f64,
    /// Temperature less its mean, K.
    pub warm_k: f64,
}

/// The filter's run.
#[derive(Debug, Clone)]
pub(super) struct Filtered {
    states: usize,
    /// Per median: error of its forecast over the SD of that.
    pub innovations: Vec<f64>,
    /// Per median: SD of the forecast's error.
    pub sds: Vec<f64>,
    /// Per median: how far each state follows the forecast's error.
    gains: Vec<f64>,
}

/// What a jump of a state at the start of a bin would explain.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Jump {
    pub score: f64,
    pub information: f64,
}

impl Jump {
    /// Twice the logarithm of the likelihood ratio.
    pub fn statistic(&self) -> f64 {
        if self.information > 0.0 { self.score * self.score / self.information } else { 0.0 }
    }
}

impl FilterNode {
    /// What the median shows of each state.
    fn shows(&self) -> [(usize, f64); 5] {
        let own = BEER + OF_PROBE * self.probe;
        [(0, 1.0), (1, self.late_h), (own, self.wander), (own + 1, 1.0), (own + 2, self.warm_k)]
    }
}

/// A symmetric matrix that the moves and medians change in place.
struct Square {
    n: usize,
    cells: Vec<f64>,
}

impl Square {
    fn zero(n: usize) -> Self {
        Self { n, cells: vec![0.0; n * n] }
    }

    fn at(&self, i: usize, j: usize) -> f64 {
        self.cells[i * self.n + j]
    }

    fn add(&mut self, i: usize, j: usize, by: f64) {
        self.cells[i * self.n + j] += by;
    }

    /// Adds `by` times row and column `from` to row and column `to`.
    fn mix(&mut self, to: usize, from: usize, by: f64) {
        for j in 0..self.n {
            self.cells[to * self.n + j] += by * self.cells[from * self.n + j];
        }
        for i in 0..self.n {
            self.cells[i * self.n + to] += by * self.cells[i * self.n + from];
        }
    }

    /// Multiplies row and column `i`.
    fn scale(&mut self, i: usize, by: f64) {
        for j in 0..self.n {
            self.cells[i * self.n + j] *= by;
            self.cells[j * self.n + i] *= by;
        }
    }

    /// The product with a sparse vector.
    fn times(&self, sparse: &[(usize, f64)], into: &mut [f64]) {
        into.fill(0.0);
        for &(j, z) in sparse {
            for (sum, cell) in into.iter_mut().zip(&self.cells[j * self.n..(j + 1) * self.n]) {
                *sum += z * cell;
            }
        }
    }
}

fn states(probes: usize) -> usize {
    BEER + OF_PROBE * probes
}

/// Runs the filter over the medians of a batch with so many probes.
pub(super) fn filter(nodes: &[FilterNode], probes: usize) -> Filtered {
    let n = states(probes);
    let mut p = Square::zero(n);
    let mut a = vec![0.0; n];
    a[0] = nodes.first().map_or(1.0, |node| node.sg);
    p.add(0, 0, FIRST_SD[0].powi(2));
    p.add(1, 1, FIRST_SD[1].powi(2));
    for k in 0..probes {
        let own = BEER + OF_PROBE * k;
        p.add(own, own, 1.0);
        p.add(own + 1, own + 1, FIRST_SD[2].powi(2));
        p.add(own + 2, own + 2, FIRST_SD[3].powi(2));
    }
    let mut found = Filtered {
        states: n,
        innovations: Vec::with_capacity(nodes.len()),
        sds: Vec::with_capacity(nodes.len()),
        gains: Vec::with_capacity(nodes.len() * n),
    };
    let mut with = vec![0.0; n];
    for node in nodes {
        if let Some(step) = &node.before {
            forwards(step, probes, &mut a, &mut p);
        }
        let shows = node.shows();
        p.times(&shows, &mut with);
        let variance = node.variance + shows.iter().map(|&(i, z)| z * with[i]).sum::<f64>();
        let error = node.sg - shows.iter().map(|&(i, z)| z * a[i]).sum::<f64>();
        for i in 0..n {
            a[i] += with[i] / variance * error;
            for j in 0..n {
                p.add(i, j, -with[i] * with[j] / variance);
            }
        }
        found.innovations.push(error / variance.sqrt());
        found.sds.push(variance.sqrt());
        found.gains.extend(with.iter().map(|w| w / variance));
    }
    found
}

fn forwards(step: &BinStep, probes: usize, a: &mut [f64], p: &mut Square) {
    let h = step.hours;
    a[0] += h * a[1];
    p.mix(0, 1, h);
    p.add(0, 0, step.slope_variance * h.powi(3) / 3.0);
    p.add(0, 1, step.slope_variance * h * h / 2.0);
    p.add(1, 0, step.slope_variance * h * h / 2.0);
    p.add(1, 1, step.slope_variance * h);
    let kept = step.kept;
    for k in 0..probes {
        let own = BEER + OF_PROBE * k;
        a[own] *= kept;
        p.scale(own, kept);
        p.add(own, own, 1.0 - kept * kept);
        p.add(own + 1, own + 1, step.offset_variance * h);
    }
    for &(state, variance) in &step.jolts {
        p.add(state, state, variance);
    }
}

impl Filtered {
    fn gain(&self, median: usize) -> &[f64] {
        &self.gains[median * self.states..(median + 1) * self.states]
    }

    /// The informations of a jump of every state at the start of each bin, in the order of the moves: one row of states each.
    pub fn informations(&self, nodes: &[FilterNode], probes: usize) -> Vec<Vec<f64>> {
        let n = self.states;
        let mut square = Square::zero(n);
        let (mut column, mut rows) = (vec![0.0; n], Vec::new());
        for (i, node) in nodes.iter().enumerate().rev() {
            // N <- z z'/F + (I - z K') N (I - K z').
            let (shows, gain) = (node.shows(), self.gain(i));
            let all: Vec<(usize, f64)> = gain.iter().copied().enumerate().collect();
            square.times(&all, &mut column);
            let inner: f64 = gain.iter().zip(&column).map(|(k, c)| k * c).sum::<f64>() + self.sds[i].powi(-2);
            for &(s, z) in &shows {
                for (j, c) in column.iter().enumerate() {
                    square.add(s, j, -z * c);
                    square.add(j, s, -z * c);
                }
            }
            for &(s, z) in &shows {
                for &(t, y) in &shows {
                    square.add(s, t, z * y * inner);
                }
            }
            if let Some(step) = &node.before {
                rows.push((0..n).map(|s| square.at(s, s)).collect());
                square.mix(1, 0, step.hours);
                (0..probes).for_each(|k| square.scale(BEER + OF_PROBE * k, step.kept));
            }
        }
        rows.reverse();
        rows
    }

    /// The scores of a jump of every state at the start of each bin from these standardised innovations: `each` is given the
    /// number of the move, last first, and the scores.
    pub fn scores(
        &self,
        nodes: &[FilterNode],
        probes: usize,
        innovations: &[f64],
        mut each: impl FnMut(usize, &[f64]),
    ) {
        let mut r = vec![0.0; self.states];
        let mut number = nodes.iter().filter(|node| node.before.is_some()).count();
        for (i, node) in nodes.iter().enumerate().rev() {
            let (shows, gain) = (node.shows(), self.gain(i));
            let followed: f64 = gain.iter().zip(&r).map(|(k, r)| k * r).sum();
            let push = innovations[i] / self.sds[i] - followed;
            for &(s, z) in &shows {
                r[s] += z * push;
            }
            if let Some(step) = &node.before {
                number -= 1;
                each(number, &r);
                r[1] += step.hours * r[0];
                for k in 0..probes {
                    r[BEER + OF_PROBE * k] *= step.kept;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};

    fn nodes() -> Vec<FilterNode> {
        let sg = |i: usize| 1.012 + 1e-4 * (i as f64 * 1.7).sin() + if i > 9 { 0.002 } else { 0.0 };
        (0..16)
            .map(|i| FilterNode {
                before: (i > 0).then(|| BinStep {
                    hours: 1.0 + 0.5 * (i % 3) as f64,
                    kept: 0.7 - 0.1 * (i % 3) as f64,
                    slope_variance: 1e-9,
                    offset_variance: 1e-9,
                    jolts: if i == 4 { vec![(offset(0), 1e-6)] } else { Vec::new() },
                }),
                probe: 0,
                sg: sg(i),
                variance: 4e-8,
                wander: 2e-4,
                late_h: 0.1 * (i % 2) as f64,
                warm_k: (i as f64 * 0.9).cos(),
            })
            .collect()
    }

    /// All states written out as sums of independent normal numbers give the covariance of the medians; generalised least squares
    /// with it must agree with the recursions.
    #[test]
    fn jumps_agree_with_generalised_least_squares() {
        let nodes = nodes();
        let n = nodes.len();
        // Each column: what one unit of one independent cause adds to the medians.
        let mut causes: Vec<DVector<f64>> = Vec::new();
        let run = |start: [f64; 5], at: usize| {
            let mut state = start;
            DVector::from_iterator(
                n,
                nodes.iter().enumerate().map(|(i, node)| {
                    if i > at {
                        let step = node.before.as_ref().unwrap();
                        state[0] += step.hours * state[1];
                        state[2] *= step.kept;
                    }
                    let shown: f64 = node.shows().iter().map(|&(s, z)| z * state[s]).sum();
                    if i < at { 0.0 } else { shown }
                }),
            )
        };
        let unit = |s: usize, size: f64| {
            let mut state = [0.0; 5];
            state[s] = size;
            state
        };
        for (s, sd) in [(0, FIRST_SD[0]), (1, FIRST_SD[1]), (2, 1.0), (3, FIRST_SD[2]), (4, FIRST_SD[3])] {
            causes.push(run(unit(s, sd), 0));
        }
        for (i, node) in nodes.iter().enumerate().skip(1) {
            let step = node.before.as_ref().unwrap();
            let h = step.hours;
            // Cholesky of the noise of gravity and slope.
            let (q, root) = (step.slope_variance, (step.slope_variance * h).sqrt());
            let mut both = [0.0; 5];
            (both[0], both[1]) = (q * h * h / 2.0 / root, root);
            causes.push(run(both, i));
            causes.push(run(unit(0, (q * h.powi(3) / 12.0).sqrt()), i));
            causes.push(run(unit(2, (1.0 - step.kept.powi(2)).sqrt()), i));
            causes.push(run(unit(3, (step.offset_variance * h).sqrt()), i));
            for &(s, variance) in &step.jolts {
                causes.push(run(unit(s, variance.sqrt()), i));
            }
        }
        let causes = DMatrix::from_columns(&causes);
        let mut covariance = &causes * causes.transpose();
        for (i, node) in nodes.iter().enumerate() {
            covariance[(i, i)] += node.variance;
        }
        let inverse = covariance.try_inverse().unwrap();
        let y = DVector::from_iterator(n, nodes.iter().map(|node| node.sg - nodes[0].sg));

        let filtered = filter(&nodes, 1);
        let informations = filtered.informations(&nodes, 1);
        let mut scores = vec![Vec::new(); n - 1];
        filtered.scores(&nodes, 1, &filtered.innovations, |i, r| scores[i] = r.to_vec());
        for (i, (row, r)) in informations.iter().zip(&scores).enumerate() {
            for s in [0, 3] {
                let column = run(unit(s, 1.0), i + 1);
                let information = (column.transpose() * &inverse * &column)[0];
                let score = (column.transpose() * &inverse * &y)[0];
                assert!((row[s] / information - 1.0).abs() < 1e-6, "{i} {s}: {} {information}", row[s]);
                assert!((r[s] - score).abs() < 1e-6 * information.sqrt() + 1e-6 * score.abs(), "{i} {s}");
            }
        }
        let squares = (y.transpose() * &inverse * &y)[0];
        assert!((filtered.innovations.iter().map(|e| e * e).sum::<f64>() / squares - 1.0).abs() < 1e-6);
    }
}
