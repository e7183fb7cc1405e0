//! `study` to its end.

use std::path::Path;

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
