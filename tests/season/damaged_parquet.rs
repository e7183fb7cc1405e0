//! A Parquet file damaged byte by byte: it is refused, or every row that is read stands in the whole file.

use std::collections::{HashMap, HashSet};
use std::ops::Range;
use std::path::Path;

use heelwort::Instant;
use heelwort::season::{FileFormat, Readings, Season};

use super::files::{folder, put};

/// A row by its bits, without what tidying adds.
type Bits = (i64, String, u64, u64, Option<String>, Option<u64>);

fn rows(readings: &Readings) -> Vec<Bits> {
    let bits = |row: usize| {
        let r = readings.get(row).unwrap();
        let volts = readings.supply_v(row).map(f64::to_bits);
        (r.at.micros(), r.probe.to_owned(), r.tilt_deg.to_bits(), r.temp_c.to_bits(), r.batch.map(str::to_owned), volts)
    };
    (0..readings.len()).map(bits).collect()
}

/// A season with empty cells, two probes and batches, and the bytes of its readings as Parquet.
fn whole() -> (Season, Vec<u8>) {
    let mut text = "at,probe,tilt_deg,temp_c,batch,supply_v\n".to_owned();
    for i in 0..120_i64 {
        let at = Instant::from_micros((1_930_392_000 + i * 907) * 1_000_000);
        let (tilt, temp) = (52.0 - i as f64 * 0.17, 20.0 + (i % 7) as f64 * 0.1);
        let (probe, batch) = if i % 3 == 0 { ("knot", "") } else { ("dunlin", "T1") };
        let volts = if i % 5 == 0 { String::new() } else { format!("{:.2}", 4.1 - i as f64 * 0.001) };
        text += &format!("{at},{probe},{tilt:.2},{temp:.1},{batch},{volts}\n");
    }
    let dir = folder(&[("readings.csv", &text)]);
    let season = Season::load(dir.path().join("readings.csv")).unwrap();
    season.write_as(dir.path().join("parquet"), FileFormat::Parquet).unwrap();
    let bytes = std::fs::read(dir.path().join("parquet/readings.parquet")).unwrap();
    (season, bytes)
}

/// Where the footer lies in the bytes.
fn footer(bytes: &[u8]) -> Range<usize> {
    let end = bytes.len() - 8;
    end - u32::from_le_bytes(bytes[end..end + 4].try_into().unwrap()) as usize..end
}

/// What became of a damaged file.
#[derive(Debug, PartialEq, Eq, Hash, Clone, Copy)]
enum Outcome {
    Refused,
    /// Every row of the whole file, and no other.
    Whole,
    /// Some rows are rejected; those that are left stand in the whole file.
    Fewer,
    /// Other values than the whole file's, in as many rows.
    Other,
}

fn outcome(dir: &Path, bytes: &[u8], whole: &[Bits]) -> Outcome {
    put(dir, "readings.parquet", bytes);
    let Ok(season) = Season::load(dir.join("readings.parquet")) else { return Outcome::Refused };
    assert!(season.account.adds_up(), "{}", season.account);
    let (read, kept, flagged, rejected) = season.account.totals();
    assert_eq!(read, whole.len(), "{}", season.account);
    assert_eq!((kept + flagged, rejected), (season.readings.len(), season.account.rejected.len()));
    let found = rows(&season.readings);
    // A column whose name is damaged is another column; the account names it.
    let renamed = !season.account.unknown_columns.is_empty();
    let bare = |(at, probe, tilt, temp, ..): &Bits| (*at, probe.clone(), *tilt, *temp, None, None);
    let known: HashSet<Bits> = whole.iter().cloned().chain(whole.iter().filter(|_| renamed).map(bare)).collect();
    let found: Vec<Bits> = if renamed { found.iter().map(bare).collect() } else { found };
    match found.iter().all(|row| known.contains(row)) {
        true if found.len() == whole.len() => Outcome::Whole,
        true => Outcome::Fewer,
        false => Outcome::Other,
    }
}

#[test]
fn a_footer_with_any_wrong_byte_gives_no_row_that_stands_in_no_input() {
    let (season, bytes) = whole();
    let (whole, dir) = (rows(&season.readings), tempfile::tempdir().unwrap());
    assert_eq!(outcome(dir.path(), &bytes, &whole), Outcome::Whole);
    let mut counts: HashMap<Outcome, usize> = HashMap::new();
    let mut others = Vec::new();
    for place in footer(&bytes) {
        for change in [0x01, 0x02, 0x10, 0x40, 0x80, 0xff] {
            let mut damaged = bytes.clone();
            damaged[place] ^= change;
            let outcome = outcome(dir.path(), &damaged, &whole);
            *counts.entry(outcome).or_default() += 1;
            if outcome == Outcome::Other {
                others.push((place - footer(&bytes).start, change));
            }
        }
    }
    println!("{counts:?} {others:?}");
    assert!(others.is_empty(), "{others:?}");
}

#[test]
fn pages_with_any_wrong_byte_give_as_many_rows_or_none() {
    let (season, bytes) = whole();
    let (whole, dir) = (rows(&season.readings), tempfile::tempdir().unwrap());
    let mut counts: HashMap<Outcome, usize> = HashMap::new();
    for place in 0..footer(&bytes).start {
        for change in [0x01, 0x04, 0x80, 0xff] {
            let mut damaged = bytes.clone();
            damaged[place] ^= change;
            *counts.entry(outcome(dir.path(), &damaged, &whole)).or_default() += 1;
        }
    }
    println!("{counts:?}");
}
