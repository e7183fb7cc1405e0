//! Least squares with the true covariance: what an interval could be if the variances were known.

use std::collections::BTreeMap;

use heelwort::calibration::Calibrations;
use heelwort::drift::{Drift, DriftPair, PairKind};
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::Season;
use nalgebra::{DMatrix, DVector, Vector4};

use super::fleet::{BEER_SD, Fleet, GAIN_SD, HYDROMETER_SD, READ_SD, WEIGHED_SD};

/// SG per degree of a typical float at SG 1.020: one degree of the zero in SG.
const PER_DEG: f64 = 0.0025;
const MONTH_D: f64 = 30.0;

/// One pair's error by source, SG, and the part of its curve's error that it shares with pairs of its probe only.
struct Errors {
    by_source: BTreeMap<String, f64>,
    curve: Vector4<f64>,
    own: f64,
}

/// Every source of error by name: those of the first curves, and those of the references that the simulation knows.
fn errors(season: &Season, calibrations: &Calibrations, pair: &DriftPair) -> Errors {
    let first = calibrations.first(&pair.probe).unwrap();
    let reference = &season.references[pair.reference.unwrap()];
    let at = first.fitted.curve.at(reference.tilt_deg.unwrap()).unwrap();
    let mut by_source = BTreeMap::new();
    let mut own = first.fitted.covariance;
    for error in &first.fitted.shared {
        by_source.insert(calibrations.source_name(error).to_owned(), error.at(&at) / WATER_20C_KG_M3);
        let response = Vector4::from(error.by_coefficient);
        own -= response * response.transpose();
    }
    let eigen = own.symmetric_eigen();
    let gradient = Vector4::from(at.gradient) / WATER_20C_KG_M3;
    let root = eigen.eigenvalues.map(|value| value.max(0.0).sqrt());
    let mut add = |name: String, by: f64| *by_source.entry(name).or_insert(0.0) -= by;
    let bath = reference.bath.clone().unwrap_or_else(|| format!("row {:?}", pair.reference));
    match reference.method.as_deref() {
        Some("hydrometer") => {
            add("hydrometer h1".to_owned(), HYDROMETER_SD);
            add(format!("true {bath}"), READ_SD);
        }
        Some("weighed") => {
            add(format!("true {bath}"), WEIGHED_SD);
            add(format!("true scales {:.0}", pair.age_d), GAIN_SD * (reference.sg - 1.0));
        }
        _ => {}
    }
    if pair.kind == PairKind::Sample {
        add("beer".to_owned(), BEER_SD);
    }
    Errors { by_source, curve: root.component_mul(&(eigen.eigenvectors.transpose() * gradient)), own: pair.own_se }
}

/// Standard errors of the realised slopes of all probes when own errors, curves, baths, hydrometer, beer and walk are known.
pub fn oracle_se(fleet: &Fleet, season: &Season, calibrations: &Calibrations, drift: &Drift) -> Vec<f64> {
    let pairs: Vec<&DriftPair> = drift.pairs.iter().filter(|p| p.left_out.is_none()).collect();
    let probes: Vec<&str> = drift.probes.iter().map(|p| p.probe.as_str()).collect();
    let number: BTreeMap<&str, usize> = probes.iter().enumerate().map(|(i, p)| (*p, i)).collect();
    let months = |p: &DriftPair| p.age_d / MONTH_D;
    let walk = (fleet.walk_deg * PER_DEG).powi(2);
    let kernel = |a: f64, b: f64| {
        if a * b > 0.0 { walk * a.abs().min(b.abs()) } else { 0.0 }
    };
    let n = pairs.len();
    let errors: Vec<Errors> = pairs.iter().map(|pair| errors(season, calibrations, pair)).collect();
    let mut v = DMatrix::<f64>::zeros(n, n);
    let names: std::collections::BTreeSet<&String> = errors.iter().flat_map(|e| e.by_source.keys()).collect();
    let shared = DMatrix::from_columns(
        &names
            .into_iter()
            .map(|name| DVector::from_fn(n, |i, _| errors[i].by_source.get(name).copied().unwrap_or(0.0)))
            .collect::<Vec<_>>(),
    );
    v.gemm(1.0, &shared, &shared.transpose(), 0.0);
    for i in 0..n {
        v[(i, i)] += errors[i].own.powi(2);
        for j in (0..n).filter(|j| pairs[i].probe == pairs[*j].probe) {
            v[(i, j)] += errors[i].curve.dot(&errors[j].curve) + kernel(months(pairs[i]), months(pairs[j]));
        }
    }
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
