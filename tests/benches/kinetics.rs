//! Curves on a thousand readings: four-parameter least squares, and with errors that remember.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{Criterion, criterion_group, criterion_main};
use heelwort::fit::nonlinear::{Curve, CurveResiduals, NonlinearSettings, Parameter};
use heelwort::kinetics::{SigmoidKind, SigmoidSettings};

const READINGS: usize = 1000;

/// A fall of gravity over ten days with a fixed wiggle that remembers for a few readings.
fn readings() -> (Vec<f64>, Vec<f64>) {
    let hours: Vec<f64> = (0..READINGS).map(|i| 0.24 * i as f64).collect();
    let truth = [1.050, 1.011, 0.0008, 14.0];
    let mut state: f64 = 0.0;
    let sg = hours.iter().enumerate().map(|(i, h)| {
        state = 0.8 * state + 3e-4 * (7.3 * i as f64).sin();
        SigmoidKind::Logistic4.value(*h, &truth) + state + 2e-4 * (3.7 * i as f64).cos()
    });
    let sg = sg.collect();
    (hours, sg)
}

fn curves(c: &mut Criterion) {
    let (hours, sg) = readings();
    let start = [1.048, 1.013, 0.0006, 10.0];
    let names = ["from", "to", "rate", "lag"];
    let parameters: Vec<Parameter> = names.iter().zip(start).map(|(n, s)| Parameter::new(*n, s)).collect();
    c.bench_function("logistic4_least_squares_1000_readings", |b| {
        let settings = NonlinearSettings { tolerance: 1e-8, ..NonlinearSettings::default() };
        b.iter(|| {
            let problem = CurveResiduals::new(&SigmoidKind::Logistic4, &hours, &sg, None).unwrap();
            settings.fit(&problem, &parameters).unwrap()
        });
    });
    for (name, correlated) in
        [("logistic4_with_starts_1000_readings", false), ("logistic4_correlated_errors_1000_readings", true)]
    {
        c.bench_function(name, |b| {
            let settings = SigmoidSettings { correlated, ..SigmoidSettings::default() };
            b.iter(|| settings.fit(&hours, &sg, None).unwrap());
        });
    }
}

criterion_group!(benches, curves);
criterion_main!(benches);
