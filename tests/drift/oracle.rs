//! Least squares with the true covariance: what an interval could be if the variances were known.

use std::collections::BTreeMap;

use heelwort::drift::{Drift, DriftPair, PairKind};
use nalgebra::{DMatrix, DVector};

use super::fleet::Fleet;

/// SG per degree of a typical float at SG 1.020: one degree of the zero in SG.
const PER_DEG: f64 = 0.0025;
const MONTH_D: f64 = 30.0;

/// Standard errors of the realised slopes of all probes when own errors, baths, hydrometer, beer and walk are known.
pub fn oracle_se(fleet: &Fleet, drift: &Drift) -> Vec<f64> {
    let pairs: Vec<&DriftPair> = drift.pairs.iter().filter(|p| p.left_out.is_none()).collect();
    let probes: Vec<&str> = drift.probes.iter().map(|p| p.probe.as_str()).collect();
    let number: BTreeMap<&str, usize> = probes.iter().enumerate().map(|(i, p)| (*p, i)).collect();
    let months = |p: &DriftPair| p.age_d / MONTH_D;
    let walk = (fleet.walk_deg * PER_DEG).powi(2);
    let kernel = |a: f64, b: f64| if a * b > 0.0 { walk * a.abs().min(b.abs()) } else { 0.0 };
    let n = pairs.len();
    let v = DMatrix::from_fn(n, n, |i, j| {
        let (a, b) = (pairs[i], pairs[j]);
        let both = |kind: PairKind| a.kind == kind && b.kind == kind;
        let mut sum = 0.0;
        if i == j {
            sum += a.own_se.powi(2);
        }
        // One bath at one time for all probes, made to 0.0005 but for water; each sample has its own reading.
        if both(PairKind::Bath) && (a.at.days_since(b.at)).abs() < 0.01 && a.reference_sg > 1.001 {
            sum += 0.0005f64.powi(2);
        }
        if both(PairKind::Sample) {
            sum += 0.0007f64.powi(2) + 0.0005f64.powi(2) + if i == j { 0.0007f64.powi(2) } else { 0.0 };
        }
        if a.probe == b.probe {
            sum += a.curve_se * b.curve_se + kernel(months(a), months(b));
        }
        sum
    });
    let mut x = DMatrix::zeros(n, probes.len());
    for (i, pair) in pairs.iter().enumerate() {
        x[(i, number[pair.probe.as_str()])] = months(pair);
    }
    let root = v.cholesky().unwrap();
    let vx = root.solve(&x);
    let inverse = (x.transpose() * &vx).try_inverse().unwrap();
    let slope = |p: usize| {
        let own = pairs.iter().filter(|pair| pair.probe == probes[p]);
        let last = own.map(|pair| months(pair)).fold(0.0, f64::max);
        let weeks = (last * MONTH_D / 7.0).floor().max(1.0) as usize;
        let grid: Vec<f64> = (0..=weeks).map(|w| w as f64 * 7.0 / MONTH_D).collect();
        let mean = grid.iter().sum::<f64>() / grid.len() as f64;
        let square: f64 = grid.iter().map(|m| (m - mean).powi(2)).sum();
        let weights: Vec<f64> = grid.iter().map(|m| (m - mean) / square).collect();
        let along = |at: f64| grid.iter().zip(&weights).map(|(m, w)| w * kernel(*m, at)).sum::<f64>();
        let c = DVector::from_fn(n, |i, _| if pairs[i].probe == probes[p] { along(months(pairs[i])) } else { 0.0 });
        let variance: f64 = grid.iter().zip(&weights).map(|(m, w)| w * along(*m)).sum();
        let vc = root.solve(&c);
        let mut k = -(x.transpose() * &vc);
        k[p] += 1.0;
        (variance - c.dot(&vc) + (k.transpose() * &inverse * &k)[0]).max(0.0).sqrt()
    };
    (0..probes.len()).map(slope).collect()
}
