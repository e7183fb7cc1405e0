//! Curves on a thousand readings: with given starts and with their own, with independent errors and with ones that remember;
//! and ten thousand batches, on one core and on all.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{Criterion, criterion_group, criterion_main};
use heelwort::fit::nonlinear::{Curve, CurveResiduals, NonlinearSettings, Parameter};
use heelwort::kinetics::{SIGMOID_PARAMETERS, SigmoidKind, SigmoidSettings};
use rayon::prelude::*;

const BATCHES: usize = 10_000;

/// A fall of gravity over ten days with a fixed wiggle that remembers for a few readings; uneven by up to a fifth of a gap.
fn readings(kind: SigmoidKind, n: usize, lag: f64, uneven: bool) -> (Vec<f64>, Vec<f64>) {
    let gap = 240.0 / n as f64;
    let delay = |i: usize| if uneven { 0.2 * gap * (1.7 * i as f64).sin() } else { 0.0 };
    let hours: Vec<f64> = (0..n).map(|i| gap * i as f64 + delay(i)).collect();
    let truth = [1.050, 1.011, 0.0008, lag, 0.6];
    let mut state: f64 = 0.0;
    let sg = hours.iter().enumerate().map(|(i, h)| {
        state = 0.8 * state + 3e-4 * (7.3 * i as f64).sin();
        kind.value(*h, &truth[..kind.parameters()]) + state + 2e-4 * (3.7 * i as f64).cos()
    });
    let sg = sg.collect();
    (hours, sg)
}

fn curves(c: &mut Criterion) {
    let (hours, sg) = readings(SigmoidKind::Logistic4, 1000, 14.0, false);
    let start = [1.048, 1.013, 0.0006, 10.0];
    let parameters: Vec<Parameter> = SIGMOID_PARAMETERS.iter().zip(start).map(|(n, s)| Parameter::new(*n, s)).collect();
    c.bench_function("logistic4_given_starts_1000_readings", |b| {
        let settings = NonlinearSettings { tolerance: 1e-8, ..NonlinearSettings::default() };
        b.iter(|| {
            let problem = CurveResiduals::new(&SigmoidKind::Logistic4, &hours, &sg, None).unwrap();
            settings.fit(&problem, &parameters).unwrap()
        });
    });
    for kind in [SigmoidKind::Logistic4, SigmoidKind::Gompertz, SigmoidKind::Logistic5] {
        for (errors, correlated, uneven) in
            [("independent", false, false), ("correlated", true, false), ("correlated_uneven", true, true)]
        {
            let (hours, sg) = readings(kind, 1000, 14.0, uneven);
            c.bench_function(&format!("{kind}_own_starts_{errors}_errors_1000_readings"), |b| {
                let settings = SigmoidSettings { kind, correlated, ..SigmoidSettings::default() };
                b.iter(|| settings.fit(&hours, &sg, None).unwrap());
            });
        }
    }
}

fn seasons(c: &mut Criterion) {
    let lag = |batch: usize| 10.0 + 0.002 * batch as f64;
    let all: Vec<_> = (0..BATCHES).map(|i| readings(SigmoidKind::Logistic4, 200, lag(i), false)).collect();
    let settings = SigmoidSettings { correlated: false, ..SigmoidSettings::default() };
    let mut group = c.benchmark_group("logistic4_10000_batches_of_200_readings");
    group.sample_size(10);
    for cores in [1, rayon::current_num_threads()] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(cores).build().unwrap();
        group.bench_function(format!("{cores}_cores"), |b| {
            let fit = |(hours, sg): &(Vec<f64>, Vec<f64>)| settings.fit(hours, sg, None).is_ok();
            b.iter(|| pool.install(|| all.par_iter().filter(|batch| fit(batch)).count()));
        });
    }
    group.finish();
}

criterion_group!(benches, curves, seasons);
criterion_main!(benches);
