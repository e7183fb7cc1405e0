//! A season of about 1,000 rows, broken a few thousand times: nothing panics, and the account always adds up.

use std::path::Path;

use heelwort::season::{FileFormat, Season};
use rand::rngs::SmallRng;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};

use super::files::{PLAIN, put};

/// The plain season with 900 more readings.
fn texts() -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> =
        PLAIN.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect();
    for i in 0..900_i64 {
        let at = heelwort::Instant::from_micros((1_930_392_000 + i / 2 * 900) * 1_000_000);
        let probe = if i % 2 == 0 { "dunlin" } else { "knot" };
        let row = format!(
            "{at},{probe},{:.2},{:.1}\n",
            52.0 - i as f64 * 0.02 + (i % 7) as f64 * 0.1,
            20.0 + (i % 5) as f64 * 0.1
        );
        files[0].1.extend(row.bytes());
    }
    files
}

const SNIPPETS: &[&str] = &[
    "",
    ",",
    ";",
    "\t",
    "\"",
    "\"\"",
    "\n",
    "\r\n",
    "\r",
    "\0",
    "NaN",
    "inf",
    "-1e308",
    "1e999",
    "2031-03-04",
    "0000-00-00",
    "9999-12-31T23:59:59Z",
    "-9999-01-01T00:00:00Z",
    "1930392000",
    "dunlin",
    "T1",
    "\u{feff}",
    "é",
    "{",
    "}",
    "[]",
    "null",
    "{\"at\":1}",
    "at",
    "probe",
    "sg",
    "99999999999999999999",
    "0.95",
    "1.2",
    "-0",
    "2031-10-26 02:30",
];

/// Changes a few bytes, fields or lines.
fn mutate(bytes: &mut Vec<u8>, rng: &mut SmallRng) {
    for _ in 0..rng.random_range(1..6) {
        let at = rng.random_range(0..=bytes.len());
        match rng.random_range(0..8) {
            0 if at < bytes.len() => bytes[at] = rng.random(),
            1 => bytes.truncate(at),
            2 => {
                let snippet = SNIPPETS.choose(rng).unwrap_or(&"");
                bytes.splice(at..at, snippet.bytes());
            }
            3 => {
                let end = (at + rng.random_range(0..80)).min(bytes.len());
                bytes.drain(at..end);
            }
            4 => {
                let end = (at + rng.random_range(0..200)).min(bytes.len());
                let copy = bytes[at..end].to_vec();
                let to = rng.random_range(0..=bytes.len());
                bytes.splice(to..to, copy);
            }
            5 => {
                let (from, to) = ([b',', b'\n', b'.', b':'], [b';', b' ', b'"', b'\t']);
                let i = rng.random_range(0..from.len());
                bytes.iter_mut().filter(|b| **b == from[i]).take(rng.random_range(0..40)).for_each(|b| *b = to[i]);
            }
            _ => {
                let lines: Vec<Vec<u8>> = bytes.split(|b| *b == b'\n').map(<[u8]>::to_vec).collect();
                let mut lines = lines;
                let (a, b) = (rng.random_range(0..lines.len()), rng.random_range(0..lines.len()));
                lines.swap(a, b);
                let line = lines[a].clone();
                lines.insert(b, line);
                *bytes = lines.join(&b'\n');
            }
        }
    }
}

/// Loads what may or may not load, and questions what loads.
fn load(dir: &Path, what: &str) -> bool {
    let Ok(season) = Season::load(dir).inspect_err(|e| assert!(!e.to_string().is_empty())) else { return false };
    assert!(season.account.adds_up(), "{what}: {}", season.account);
    let account = |table: &str| {
        let of = season.account.files.iter().filter(|f| f.table == table);
        of.map(|f| f.kept + f.flagged).sum::<usize>()
    };
    assert_eq!(account("readings"), season.readings.len(), "{what}");
    assert_eq!(account("references"), season.references.len(), "{what}");
    assert_eq!(account("batches"), season.batches.len(), "{what}");
    let keys = season.readings.probe.iter().zip(&season.readings.at);
    assert!(keys.is_sorted(), "{what}");
    season.readings.to_frame().unwrap();
    season.account.to_frame().unwrap();
    season.running();
    season.pairs(20.0).unwrap();
    if let Some(latest) = season.latest() {
        assert!(season.as_of(latest).readings.len() <= season.readings.len());
    }
    true
}

#[test]
fn broken_text_files_never_panic_and_always_add_up() {
    let whole = texts();
    let dir = tempfile::tempdir().unwrap();
    for (name, bytes) in &whole {
        put(dir.path(), name, bytes);
    }
    let mut loaded = 0;
    for seed in 0..2500 {
        let mut rng = SmallRng::seed_from_u64(seed);
        // Half of all breaks go into the readings.
        let files = [if rng.random() { 0 } else { rng.random_range(0..whole.len()) }, rng.random_range(0..whole.len())];
        for file in files {
            let (name, mut bytes) = whole[file].clone();
            mutate(&mut bytes, &mut rng);
            put(dir.path(), &name, &bytes);
        }
        loaded += usize::from(load(dir.path(), &format!("seed {seed}")));
        for file in files {
            put(dir.path(), &whole[file].0, &whole[file].1);
        }
    }
    assert!(loaded > 800, "most breaks cost rows, not the season: {loaded}");
}

#[test]
fn broken_files_of_other_forms_never_panic_and_always_add_up() {
    let dir = tempfile::tempdir().unwrap();
    for (name, bytes) in &texts() {
        put(dir.path(), name, bytes);
    }
    let season = Season::load(dir.path()).unwrap();
    for format in [FileFormat::Ndjson, FileFormat::Parquet] {
        let dir = tempfile::tempdir().unwrap();
        season.write_as(dir.path(), format).unwrap();
        let mut files: Vec<_> = std::fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().path()).collect();
        files.sort();
        let whole: Vec<Vec<u8>> = files.iter().map(|f| std::fs::read(f).unwrap()).collect();
        for seed in 0..400 {
            let mut rng = SmallRng::seed_from_u64(seed);
            let file = rng.random_range(0..files.len());
            let mut bytes = whole[file].clone();
            mutate(&mut bytes, &mut rng);
            std::fs::write(&files[file], &bytes).unwrap();
            load(dir.path(), &format!("{format:?} seed {seed}"));
            std::fs::write(&files[file], &whole[file]).unwrap();
        }
    }
}
