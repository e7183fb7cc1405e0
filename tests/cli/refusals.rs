//! What `study` refuses before it works: options, moments and settings.

use std::path::{Path, PathBuf};

use super::{AGAVE, heelwort, refused, text};

/// A copy of the small season with a `season.toml` of its own.
fn agave_with(season_toml: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for table in ["batches.csv", "references.csv"] {
        std::fs::copy(Path::new(AGAVE).join(table), dir.path().join(table)).unwrap();
    }
    std::fs::write(dir.path().join("season.toml"), season_toml).unwrap();
    dir
}

fn asked(dir: &Path, rows: &str) -> PathBuf {
    let path = dir.join("moments.csv");
    std::fs::write(&path, rows).unwrap();
    path
}

#[test]
fn moments_that_cannot_be_are_refused_by_name() {
    let dir = tempfile::tempdir().unwrap();
    for (rows, parts) in [
        ("batch,as_of\nE99,2031-01-06T20:00:00Z\n", &["no batch `E99`", "`E1`"][..]),
        ("batch,as_of\nE1,at noon\n", &["line 2", "as_of", "`at noon`", "2031-03-04T05:06:07Z"]),
        ("batch,when\nE1,2031-01-06T20:00:00Z\n", &["column `as_of`", "when"]),
        ("batch,as_of\n", &["no rows"]),
    ] {
        refused(&["study", AGAVE, "--as-of", text(&asked(dir.path(), rows))], parts);
    }
    refused(&["study", AGAVE, "--as-of", "nowhere.csv"], &["nowhere.csv", "no such file"]);
}

#[test]
fn a_level_that_cannot_be_is_refused() {
    for level in ["7", "0.2", "1", "NaN"] {
        refused(&["study", AGAVE, "--level", level], &["`study.level`", "0.5 to 0.9999"]);
    }
    refused(&["study", AGAVE, "--level", "high"], &["high", "--level"]);
}

#[test]
fn settings_that_cannot_be_are_refused_with_a_guess() {
    for (toml, parts) in [
        ("[study.drift]\nshfit_alarm = 0.1\n", &["`study.drift.shfit_alarm`", "did you mean `shift_alarm`?"][..]),
        ("[study.drift]\nshift_alarm = 7\n", &["`study.drift.shift_alarm` is 7", "0 to 0.5"]),
        ("[study.forecast]\ndraws = \"many\"\n", &["`study.forecast.draws`", "many"]),
        ("[stuty]\nlevel = 0.9\n", &["`stuty`", "did you mean `study`?"]),
        ("[reprot]\ntitle = \"x\"\n", &["`reprot`", "did you mean `report`?"]),
        ("[report]\ntime_zone = \"Olso\"\n", &["`report.time_zone`", "Olso", "Europe/Oslo"]),
        ("[report]\ngravity = \"brix\"\n", &["`report.gravity`", "brix", "`plato`"]),
    ] {
        let season = agave_with(toml);
        refused(&["study", text(season.path())], parts);
        refused(&["check", text(season.path())], parts);
    }
    assert_eq!(heelwort(&["check", text(agave_with("[study]\nlevel = 0.8\n").path())]).code, 0);
}

#[test]
fn a_folder_that_is_no_report_is_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("mine.txt"), "mine").unwrap();
    refused(&["study", AGAVE, "--out", text(dir.path())], &["is not empty", "no earlier report"]);
    assert_eq!(std::fs::read_to_string(dir.path().join("mine.txt")).unwrap(), "mine");
    refused(&["study", "nowhere"], &["nowhere", "no such file"]);
}
