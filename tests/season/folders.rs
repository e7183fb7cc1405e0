//! Which files of a folder are read.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use heelwort::season::Season;

use super::files::{PLAIN, folder, load, plain_with, put, refusal};

const HEADER: &str = "at,probe,tilt_deg,temp_c\n";

fn gz(text: &str) -> Vec<u8> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
    packed.write_all(text.as_bytes()).unwrap();
    packed.finish().unwrap()
}

#[test]
fn one_table_in_two_forms_names_both() {
    for (other, also) in [
        ("readings.parquet", "readings.parquet"),
        ("readings.csv.gz", "readings.csv.gz"),
        ("readings/batch-1.csv", "readings/batch-1.csv"),
    ] {
        let dir = folder(PLAIN);
        put(dir.path(), other, b"");
        let message = refusal(&dir);
        assert!(message.contains("readings.csv") && message.contains(also), "{message}");
    }
}

#[test]
fn a_folder_of_files_and_gzip_make_one_table() {
    let dir = plain_with(&[("readings.csv", "")]);
    let late = format!("{HEADER}2031-03-05T12:00:00Z,dunlin,47.25,20.1\n");
    let early = "{\"at\":\"2031-03-04T12:00:00Z\",\"probe\":\"dunlin\",\"tilt_deg\":52.1,\"temp_c\":19.8}\n";
    put(dir.path(), "readings/b.csv.gz", &gz(&late));
    put(dir.path(), "readings/a.ndjson.gz", &gz(early));
    put(dir.path(), "readings/c.csv", b"\xef\xbb\xbfat;probe;tilt_deg;temp_c\r\n2031-03-06T12:00:00Z;knot;45;20\r\n");
    put(dir.path(), "readings/d.csv", b"at\tprobe\ttilt_deg\ttemp_c\n2031-03-07T12:00:00Z\tknot\t45\t20\n");
    let season = load(&dir);
    assert_eq!(season.readings.len(), 4);
    assert_eq!(season.readings.tilt_deg, [52.1, 47.25, 45.0, 45.0]);
    let files: Vec<&str> = season.account.files.iter().map(|f| f.file.as_str()).collect();
    assert_eq!(files.iter().filter(|f| f.starts_with("readings/")).count(), 4);
    put(dir.path(), "readings/a.csv", HEADER.as_bytes());
    let message = refusal(&dir);
    assert!(message.contains("readings/a.csv") && message.contains("readings/a.ndjson.gz"), "{message}");
}

#[test]
fn files_that_match_nothing_are_named_and_the_truth_is_never_read() {
    let dir = folder(PLAIN);
    for name in ["truth/readings.csv", "README.md", "LICENSE.txt", "SOURCE.md", "source/readings.csv", ".hidden.csv"] {
        put(dir.path(), name, b"binary\0");
    }
    put(dir.path(), "as-of.csv", b"batch,as_of\n");
    put(dir.path(), "scale photo.jpg", b"\0");
    put(dir.path(), "old/a.csv", b"\0");
    put(dir.path(), "old/b/c.csv", b"\0");
    let season = load(&dir);
    assert_eq!(season.account.unmatched, ["as-of.csv", "old/", "scale photo.jpg"]);
    assert_eq!(season.readings.len(), 4);
}

#[test]
fn a_single_file_is_a_season_by_its_name_or_its_columns() {
    let dir = tempfile::tempdir().unwrap();
    put(dir.path(), "readings-2031.csv", format!("{HEADER}2031-03-05T12:00:00Z,dunlin,47.25,20.1\n").as_bytes());
    let season = Season::load(dir.path().join("readings-2031.csv")).unwrap();
    assert_eq!((season.readings.len(), season.account.totals()), (1, (1, 1, 0, 0)));
    put(dir.path(), "march.csv", b"batch,at,sg\nT1,2031-03-05T12:00:00Z,1.048\n");
    assert_eq!(Season::load(dir.path().join("march.csv")).unwrap().references.len(), 1);
    put(dir.path(), "what.csv", b"when,lean\n1,2\n");
    let message = Season::load(dir.path().join("what.csv")).unwrap_err().to_string();
    assert!(message.contains("`when`, `lean`") && message.contains("season.toml"), "{message}");
    put(dir.path(), "season.toml", b"[[files]]\nmatch='wh*.csv'\ntable='probes'\ncolumns={probe='when'}\n");
    assert_eq!(Season::load(dir.path().join("what.csv")).unwrap().probes[0].probe, "1");
    put(dir.path(), "notes.odt", b"");
    assert!(Season::load(dir.path().join("notes.odt")).unwrap_err().to_string().contains("another kind"));
}

