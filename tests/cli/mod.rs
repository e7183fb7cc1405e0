//! The program as a user starts it: what it prints, what it writes, and its exit codes.

mod odd_input;
mod program;
mod readme;
mod refusals;
mod study;
mod writing;

use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;

use tempfile::TempDir;

/// A small season of hand samples that comes with the project.
const AGAVE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/datasets/published/agave-must-fermentation");

/// What one run of the program left.
#[derive(Debug)]
struct Ran {
    code: i32,
    out: String,
    err: String,
}

/// Starts the program with these arguments in that folder, and waits for its end.
fn heelwort_in(dir: &Path, args: &[&str]) -> Ran {
    let ran = Command::new(env!("CARGO_BIN_EXE_heelwort")).args(args).current_dir(dir).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Ran { code: ran.status.code().unwrap(), out: text(ran.stdout), err: text(ran.stderr) }
}

/// The same in a new folder.
fn heelwort(args: &[&str]) -> Ran {
    heelwort_in(tempfile::tempdir().unwrap().path(), args)
}

/// The program must refuse these arguments with exit code 2, and say all of `parts`.
#[track_caller]
fn refused(args: &[&str], parts: &[&str]) {
    let ran = heelwort(args);
    assert_eq!(ran.code, 2, "{ran:?}");
    for part in parts {
        assert!(ran.err.contains(part), "`{part}` is not in: {}", ran.err);
    }
    assert!(!ran.err.contains("os error"), "{}", ran.err);
}

/// A simulated season in a folder, written once by the program itself.
fn simulated() -> &'static Path {
    static DIR: OnceLock<TempDir> = OnceLock::new();
    let dir = DIR.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        let ran = heelwort_in(dir.path(), &["simulate", "season", "--seed", "7", "--batches", "2", "--probes", "2"]);
        assert_eq!(ran.code, 0, "{ran:?}");
        assert!(ran.out.contains("2 batches, 2 probes"), "{}", ran.out);
        dir
    });
    Path::new(dir.path())
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}
