//! Linear mixed models: random intercept and slope of 400, 4,000 and 40,000 units with 12 rows each.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use heelwort::fit::mixed::{Column, Design, Random};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const ROWS: usize = 12;

fn design(units: usize) -> Design {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let (mut response, mut ages, mut labels) = (Vec::new(), Vec::new(), Vec::new());
    for unit in 0..units {
        let (intercept, slope) = (normal(), 0.2 * normal());
        for row in 0..ROWS {
            let age = 0.5 * row as f64;
            ages.push(age);
            labels.push(format!("{unit:06}"));
            response.push(1.0 + 0.1 * age + intercept + slope * age + 0.7 * normal());
        }
    }
    let columns = vec![Column::intercept(response.len()), Column::new("age", &ages)];
    Design::new(&response, columns.clone()).random(Random::by_label("unit", &labels, columns))
}

fn bench(c: &mut Criterion) {
    let mut group = c.benchmark_group("mixed");
    group.sample_size(10);
    for units in [400, 4_000, 40_000] {
        let design = design(units);
        group.bench_function(BenchmarkId::new("REML and Kenward-Roger", format!("{units} x {ROWS}")), |b| {
            b.iter(|| design.fit().unwrap().log_likelihood);
        });
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
