//! Gravity of many readings with a fitted curve, standard errors included.
//!
//! `HEELWORT_BENCH_ROWS` sets another number of readings.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use heelwort::Instant;
use heelwort::calibration::{CalibrationSettings, Calibrations};
use heelwort::float::{End, Hull, Shape};
use heelwort::liquid::WATER_20C_KG_M3;
use heelwort::season::{Batch, EndShape, Flags, Probe, Reference, Season};
use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};

/// One weighed probe of known shape with six baths, and its readings in one long batch, a minute apart.
fn season(rows: usize, shape_known: bool) -> Season {
    let mut rng = SmallRng::seed_from_u64(1);
    let at = Instant::from_micros(1_900_000_000_000_000);
    let shape = Shape::new(0.018, 0.140, End::Hemisphere, End::Flat).unwrap();
    let rests = [(25.0, WATER_20C_KG_M3), (65.0, 1.1 * WATER_20C_KG_M3)];
    let hull = Hull::through(shape.profile(), 0.100, rests).unwrap();
    let tilts: Vec<f64> =
        (0..1000).map(|i| hull.tilt_deg((1.008 + 5e-5 * f64::from(i)) * WATER_20C_KG_M3).unwrap()).collect();
    let mut season = Season::default();
    for (i, sg) in [1.0, 1.016, 1.032, 1.048, 1.064, 1.08].into_iter().enumerate() {
        let tilt = hull.tilt_deg(sg * WATER_20C_KG_M3).unwrap() + rng.random_range(-0.3..0.3);
        season.references.push(bath(at.plus_hours(i as f64), sg, tilt));
    }
    season.probes.push(Probe {
        total_mass_g: Some(100.0),
        diameter_mm: Some(36.0),
        length_mm: shape_known.then_some(140.0),
        bottom: Some(EndShape::Hemisphere),
        top: Some(EndShape::Flat),
        shell: Some("pet".into()),
        ..Probe::new("knot")
    });
    let pitched_at = at.plus_hours(24.0);
    season.batches.push(batch(pitched_at));
    let readings = &mut season.readings;
    (readings.probe_ids, readings.batch_ids) = (vec!["knot".into()], vec!["b1".into()]);
    for row in 0..rows {
        readings.at.push(pitched_at.plus_hours(row as f64 / 60.0));
        readings.probe.push(0);
        readings.batch.push(Some(0));
        readings.batch_given.push(true);
        readings.tilt_deg.push(tilts[999 - row * 1000 / rows] + rng.random_range(-0.2..0.2));
        readings.temp_c.push(19.0 + rng.random_range(-0.5..0.5));
        readings.supply_v.push(f64::NAN);
        readings.flags.push(Flags::NONE);
    }
    season
}

fn bath(at: Instant, sg: f64, tilt_deg: f64) -> Reference {
    Reference {
        probe: Some("knot".into()),
        bath: Some(format!("{sg:.3}")),
        method: Some(if sg > 1.0 { "weighed" } else { "water" }.into()),
        tilt_deg: Some(tilt_deg),
        tilt_sd_deg: Some(0.3),
        temp_c: Some(20.0),
        ..Reference::new(at, sg)
    }
}

fn batch(pitched_at: Instant) -> Batch {
    Batch {
        probes: vec!["knot".into()],
        original_sg: Some(1.058),
        original_sg_sd: Some(0.001),
        ..Batch::new("b1", "thrift", pitched_at)
    }
}

fn bench(c: &mut Criterion) {
    let rows = std::env::var("HEELWORT_BENCH_ROWS").ok().and_then(|n| n.parse().ok()).unwrap_or(1_000_000);
    let mut group = c.benchmark_group("gravity");
    group.sample_size(10).throughput(Throughput::Elements(rows as u64));
    for (name, shape_known) in [("hull", true), ("wall-sided", false)] {
        let season = season(rows, shape_known);
        let found: Calibrations = CalibrationSettings::default().fit(&season).unwrap();
        assert_eq!(found.calibrations.len(), 1, "{found}");
        group.bench_function(format!("{rows} readings with their standard errors, {name}"), |b| {
            b.iter(|| {
                let gravity = found.gravity(&season).unwrap();
                assert!(gravity.corrected.iter().all(Option::is_some));
                gravity.corrected.len()
            });
        });
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