#[test]
fn unknown_columns_are_kept_aside_and_named() {
    let text = "at,probe,tilt_deg,temp_c,rssi\n2031-03-05T12:00:00Z,dunlin,47.25,20.1,-70\n";
    let season = load(&plain_with(&[("readings.csv", text)]));
    assert_eq!(season.account.unknown_columns, [("readings.csv".to_owned(), "rssi".to_owned())]);
    assert_eq!(season.account.totals().3, 0);
}

#[test]
fn a_gzip_file_that_breaks_off_keeps_the_rows_before() {
    // Minutes that no packing shortens much, so that what is unpacked of half a file is many rows.
    let rows: Vec<String> = (0..4000)
        .map(|i| {
            let tilt = 40.0 + f64::from((i + 2000) * 7919 % 4001) / 400.0;
            format!(
                "2031-03-{:02}T{:02}:{:02}:00Z,dunlin,{tilt:.3},{:.2}",
                5 + i / 1440,
                i / 60 % 24,
                i % 60,
                tilt / 2.0
            )
        })
        .collect();
    let whole = gz(&format!("{HEADER}{}\n", rows.join("\n")));
    let dir = plain_with(&[("readings.csv", "")]);
    for part in [0.3, 0.5, 0.9, 1.0 - 4.0 / whole.len() as f64] {
        put(dir.path(), "readings.csv.gz", &whole[..(part * whole.len() as f64) as usize]);
        let season = load(&dir);
        let file = season.account.files.iter().find(|f| f.table == "readings").unwrap();
        assert!((0.5 * part * 4000.0..=4000.0).contains(&(file.read as f64)), "{part} {file:?}");
        let broken: Vec<_> = season.account.rejected.iter().filter(|r| r.file == "readings.csv.gz").collect();
        assert_eq!((file.rejected, file.kept), (broken.len(), file.read - broken.len()));
        assert_eq!(season.readings.len(), file.kept);
        let remark = season.account.remarks.iter().find(|r| r.text.contains("gzip file breaks off here")).unwrap();
        assert_eq!((remark.file.as_str(), remark.line), ("readings.csv.gz", Some(2 + file.kept as u64)));
        for row in broken {
            assert_eq!(Some(row.line), remark.line);
            assert!(row.reason.to_string().contains("breaks off within this line"));
            assert!(rows[file.kept].starts_with(&row.text), "{}", row.text);
        }
        // All that is kept is as it was packed.
        let tilts: Vec<String> = season.readings.tilt_deg.iter().map(|tilt| format!("{tilt:.3}")).collect();
        assert!(rows.iter().zip(&tilts).all(|(row, tilt)| row.contains(&format!(",{tilt},"))));
    }
    // Without one whole line there is no table.
    put(dir.path(), "readings.csv.gz", &whole[..12]);
    let message = refusal(&dir);
    assert!(message.contains("readings.csv.gz") && message.contains("a whole gzip file"), "{message}");
    // Wrong bytes may unpack to any number, so that nothing of such a file is taken.
    let mut wrong = whole.clone();
    wrong[whole.len() / 2] ^= 0x55;
    put(dir.path(), "readings.csv.gz", &wrong);
    assert!(refusal(&dir).contains("cannot be unpacked"));
    // A cut before the end of a second member keeps the first one and what is whole of the second.
    let joined = [gz(&format!("{HEADER}{}\n", rows[..5].join("\n"))), gz(&format!("{}\n{}", rows[5], &rows[6][..30]))];
    let joined = joined.concat();
    put(dir.path(), "readings.csv.gz", &joined[..joined.len() - 8]);
    let season = load(&dir);
    assert_eq!((season.readings.len(), season.account.rejected.len()), (6, 1));
}
