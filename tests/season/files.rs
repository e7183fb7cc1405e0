//! A folder of small files for one test.

use std::path::Path;

use heelwort::season::Season;
use tempfile::TempDir;

/// A season that has one of everything.
pub const PLAIN: &[(&str, &str)] = &[
    (
        "readings.csv",
        "at,probe,tilt_deg,temp_c\n2031-03-04T12:00:00Z,dunlin,52.1,19.8\n2031-03-04T12:15:00Z,dunlin,52.0,19.9\n\
         2031-03-05T12:00:00Z,dunlin,47.25,20.1\n2031-03-01T09:00:00Z,knot,25.4,20.0\n",
    ),
    (
        "references.csv",
        "at,sg,probe,batch,bath,method,temp_c,raw_sg,instrument_temp_c,note\n\
         2031-03-01T09:00:00Z,1.0,knot,,water,water,20,,,\n\
         2031-03-04T12:05:00Z,1.0481,,T1,,density_meter,20,,,\"lively, \"\"quick\"\" start\"\n\
         2031-03-05T12:00:00Z,,,T1,,hydrometer,21.5,1.031,20,\n",
    ),
    ("batches.csv", "batch,strain,pitched_at,probe,original_sg\nT1,glasswort,2031-03-04T10:00:00Z,dunlin,1.048\n"),
    (
        "probes.csv",
        "probe,total_mass_g,diameter_mm,bottom,top\ndunlin,62.1,28,hemisphere,flat\nknot,61.4,28,12.5,flat\n",
    ),
    ("events.csv", "at,kind,probe,value,note\n2031-03-02T08:00:00Z,cell_swap,knot,,new cell\n"),
    ("plan.csv", "batch,at,temp_c\nT1,2031-03-10T00:00:00Z,4\n"),
];

/// Writes files, each given by its name and bytes, into a new folder.
pub fn folder<B: AsRef<[u8]>>(files: &[(&str, B)]) -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        put(dir.path(), name, bytes.as_ref());
    }
    dir
}

/// The plain season with some files replaced or added; an empty text takes a file away.
pub fn plain_with(changes: &[(&str, &str)]) -> TempDir {
    let dir = folder(PLAIN);
    for (name, text) in changes {
        if text.is_empty() {
            std::fs::remove_file(dir.path().join(name)).unwrap();
        } else {
            put(dir.path(), name, text.as_bytes());
        }
    }
    dir
}

/// Writes one file, with its folders.
pub fn put(dir: &Path, name: &str, bytes: &[u8]) {
    let path = dir.join(name);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, bytes).unwrap();
}

/// Loads what must load, and whose account must add up.
pub fn load(dir: &TempDir) -> Season {
    let season = Season::load(dir.path()).unwrap();
    assert!(season.account.adds_up(), "{}", season.account);
    season
}

/// The message of what must not load.
pub fn refusal(dir: &TempDir) -> String {
    Season::load(dir.path()).unwrap_err().to_string()
}
