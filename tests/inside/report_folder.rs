//! A report takes the place of an earlier one, or none.

use super::*;

fn write(out: &Path, text: &str) -> Result<PathBuf> {
    let mut staging = Staging::begin(out)?;
    staging.text("index.html", text)?;
    staging.text("tables/a.csv", "x\n1\n")?;
    staging.finish()
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_report_replaces_an_earlier_one_and_leaves_nothing_beside() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("deep/report");
    write(&out, "first").unwrap();
    write(&out, "second").unwrap();
    assert_eq!(fs::read_to_string(out.join("index.html")).unwrap(), "second");
    assert_eq!(names(&home.path().join("deep")), ["report"]);
    assert_eq!(names(&out), [MARKER, "index.html", "tables"]);
}

#[test]
fn an_empty_folder_may_become_a_report() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join(".DS_Store"), "").unwrap();
    write(home.path(), "one").unwrap();
    assert!(home.path().join("index.html").is_file());
}

#[test]
fn what_is_not_ours_is_left_alone() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("letters");
    fs::create_dir(&out).unwrap();
    fs::write(out.join("dear.txt"), "dear").unwrap();
    let message = write(&out, "x").unwrap_err().to_string();
    assert!(message.contains("letters") && message.contains("no earlier report"), "{message}");
    let file = home.path().join("file");
    fs::write(&file, "").unwrap();
    assert!(write(&file, "x").unwrap_err().to_string().contains("is a file"));

    let report = home.path().join("report");
    write(&report, "x").unwrap();
    fs::write(report.join("tables/mine.txt"), "mine").unwrap();
    let message = write(&report, "y").unwrap_err().to_string();
    assert!(message.contains("tables/mine.txt"), "{message}");
    assert_eq!(fs::read_to_string(report.join("index.html")).unwrap(), "x");
    assert_eq!(names(home.path()), ["file", "letters", "report"]);
}

#[test]
fn a_run_that_fails_leaves_the_earlier_report() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("report");
    write(&out, "first").unwrap();
    let mut staging = Staging::begin(&out).unwrap();
    staging.text("index.html", "half").unwrap();
    let failed = staging.file("tables/a.csv", |_| Err(Error::Usage("no".into())));
    assert!(failed.is_err());
    drop(staging);
    assert_eq!(fs::read_to_string(out.join("index.html")).unwrap(), "first");
    assert_eq!(names(home.path()), ["report"]);
}

#[test]
fn without_an_exchange_the_earlier_report_is_replaced_all_the_same() {
    let home = tempfile::tempdir().unwrap();
    let [new, out] = ["new", "out"].map(|name| home.path().join(name));
    for dir in [&new, &out] {
        fs::create_dir(dir).unwrap();
        fs::write(dir.join("which"), dir.file_name().unwrap().to_str().unwrap()).unwrap();
    }
    replace(&new, &out).unwrap();
    assert_eq!([&new, &out].map(|dir| fs::read_to_string(dir.join("which")).unwrap()), ["out", "new"]);
    assert!(replace(&home.path().join("nothing"), &out).is_err());
    assert_eq!(fs::read_to_string(out.join("which")).unwrap(), "new");
}

#[test]
fn what_a_killed_run_left_is_swept() {
    let home = tempfile::tempdir().unwrap();
    let left = home.path().join(".report.new-4294967295");
    fs::create_dir(&left).unwrap();
    let marker = fs::File::create(left.join(MARKER)).unwrap();
    marker.set_modified(std::time::SystemTime::now() - 2 * DAY).unwrap();
    let other = home.path().join(".report.new-notes");
    fs::create_dir(&other).unwrap();
    write(&home.path().join("report"), "x").unwrap();
    assert_eq!(names(home.path()), [".report.new-notes", "report"]);
}
