//! The report's folder: runs that are killed, that meet, and that cannot write.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};

use super::{heelwort_in, refused, text};

type Contents = BTreeMap<PathBuf, Vec<u8>>;

/// Every file below a folder, by its path there.
fn contents(dir: &Path) -> Contents {
    fn add(root: &Path, dir: &Path, found: &mut Contents) {
        for entry in std::fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                add(root, &path, found);
            } else {
                found.insert(path.strip_prefix(root).unwrap().to_owned(), std::fs::read(&path).unwrap());
            }
        }
    }
    let mut found = Contents::new();
    add(dir, dir, &mut found);
    found
}

/// Two seasons of one sample each, `one` and `other`, whose studies take no time, and the report of each.
fn two_seasons(home: &Path) -> [Contents; 2] {
    ["one", "other"].map(|name| {
        let dir = home.join(name);
        std::fs::create_dir(&dir).unwrap();
        let sample = format!("at,sg,batch\n2031-03-04T12:05:00Z,1.0481,{name}\n");
        std::fs::write(dir.join("references.csv"), sample).unwrap();
        let batch = format!("batch,strain,pitched_at\n{name},glasswort,2031-03-04T10:00:00Z\n");
        std::fs::write(dir.join("batches.csv"), batch).unwrap();
        let ran = heelwort_in(home, &["study", name, "--out", &format!("of-{name}")]);
        assert_eq!(ran.code, 1, "{ran:?}");
        contents(&home.join(format!("of-{name}")))
    })
}

fn start(home: &Path, season: &str) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_heelwort"));
    command.args(["study", season, "--out", "out"]).current_dir(home).stdout(Stdio::null()).stderr(Stdio::null());
    command.spawn().unwrap()
}

/// How many folders of runs lie beside the report.
fn begun(home: &Path) -> usize {
    let names = std::fs::read_dir(home).unwrap().map(|entry| entry.unwrap().file_name());
    names.filter(|name| name.to_string_lossy().starts_with(".out.new-")).count()
}

#[test]
fn after_a_kill_at_any_moment_there_is_the_earlier_report_or_the_new_one() {
    let home = tempfile::tempdir().unwrap();
    let reports = two_seasons(home.path());
    start(home.path(), "one").wait().unwrap();
    let (mut rng, mut killed, mut replaced) = (SmallRng::seed_from_u64(1), 0, 0);
    let mut last = contents(&home.path().join("out"));
    for i in 0..100 {
        let before = begun(home.path());
        let mut run = start(home.path(), ["other", "one"][i % 2]);
        // Most kills come while the report is written.
        while i % 4 != 0 && begun(home.path()) == before && run.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_micros(50));
        }
        std::thread::sleep(Duration::from_micros(rng.random_range(0..12_000)));
        let _ = run.kill();
        killed += usize::from(run.wait().unwrap().code().is_none());
        let now = contents(&home.path().join("out"));
        assert!(reports.contains(&now), "kill {i} left {:?}", now.keys());
        replaced += usize::from(now != last);
        last = now;
    }
    assert!(killed >= 20, "{killed} killed, {replaced} replaced");
    // What the killed left is in nobody's way.
    assert_eq!(start(home.path(), "one").wait().unwrap().code(), Some(1));
    assert!(contents(&home.path().join("out")) == reports[0]);
}

#[test]
fn of_two_runs_at_once_one_stays_whole_and_neither_fails() {
    let home = tempfile::tempdir().unwrap();
    let reports = two_seasons(home.path());
    for round in 0..15 {
        let runs = ["one", "other", "one"].map(|season| start(home.path(), season));
        for mut run in runs {
            assert_eq!(run.wait().unwrap().code(), Some(1), "round {round}");
        }
        assert!(reports.contains(&contents(&home.path().join("out"))), "round {round}");
        assert_eq!(begun(home.path()), 0, "round {round}");
    }
}

