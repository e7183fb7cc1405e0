//! What a batch's gravities have wrong together: errors of its probes and lasting shifts of them within the batch, and

use super::*;
use crate::gravity::{ErrorKnot, SeriesProbe};

fn found(covariance: Vec<Vec<f64>>) -> Result<Vec<Nuisance>> {
    let knot = |probe, sg| ErrorKnot { probe, sg };
    let known = KnownErrors {
        knots: vec![knot(0, 1.05), knot(0, 1.01), knot(1, 1.05)],
        mean_sg: vec![0.002, -0.001, 0.0005],
        covariance,
        steps: Vec::new(),
        instruments: Vec::new(),
    };
    let mut series = GravitySeries::empty("B", "s", crate::Instant::from_micros(0));
    series.probes = vec![SeriesProbe { probe: "a".into(), offset_sd: 1e-3 }; 2];
    series.known = Some(known);
    let point =
        |hours, sg, probe| BatchPoint { shared_sd: 1e-3, ..BatchPoint::at(hours, sg, PointSource::Probe(probe)) };
    let points = vec![point(0.0, 1.05, 0), point(90.0, 1.01, 0), point(5.0, 1.05, 1)];
    nuisances(&series, &BinnedSeries { points, ..BinnedSeries::default() }, &KineticsSettings::default())
}

/// The effects must give back the mean and the covariance that they were made of.
fn check(covariance: &[Vec<f64>], within: f64) {
    let found = found(covariance.to_vec()).unwrap();
    assert_eq!(found.len(), 3);
    for (i, row) in covariance.iter().enumerate() {
        let mean: f64 = found.iter().map(|n| n.mean * n.column[i]).sum();
        assert!((mean - [0.002, -0.001, 0.0005][i]).abs() < 1e-12, "{mean}");
        for (j, wanted) in row.iter().enumerate() {
            let got: f64 = found.iter().map(|n| n.column[i] * n.column[j]).sum();
            let apart = if i == j { APART_SG * APART_SG } else { 0.0 };
            assert!((got - wanted - apart).abs() < within, "{i} {j}: {got} {wanted}");
        }
    }
}

#[test]
fn effects_of_known_errors_have_their_mean_and_covariance() {
    check(&[vec![4e-6, 2e-6, 1e-6], vec![2e-6, 3e-6, 0.5e-6], vec![1e-6, 0.5e-6, 2e-6]], 1e-15);
}

/// Errors that go together but for a slip of a thousandth have no Cholesky factor; they are kept, not dropped.
#[test]
fn known_errors_whose_covariance_has_no_factor_are_kept() {
    let (one, together) = (1e-5, 1.001e-5);
    check(&[vec![one, together, 0.0], vec![together, one, 0.0], vec![0.0, 0.0, 2e-6]], 1.1e-8);
    assert!(found(vec![vec![f64::NAN; 3]; 3]).is_err() && found(vec![vec![1e-6; 2]; 3]).is_err());
}
