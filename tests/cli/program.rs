//! Help, `check`, `simulate`, and the program without a command.

use super::{AGAVE, heelwort, heelwort_in, refused, simulated, text};

#[test]
fn help_names_every_command_and_the_exit_codes() {
    for args in [&["help"][..], &["--help"], &["-h"]] {
        let ran = heelwort(args);
        assert_eq!(ran.code, 0, "{ran:?}");
        for word in
            ["study", "check", "simulate", "--level", "Exit codes", "degassed sample", "heelwort check my-season"]
        {
            assert!(ran.out.contains(word), "`{word}` is not in: {}", ran.out);
        }
    }
    let ran = heelwort(&["help", "study"]);
    assert!(ran.code == 0 && ran.out.contains("--as-of") && ran.out.contains("--level"), "{ran:?}");
    let ran = heelwort(&["--version"]);
    assert!(ran.code == 0 && ran.out.contains(env!("CARGO_PKG_VERSION")), "{ran:?}");
}

#[test]
fn wrong_words_are_guessed_at() {
    refused(&["studdy", AGAVE], &["studdy", "study"]);
    refused(&["study", AGAVE, "--levle", "0.9"], &["--levle", "--level"]);
    refused(&["study", AGAVE, "--as_of", "x.csv"], &["--as_of", "--as-of"]);
    refused(&["study"], &["DIR"]);
    refused(&["simulate", "new", "--seed", "many"], &["many", "--seed"]);
}

#[test]
fn check_shows_what_became_of_every_row() {
    let ran = heelwort(&["check", AGAVE]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("references"), "{}", ran.out);
    let ran = heelwort_in(simulated(), &["check", "season"]);
    assert!(ran.code == 0 && ran.out.contains("readings"), "{ran:?}");
    refused(&["check", "nowhere"], &["nowhere", "no such file"]);
}

#[test]
fn a_season_without_a_usable_row_is_bad_input() {
    let dir = tempfile::tempdir().unwrap();
    for (name, header) in [
        ("readings.csv", "at,probe,tilt_deg,temp_c\n"),
        ("references.csv", "at,sg\n"),
        ("batches.csv", "batch,strain,pitched_at\n"),
        ("probes.csv", "probe\n"),
    ] {
        std::fs::write(dir.path().join(name), header).unwrap();
    }
    let ran = heelwort(&["check", text(dir.path())]);
    assert!(ran.code == 2 && ran.out.contains("Nothing usable remains"), "{ran:?}");
}

#[test]
fn simulate_writes_the_same_season_for_the_same_seed_and_overwrites_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let args = ["simulate", "again", "--seed", "7", "--batches", "2", "--probes", "2"];
    assert_eq!(heelwort_in(dir.path(), &args).code, 0);
    for file in ["batches.csv", "references.csv"] {
        let read = |season: std::path::PathBuf| std::fs::read(season.join(file)).unwrap();
        assert_eq!(read(dir.path().join("again")), read(simulated().join("season")), "{file}");
    }
    let ran = heelwort_in(dir.path(), &args);
    assert!(ran.code == 2 && ran.err.contains("not empty"), "{ran:?}");
    refused(&["simulate", "new", "--batches", "0"], &["batches", "1 to 2000"]);
}

/// The whole demo is a job of its own; here, that it is what runs, and is refused before any work.
#[test]
fn without_a_command_the_demo_season_is_studied() {
    refused(&["--level", "7"], &["`study.level` is 7", "0.5 to 0.9999"]);
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir(dir.path().join("heelwort-report")).unwrap();
    std::fs::write(dir.path().join("heelwort-report/mine.txt"), "mine").unwrap();
    let ran = heelwort_in(dir.path(), &[]);
    assert!(ran.code == 2 && ran.err.contains("heelwort-report"), "{ran:?}");
    assert_eq!(std::fs::read_to_string(dir.path().join("heelwort-report/mine.txt")).unwrap(), "mine");
}
