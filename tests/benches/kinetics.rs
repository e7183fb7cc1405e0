//! The curve of a batch with a thousand readings, and a season of two hundred batches, on one core and on all.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{Criterion, criterion_group, criterion_main};
use heelwort::Instant;
use heelwort::gravity::{GravitySeries, SeriesProbe};
use heelwort::kinetics::KineticsSettings;

const BATCHES: usize = 200;

/// A fall of gravity over ten days with a fixed wiggle that remembers for a few readings.
fn series(batch: usize, n: usize) -> GravitySeries {
    let gap = 240.0 / n as f64;
    let hours: Vec<f64> = (0..n).map(|i| gap * i as f64).collect();
    let middle = 40.0 + 0.1 * batch as f64;
    let mut state: f64 = 0.0;
    let sg: Vec<f64> = hours
        .iter()
        .enumerate()
        .map(|(i, h)| {
            state = 0.8 * state + 3e-4 * (7.3 * i as f64).sin();
            1.011 + 0.039 / (1.0 + (0.09 * (h - middle)).exp()) + state + 2e-4 * (3.7 * i as f64).cos()
        })
        .collect();
    GravitySeries {
        probes: vec![SeriesProbe { probe: "dunlin".to_owned(), offset_sd: 1e-3 }],
        rows: (0..n).collect(),
        corrected_sg: sg.clone(),
        own_sd: vec![4e-4; n],
        shared_sd: vec![5e-4; n],
        temp_c: vec![19.0; n],
        probe: vec![0; n],
        hours,
        sg,
        ..GravitySeries::empty(format!("b{batch}"), "thrift", Instant::from_micros(0))
    }
}

fn curves(c: &mut Criterion) {
    let settings = KineticsSettings::default();
    let one = series(0, 1000);
    c.bench_function("one_batch_of_1000_readings", |b| b.iter(|| settings.fit(&one).unwrap()));
    let all: Vec<_> = (0..BATCHES).map(|batch| series(batch, 200)).collect();
    let mut group = c.benchmark_group("200_batches_of_200_readings");
    group.sample_size(10);
    for cores in [1, rayon::current_num_threads()] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(cores).build().unwrap();
        group.bench_function(format!("{cores}_cores"), |b| b.iter(|| pool.install(|| settings.fit_all(&all).unwrap())));
    }
    group.finish();
}

criterion_group!(benches, curves);
criterion_main!(benches);
