//! `study` to its end.

use std::path::Path;

use std::io::Read;

use flate2::read::MultiGzDecoder;
use heelwort::Instant;

use super::{AGAVE, heelwort_in, simulated};

fn table(dir: &Path, name: &str) -> String {
    std::fs::read_to_string(dir.join("tables").join(name)).unwrap()
}

#[test]
fn a_study_writes_the_report_and_the_level_acts() {
    let dir = tempfile::tempdir().unwrap();
    let moments = "batch,as_of\nE1,2031-01-06T20:00:00Z\n";
    std::fs::write(dir.path().join("moments.csv"), moments).unwrap();
    let ran = heelwort_in(dir.path(), &["study", AGAVE, "--out", "wide", "--as-of", "moments.csv"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("wide/index.html") && ran.out.contains("degassed sample"), "{}", ran.out);
    assert!(dir.path().join("wide/index.html").is_file());
    let forecasts = table(&dir.path().join("wide"), "forecasts.csv");
    assert!(forecasts.lines().any(|row| row.contains("E1") && row.contains("2031-01-06T20:00:00")), "{forecasts}");
    let ran = heelwort_in(dir.path(), &["study", AGAVE, "--out", "narrow", "--level", "0.5"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let [wide, narrow] = ["wide", "narrow"].map(|name| table(&dir.path().join(name), "strains.csv"));
    assert_ne!(wide, narrow);
}

#[test]
fn a_simulated_season_is_studied() {
    let ran = heelwort_in(simulated(), &["study", "season", "--out", "report"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(table(&simulated().join("report"), "calibrations.csv").lines().count() > 2);
}

/// Two baths are no calibration: a study that had input gave nothing, and all that there is has been written.
#[test]
fn a_part_that_had_data_and_gave_nothing_is_exit_code_1() {
    let dir = tempfile::tempdir().unwrap();
    let reading =
        |hour: u32, minute: u32, tilt: f64| format!("2031-01-06T{hour:02}:{minute:02}:00Z,dunlin,{tilt},20\n");
    let readings: String = (0..10).map(|m| reading(8, m, 25.0)).chain((0..10).map(|m| reading(10, m, 40.0))).collect();
    let references =
        "at,sg,probe,method\n2031-01-06T08:05:00Z,1.000,dunlin,water\n2031-01-06T10:05:00Z,1.040,dunlin,weighed\n";
    for (name, rows) in [
        ("probes.csv", "probe\ndunlin\n".to_owned()),
        ("batches.csv", "batch,strain,pitched_at\n".to_owned()),
        ("readings.csv", format!("at,probe,tilt_deg,temp_c\n{readings}")),
        ("references.csv", references.to_owned()),
    ] {
        std::fs::write(dir.path().join(name), rows).unwrap();
    }
    let ran = heelwort_in(dir.path(), &["study", ".", "--out", "report"]);
    assert_eq!(ran.code, 1, "{ran:?}");
    assert!(ran.out.contains("dunlin"), "{}", ran.out);
    assert!(dir.path().join("report/index.html").is_file());
}

/// The rows of a table, in the order of their first two cells.
fn sorted(dir: &Path, name: &str) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_path(dir.join("tables").join(name)).unwrap();
    let mut rows: Vec<Vec<String>> =
        reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    rows.sort_by(|a, b| a[..2].cmp(&b[..2]));
    rows
}

/// Coefficients by name, to seven digits.
fn coefficients(cell: &str) -> Option<std::collections::BTreeMap<String, String>> {
    let all: std::collections::BTreeMap<String, f64> = serde_json::from_str(cell).ok()?;
    Some(all.into_iter().map(|(name, value)| (name, format!("{value:.6e}"))).collect())
}

fn alike(one: &str, other: &str) -> bool {
    let times = Instant::parse(one).and_then(|a| Ok((a, Instant::parse(other)?)));
    match (one.parse::<f64>(), other.parse::<f64>(), times) {
        (Ok(a), Ok(b), _) => (a - b).abs() <= 1e-4 * a.abs().max(b.abs()) + 1e-7,
        (_, _, Ok((a, b))) => a.hours_since(b).abs() < 0.01,
        _ => one == other || coefficients(one).is_some_and(|one| coefficients(other).is_some_and(|other| one == other)),
    }
}

/// Rows of the small tables in any order, and the months of a log in files of any name.
#[test]
fn the_order_of_rows_and_files_moves_no_number() {
    let (here, home) = (simulated().join("season"), tempfile::tempdir().unwrap());
    let season = home.path().join("season");
    std::fs::create_dir_all(season.join("readings")).unwrap();
    let reversed = |text: &str| {
        let (header, rows) = text.split_once('\n').unwrap();
        let rows: Vec<&str> = rows.lines().rev().collect();
        format!("{header}\n{}\n", rows.join("\n"))
    };
    for name in ["batches.csv", "references.csv", "probes.csv", "events.csv", "plan.csv"] {
        let Ok(text) = std::fs::read_to_string(here.join(name)) else { continue };
        std::fs::write(season.join(name), reversed(&text)).unwrap();
    }
    let (mut log, file) = (String::new(), std::fs::File::open(here.join("readings.csv.gz")).unwrap());
    MultiGzDecoder::new(file).read_to_string(&mut log).unwrap();
    let (header, rows) = log.split_once('\n').unwrap();
    for month in 2..8 {
        let is_of = |row: &&str| row.starts_with(&format!("2031-{month:02}"));
        let mut rows: Vec<&str> = rows.lines().filter(is_of).collect();
        if month == 4 {
            // In no order: by minute and what follows it.
            rows.sort_by_key(|row| &row[14..]);
        }
        let text = format!("{header}\n{}\n", rows.join("\n"));
        std::fs::write(season.join(format!("readings/{}.csv", 9 - month)), text).unwrap();
    }
    for (season, out) in [(here.as_path(), "one"), (&season, "other")] {
        let ran = heelwort_in(home.path(), &["study", season.to_str().unwrap(), "--out", out]);
        assert_eq!(ran.code, 0, "{ran:?}");
    }
    for entry in std::fs::read_dir(home.path().join("one/tables")).unwrap() {
        let name = entry.unwrap().file_name().to_str().unwrap().to_owned();
        // These tell of files.
        if !name.ends_with(".csv") || ["row_account.csv", "rejected.csv"].contains(&name.as_str()) {
            continue;
        }
        let [one, other] = ["one", "other"].map(|out| sorted(&home.path().join(out), &name));
        assert_eq!(one.len(), other.len(), "{name}");
        for (one, other) in one.iter().zip(&other) {
            let differ = one.iter().zip(other).find(|(one, other)| !alike(one, other));
            assert!(differ.is_none(), "{name}: {differ:?} in {one:?}");
        }
    }
}

/// Draws of the same question a second later are the same draws.
#[test]
fn a_second_later_the_forecast_is_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let moments: String = (0..40).step_by(8).map(|s| format!("E1,2031-01-06T20:00:{s:02}Z\n")).collect();
    std::fs::write(dir.path().join("moments.csv"), "batch,as_of\n".to_owned() + &moments).unwrap();
    let ran = heelwort_in(dir.path(), &["study", AGAVE, "--out", "out", "--as-of", "moments.csv"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let mut reader = csv::Reader::from_path(dir.path().join("out/tables/forecasts.csv")).unwrap();
    let header = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).filter(|row| &row[0] == "E1").collect();
    assert!(rows.len() >= 5, "{rows:?}");
    for quantile in ["finish_p05", "finish_p50", "finish_p95"] {
        let place = header.iter().position(|name| name == quantile).unwrap();
        let times: Vec<Instant> = rows.iter().filter_map(|row| Instant::parse(&row[place]).ok()).collect();
        let spread_h = times.iter().max().zip(times.iter().min()).map(|(last, first)| last.hours_since(*first));
        assert!(spread_h.is_none_or(|hours| hours < 0.5), "{quantile} moves by {spread_h:?} h");
    }
}
