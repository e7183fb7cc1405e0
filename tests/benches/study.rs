//! The whole study of the demo season and of simulated seasons, probes by batches in the names.
//!
//! Once each: processor time of this process, and that over the time of a fixed piece of arithmetic run just before and
//! after, which says the same on a faster or a busier machine. Names that begin with the arguments are run; without
//! arguments, all but the last.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, reason = "a program that prints a table")]

use std::hint::black_box;
use std::time::{Duration, Instant};

use heelwort::prelude::{Season, Settings, SimulateSettings};

/// What the demo took when figures were last stored in DEVELOPERS.md, in pieces of arithmetic.
const DEMO_BEFORE: f64 = 16.0;

/// Probes and batches.
const SIZES: [(usize, usize); 6] = [(10, 36), (20, 36), (40, 36), (80, 36), (10, 100), (10, 300)];

fn main() {
    // `cargo bench` passes options of its own.
    let asked: Vec<String> = std::env::args().skip(1).filter(|arg| !arg.starts_with('-')).collect();
    let is_asked = |name: &str| asked.iter().any(|start| name.starts_with(start.as_str()));
    println!("{:10} {:>9} {:>10} {:>8} {:>8}", "season", "readings", "processor", "clock", "pieces");
    if asked.is_empty() || is_asked("demo") {
        let pieces = study("demo", &Season::load("datasets/tern-island").unwrap());
        println!("{:10} {pieces:.1} pieces of arithmetic; {DEMO_BEFORE:.1} when last stored", "");
    }
    for (i, (probes, batches)) in SIZES.into_iter().enumerate() {
        let name = format!("{probes}x{batches}");
        if is_asked(&name) || (asked.is_empty() && i + 1 < SIZES.len()) {
            let settings = SimulateSettings { seed: 77, probes, batches, ..Default::default() };
            study(&name, &settings.run().unwrap().season);
        }
    }
}

/// Studies a season, prints a line and gives its time in pieces of arithmetic.
fn study(name: &str, season: &Season) -> f64 {
    let before = timed(arithmetic).0;
    let (took, clock) = timed(|| {
        black_box(Settings::default().study(season.clone()).unwrap());
    });
    let piece = 0.5 * (before + timed(arithmetic).0);
    println!("{name:10} {:9} {took:8.1} s {clock:6.1} s {:8.1}", season.readings.len(), took / piece);
    took / piece
}

/// Seconds of the processor and by the clock.
fn timed(work: impl FnOnce()) -> (f64, f64) {
    let (start, spent) = (Instant::now(), processor_time());
    work();
    let clock = start.elapsed();
    let took = processor_time().zip(spent).map_or(clock, |(now, spent)| now.saturating_sub(spent));
    (took.as_secs_f64(), clock.as_secs_f64())
}

/// User time of this process, where the system tells it.
fn processor_time() -> Option<Duration> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The second field is a name in brackets; user time is the fourteenth, in hundredths of a second.
    let ticks: u64 = stat.rsplit_once(')')?.1.split_whitespace().nth(11)?.parse().ok()?;
    Some(Duration::from_millis(10 * ticks))
}

/// A Cholesky factor of a matrix of 400 rows forty times, and twenty million exponentials.
fn arithmetic() {
    const N: usize = 400;
    for _ in 0..40 {
        let mut a = vec![0.0; N * N];
        for (i, row) in a.chunks_mut(N).enumerate() {
            row.iter_mut().enumerate().for_each(|(j, x)| *x = if i == j { 500.0 } else { ((i * j) as f64).sin() });
        }
        for i in 0..N {
            for j in 0..=i {
                let sum: f64 = (0..j).map(|k| a[i * N + k] * a[j * N + k]).sum();
                let left = a[i * N + j] - sum;
                a[i * N + j] = if i == j { left.sqrt() } else { left / a[j * N + j] };
            }
        }
        black_box(&a);
    }
    black_box((0..20_000_000).map(|i| (-1e-7 * f64::from(i)).exp()).sum::<f64>());
}
