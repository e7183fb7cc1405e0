//! Ten million readings from Parquet, tidied, and hourly medians per probe of them, beside a plain polars scan of the
//! same file.
//!
//! `HEELWORT_BENCH_ROWS` sets another number of rows. The file is generated once and kept in the target folder.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use std::fs::File;
use std::path::PathBuf;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use heelwort::Instant;
use heelwort::season::{FileFormat, Flags, Readings, Season};
use polars::prelude::{ParquetReader, SerReader};
use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};

const PROBES: usize = 40;

/// A season of that many readings, at 15 minutes, of probes that are each in one batch after the other.
fn readings(rows: usize) -> Readings {
    let mut rng = SmallRng::seed_from_u64(1);
    let probe_ids: Vec<String> = (0..PROBES).map(|p| format!("probe-{p:02}")).collect();
    let per_probe = rows.div_ceil(PROBES);
    let mut readings = Readings { probe_ids, batch_ids: vec!["none".to_owned()], ..Readings::default() };
    for row in 0..rows {
        let step = (row % per_probe) as i64;
        let noise: f64 = rng.random_range(-0.3..0.3);
        readings.at.push(Instant::from_micros((1_900_000_000 + step * 900) * 1_000_000));
        readings.probe.push((row / per_probe) as u32);
        readings.tilt_deg.push(((25.0 + 30.0 * (-(step % 1000) as f64 / 200.0).exp() + noise) * 100.0).round() / 100.0);
        readings.temp_c.push(((20.0 + noise) * 10.0).round() / 10.0);
        readings.batch.push(None);
        readings.batch_given.push(false);
        readings.supply_v.push(f64::NAN);
        readings.flags.push(Flags::NONE);
    }
    readings
}

/// The folder of the season, written where it is not there yet.
fn folder(rows: usize) -> PathBuf {
    let dir = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("season-{rows}"));
    if !dir.join("readings.parquet").exists() {
        Season { readings: readings(rows), ..Season::default() }.write_as(&dir, FileFormat::Parquet).unwrap();
    }
    dir
}

/// Index of the probe, hour since 1970 and median tilt of each hour with readings that carry none of these flags.
fn hourly_medians(readings: &Readings, leave_out: Flags) -> Vec<(u32, i64, f64)> {
    let rows = readings.probe.iter().zip(&readings.at).zip(readings.tilt_deg.iter().zip(&readings.flags));
    let kept = rows.filter(|(_, (_, flags))| !flags.intersects(leave_out));
    let mut medians = Vec::new();
    let (mut hour, mut tilts) = ((0, 0), Vec::new());
    let mut close = |hour: (u32, i64), tilts: &mut Vec<f64>| {
        tilts.sort_unstable_by(f64::total_cmp);
        if !tilts.is_empty() {
            medians.push((hour.0, hour.1, tilts[(tilts.len() - 1) / 2].midpoint(tilts[tilts.len() / 2])));
        }
        tilts.clear();
    };
    for ((probe, at), (tilt, _)) in kept {
        let own = (*probe, at.micros().div_euclid(3_600_000_000));
        if own != hour {
            close(hour, &mut tilts);
            hour = own;
        }
        tilts.push(*tilt);
    }
    close(hour, &mut tilts);
    medians
}

fn bench(c: &mut Criterion) {
    let rows = std::env::var("HEELWORT_BENCH_ROWS").ok().and_then(|n| n.parse().ok()).unwrap_or(10_000_000);
    let file = folder(rows).join("readings.parquet");
    let mut group = c.benchmark_group("readings");
    group.sample_size(10).throughput(Throughput::Elements(rows as u64));
    group.bench_function("plain polars scan", |b| {
        b.iter(|| ParquetReader::new(File::open(&file).unwrap()).finish().unwrap().height());
    });
    group.bench_function("load, tidy, hourly medians", |b| {
        b.iter(|| {
            let season = Season::load(&file).unwrap();
            assert_eq!(season.readings.len(), rows);
            hourly_medians(&season.readings, Flags::CLOCK_JUMP.with(Flags::FROZEN)).len()
        });
    });
    group.bench_function("load and tidy alone", |b| b.iter(|| Season::load(&file).unwrap().readings.len()));
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
