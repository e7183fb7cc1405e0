//! The seasons that are changed: small, and with one of everything.

use std::collections::BTreeMap;
use std::path::Path;

use heelwort::season::FileFormat;
use heelwort::simulate::SimulateSettings;

use crate::season::files::{PLAIN, put};

/// Files of a season by name.
pub type Files = BTreeMap<String, Vec<u8>>;

/// Writes the files of a season.
pub fn put_all(dir: &Path, files: &Files) {
    files.iter().for_each(|(name, bytes)| put(dir, name, bytes));
}

/// The bytes of the files in a folder.
fn read_all(dir: &Path) -> Files {
    let entries = std::fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_file());
    entries.map(|p| (p.file_name().unwrap().to_str().unwrap().to_owned(), std::fs::read(&p).unwrap())).collect()
}

/// A small season by hand with some more readings; simulated ones as text, as JSON lines and as Parquet. For a study only
/// those that give one something to do.
pub fn seasons(study: bool) -> Vec<Files> {
    let mut found = Vec::new();
    if !study {
        let mut plain: Files =
            PLAIN.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect();
        for i in 0..200_i64 {
            let at = heelwort::Instant::from_micros((1_930_392_000 + i / 2 * 900) * 1_000_000);
            let probe = if i % 2 == 0 { "dunlin" } else { "knot" };
            let (tilt, temp) = (52.0 - i as f64 * 0.02 + (i % 7) as f64 * 0.1, 20.0 + (i % 5) as f64 * 0.1);
            let row = format!("{at},{probe},{tilt:.2},{temp:.1}\n");
            plain.get_mut("readings.csv").unwrap().extend(row.bytes());
        }
        found.push(plain);
    }
    for (seed, batches, probes) in [(3, 1, 1), (4, 2, 1), (5, 2, 2)] {
        let (reading_minutes, span_days) = (360.0, 20.0);
        let settings = SimulateSettings { seed, batches, probes, reading_minutes, span_days, ..Default::default() };
        let season = settings.run().unwrap().season;
        let written = |format: FileFormat| {
            let dir = tempfile::tempdir().unwrap();
            season.write_as(dir.path(), format).unwrap();
            read_all(dir.path())
        };
        let text = written(FileFormat::Csv);
        found.extend([text.clone(), text.clone(), written(FileFormat::Ndjson)]);
        // The text stays beside Parquet, hidden, for its values.
        let hidden = text.into_iter().map(|(name, bytes)| (format!(".{name}"), bytes));
        found.push(written(FileFormat::Parquet).into_iter().chain(hidden).collect());
    }
    found
}