/// A file may not grow beyond so many blocks, as on a full disk.
#[cfg(unix)]
#[test]
fn a_disk_that_fills_leaves_the_earlier_report_and_names_the_file() {
    let home = tempfile::tempdir().unwrap();
    let reports = two_seasons(home.path());
    start(home.path(), "one").wait().unwrap();
    for blocks in [0, 1, 4] {
        let shell = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" study other --out out");
        let mut run = Command::new("sh");
        run.args(["-c", &shell, env!("CARGO_BIN_EXE_heelwort")]).current_dir(home.path());
        let ran = run.output().unwrap();
        let message = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(2), "{blocks} blocks: {message}");
        assert!(message.contains("out") && !message.contains("panicked"), "{message}");
        assert!(contents(&home.path().join("out")) == reports[0], "{blocks} blocks");
        assert_eq!(begun(home.path()), 0);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_standard_output_is_an_error() {
    let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
    let mut run = Command::new(env!("CARGO_BIN_EXE_heelwort"));
    let ran = run.args(["check", super::AGAVE]).stdout(full).output().unwrap();
    assert_eq!(ran.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&ran.stderr).contains("standard output"));
}

#[cfg(unix)]
#[test]
fn the_rights_of_the_folder_stay() {
    use std::os::unix::fs::PermissionsExt;
    let home = tempfile::tempdir().unwrap();
    two_seasons(home.path());
    start(home.path(), "one").wait().unwrap();
    let out = home.path().join("out");
    std::fs::set_permissions(&out, std::fs::Permissions::from_mode(0o750)).unwrap();
    start(home.path(), "other").wait().unwrap();
    assert_eq!(std::fs::metadata(&out).unwrap().permissions().mode() & 0o777, 0o750);
}

/// What a kill leaves at each step of putting a report in place, where folders cannot be exchanged: the earlier report under
/// another name, the new one not yet there. Nothing of it is lost or read, and the next run writes its own.
#[test]
fn after_a_kill_at_each_rename_the_next_run_is_whole() {
    for step in 0..3 {
        let home = tempfile::tempdir().unwrap();
        let reports = two_seasons(home.path());
        start(home.path(), "one").wait().unwrap();
        let [out, new, old] =
            ["out", ".out.new-0123456789abcdef", ".out.new-0123456789abcdef.old"].map(|n| home.path().join(n));
        std::fs::rename(home.path().join("of-other"), &new).unwrap();
        if step > 0 {
            std::fs::rename(&out, &old).unwrap();
        }
        if step > 1 {
            std::fs::rename(&new, &out).unwrap();
        }
        assert_eq!(start(home.path(), "other").wait().unwrap().code(), Some(1), "step {step}");
        assert!(contents(&out) == reports[1], "step {step}");
        assert!(step == 0 || contents(&old) == reports[0], "step {step}");
    }
}

/// Whichever file it is that the disk has no room for, Parquet too.
#[cfg(unix)]
#[test]
fn a_full_disk_at_any_size_names_the_file() {
    let home = tempfile::tempdir().unwrap();
    let reports = two_seasons(home.path());
    let sizes: std::collections::BTreeSet<u64> = reports[1].values().map(|bytes| bytes.len() as u64 / 512).collect();
    start(home.path(), "one").wait().unwrap();
    for blocks in sizes.into_iter().rev().skip(1) {
        let shell = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" study other --out out");
        let mut run = Command::new("sh");
        run.args(["-c", &shell, env!("CARGO_BIN_EXE_heelwort")]).current_dir(home.path());
        let ran = run.output().unwrap();
        let message = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(2), "{blocks} blocks: {message}");
        assert!(message.contains("out/") && !message.contains("panicked"), "{message}");
        assert!(contents(&home.path().join("out")) == reports[0], "{blocks} blocks");
    }
}

#[test]
fn a_season_is_no_place_for_its_report_and_a_report_in_it_is_no_input() {
    let home = tempfile::tempdir().unwrap();
    two_seasons(home.path());
    let season = home.path().join("one");
    refused(&["study", text(&season), "--out", text(&season)], &["is not empty", "no earlier report"]);
    assert_eq!(contents(&season).len(), 2);
    // A pattern that would match tables of the report.
    let map = "[[files]]\nmatch = \"r*.csv\"\ntable = \"references\"\n";
    std::fs::write(season.join("season.toml"), map).unwrap();
    let runs = [0, 1].map(|_| heelwort_in(&season, &["study", ".", "--out", "report"]));
    assert_eq!(runs.each_ref().map(|ran| ran.code), [1, 1], "{runs:?}");
    assert_eq!(runs[0].out, runs[1].out);
    assert!(heelwort_in(&season, &["check", "."]).out.lines().all(|line| !line.contains("report/")));
}

#[test]
fn a_name_too_long_for_a_folder_is_refused_at_once() {
    refused(&["study", super::AGAVE, "--out", &"a".repeat(250)], &["making a folder beside", "aaa"]);
}
