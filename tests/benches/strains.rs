//! Strains compared: six with eight batches each, and a thousand with twenty each, of which the best are.
#![allow(missing_docs, dead_code, clippy::unwrap_used)]

#[path = "../strains/brewed.rs"]
mod brewed;

use brewed::{Brewed, season};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use heelwort::kinetics::Trait;
use heelwort::strains::StrainSettings;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Batches with an attenuation and a time, at temperatures and pitching rates of their own.
fn batches(strains: usize, each: usize) -> Vec<Brewed> {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut normal = || -> f64 { rng.sample(StandardNormal) };
    let mut made = Vec::new();
    for strain in 0..strains {
        let mean = 0.75 + 0.03 * normal();
        for _ in 0..each {
            let temp_c = 19.0 + normal();
            let attenuation = mean + 0.002 * (temp_c - 19.0) + 0.018 * normal();
            let t90_h = (4.4 - 0.08 * (temp_c - 19.0) + 0.1 * normal()).exp();
            let traits = [(Trait::Attenuation, attenuation, 0.01), (Trait::T90H, t90_h, 2.0)];
            let mut batch = Brewed::new(made.len(), &format!("strain {strain:04}"), &traits);
            batch.row.set_temp_c = Some(temp_c);
            batch.row.pitch_mcells_ml_p = Some((0.2 * normal()).exp());
            made.push(batch);
        }
    }
    made
}

fn bench(c: &mut Criterion) {
    let mut group = c.benchmark_group("strains");
    group.sample_size(10);
    for (strains, each) in [(6, 8), (1000, 20)] {
        let (season, kinetics) = season(&batches(strains, each));
        let settings = StrainSettings { traits: vec![Trait::Attenuation, Trait::T90H], ..Default::default() };
        group.bench_function(BenchmarkId::new("two traits", format!("{strains} x {each}")), |b| {
            b.iter(|| settings.run(&season, &kinetics).unwrap().contrasts.len());
        });
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
