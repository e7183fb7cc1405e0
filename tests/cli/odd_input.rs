//! Input that nobody means, as the program meets it: each has an outcome, soon and in few words.

use std::path::Path;
use std::process::Command;

use flate2::Compression;
use flate2::write::GzEncoder;

use super::{Ran, heelwort, heelwort_in, refused, simulated, text};
use crate::season::files::{folder, plain_with, put};

/// What `check` says of a folder, in short lines.
#[track_caller]
fn checked(dir: &Path) -> Ran {
    let ran = heelwort(&["check", text(dir)]);
    assert!([0, 2].contains(&ran.code), "{ran:?}");
    assert!(ran.out.lines().chain(ran.err.lines()).all(|line| line.len() < 4096), "{:.300}", ran.out);
    assert!(ran.out.len() < 20_000, "{} bytes", ran.out.len());
    ran
}

/// `check` must accept the plain season with these changes, and say all of `parts`.
#[track_caller]
fn says(changes: &[(&str, &str)], parts: &[&str]) {
    let dir = plain_with(changes);
    let ran = checked(dir.path());
    assert_eq!(ran.code, 0, "{ran:?}");
    for part in parts {
        assert!(ran.out.contains(part), "`{part}` is not in: {}", ran.out);
    }
}

const READINGS: &str = "at,probe,tilt_deg,temp_c\n2031-03-04T12:00:00Z,dunlin,52.1,19.8\n";

fn map(line: &str) -> String {
    format!("[[files]]\nmatch = \"readings.csv\"\ntable = \"readings\"\n{line}\n")
}

#[test]
fn a_map_that_cannot_be_meant_is_refused() {
    for (line, part) in [
        ("skip_lines = 9000000000000000000", "skip_lines"),
        ("time_format = \"%d.%m.%Y %Q9 nonsense %\"", "time_format"),
        ("time_format = \"nonsense\"", "time_format"),
    ] {
        let dir = plain_with(&[("season.toml", &map(line))]);
        refused(&["check", text(dir.path())], &["season.toml", "line 4", part]);
    }
    says(&[("season.toml", &map("time_format = \"%d.%m.%Y %H:%M\""))], &["readings.csv"]);
}

#[test]
fn numbers_and_times_of_nobody_cost_their_rows() {
    let row = |row: &str| format!("{READINGS}{row}\n");
    says(&[("readings.csv", &row("2031-03-04T12:15:00Z,dunlin,0x10,20"))], &["line 3", "`0x10`; wanted a number"]);
    says(&[("readings.csv", &row("2031-03-04T12:15:00Z,dunlin,51,9,19,9"))], &["decimal = \",\""]);
    let far = "at,sg,probe,method\n2031-03-01T09:00:00Z,1,knot,water\n2131-03-01T09:00:00Z,1,knot,water\n9998-12-31T09:00:00Z,1,\
               knot,water\n";
    says(&[("references.csv", far)], &["line 3 and 1 row like it", "20 years from the middle"]);
    let sds = "at,sg,probe,sg_sd\n2031-03-01T09:00:00Z,1,knot,1e300\n2031-03-01T09:30:00Z,1.04,knot,1e-9\n";
    says(&[("references.csv", sds)], &["2 value_unreadable", "a standard deviation lies between"]);
}

#[test]
fn control_characters_reach_no_terminal_and_no_page() {
    let dir = plain_with(&[
        (
            "readings.csv",
            &format!("{READINGS}2031-03-04T12:15:00Z,dun\u{1b}[31mlin,52,20\n2031-03-04T12:15:00Z,knot,\u{7}5,20\n"),
        ),
        ("references.csv", "at,sg,batch,a\u{1b}[2Jb\n2031-03-04T12:05:00Z,1.0481,T1,x\n"),
        ("re\u{1b}[7mport.dat", "x"),
    ]);
    put(dir.path(), "readings/\u{8}log.csv", READINGS.as_bytes());
    std::fs::remove_file(dir.path().join("readings.csv")).unwrap();
    put(
        dir.path(),
        "readings/other.csv",
        format!("{READINGS}2031-03-04T12:15:00Z,dun\u{1b}[31mlin,52,20\n").as_bytes(),
    );
    let home = tempfile::tempdir().unwrap();
    let ran = heelwort_in(home.path(), &["study", text(dir.path()), "--out", "out"]);
    let page = std::fs::read_to_string(home.path().join("out/index.html")).unwrap();
    let check = checked(dir.path()).out;
    assert!(check.contains("\\u{1b}[31m") && check.contains("without control characters"), "{check}");
    for text in [ran.out, ran.err, page, check] {
        let odd = text.chars().find(|c| c.is_control() && !"\n\t".contains(*c));
        assert_eq!(odd, None);
    }
}

#[test]
fn ids_that_a_spreadsheet_would_compute_are_remarked() {
    let row = "2031-03-04T12:30:00Z,\"=HYPERLINK(1)\",52,20\n2031-03-04T12:30:00Z,@knot,52,20\n";
    says(&[("readings.csv", &format!("{READINGS}{row}"))], &["takes these for formulas: `=HYPERLINK(1)` and `@knot`"]);
}

/// A folder of rules in which Oslo lies in America changes no time.
#[cfg(unix)]
#[test]
fn time_zones_are_the_bundled_ones_on_any_machine() {
    let block = |version: u8| {
        let counts = [0_u32, 0, 0, 0, 1, 4].map(u32::to_be_bytes).concat();
        let offset = (-5 * 3600_i32).to_be_bytes();
        [b"TZif".as_slice(), &[version], &[0; 15], &counts, &offset, &[0, 0], b"EST\0"].concat()
    };
    let zones = tempfile::tempdir().unwrap();
    put(zones.path(), "Europe/Oslo", &[block(b'2'), block(b'2'), b"\nEST5\n".to_vec()].concat());
    let local = "at,probe,tilt_deg,temp_c\n2031-03-04T12:00:00,dunlin,52.1,19.8\n";
    let map = "time_zone = \"Europe/Oslo\"\n";
    let dir = plain_with(&[("readings.csv", local), ("season.toml", map)]);
    let said = |of_machine: &[(&str, &Path)]| {
        let mut run = Command::new(env!("CARGO_BIN_EXE_heelwort"));
        run.args(["study", text(dir.path()), "--out", "out"])
            .current_dir(zones.path())
            .envs(of_machine.iter().copied());
        let ran = run.output().unwrap();
        assert!(ran.status.code().unwrap() < 2);
        String::from_utf8(ran.stdout).unwrap()
    };
    let here = said(&[]);
    assert!(here.contains("2031") && here == said(&[("TZDIR", zones.path())]), "{here}");
}

/// What `check` takes, `study` brings to an end.
#[test]
fn absurd_standard_deviations_end_no_study() {
    let at = |hour: u32, sd: &str| format!("2031-03-04T{hour}:05:00Z,1.0{hour}1,T1,{sd}\n");
    let rows = [at(12, "1e300"), at(13, "1e-9"), at(14, "1e-9"), at(15, "1e155")].concat();
    let batch = "batch,strain,pitched_at,probe,original_sg,original_sg_sd\n\
                 T1,glasswort,2031-03-04T10:00:00Z,dunlin,1.048,1e155\n";
    let references = format!("at,sg,batch,sg_sd\n{rows}");
    let dir = plain_with(&[("references.csv", &references), ("batches.csv", batch)]);
    assert_eq!(checked(dir.path()).code, 0);
    let home = tempfile::tempdir().unwrap();
    let ran = heelwort_in(home.path(), &["study", text(dir.path()), "--out", "out"]);
    assert!(ran.code < 2, "{ran:?}");
}

/// One wrong byte anywhere in a table of Parquet: every row is kept or named, or the file is refused, and nothing panics.
#[test]
fn a_wrong_byte_in_parquet_loses_no_row_unsaid() {
    let season = heelwort::season::Season::load(simulated().join("season")).unwrap();
    let dir = tempfile::tempdir().unwrap();
    season.write_as(dir.path(), heelwort::season::FileFormat::Parquet).unwrap();
    let path = dir.path().join("readings.parquet");
    let whole = std::fs::read(&path).unwrap();
    let rows = season.readings.len().to_string();
    let footer = u32::from_le_bytes(whole[whole.len() - 8..whole.len() - 4].try_into().unwrap()) as usize + 8;
    // Pages, then more of the footer.
    let of_pages = (0..8).map(|i| i * whole.len() / 9 + 40);
    for (place, bit) in
        of_pages.chain((0..24).map(|i| whole.len() - footer + i * footer / 25)).zip([1, 4, 64].iter().cycle())
    {
        let mut bytes = whole.clone();
        bytes[place] ^= *bit;
        std::fs::write(&path, bytes).unwrap();
        let ran = checked(dir.path());
        assert!(!ran.err.contains("panicked") && !ran.err.contains(".rs:"), "{place}: {}", ran.err);
        assert!(ran.code == 2 || ran.out.contains(&rows), "{place}: {}", ran.out);
    }
}

#[test]
fn long_ids_and_many_columns_stay_out_of_messages() {
    let long = "a".repeat(60_000);
    says(
        &[("readings.csv", &format!("{READINGS}2031-03-04T12:15:00Z,{long},52,20\n"))],
        &["line 3: column `probe`: found `aaaa", "at most 200 letters"],
    );
    let keys: String = (0..1500).map(|i| format!(",\"key {i} {}\":1", "z".repeat(20))).collect();
    let row = |minute: usize| {
        format!(
            "{{\"at\":\"2031-03-04T12:{minute:02}:00Z\",\"probe\":\"dunlin\",\"tilt_deg\":52,\"temp_c\":20{}}}\n",
            keys.replace("key", &format!("k{minute}"))
        )
    };
    let rows: String = (0..50).map(row).collect();
    let dir = plain_with(&[("readings.csv", ""), ("readings.ndjson", &rows)]);
    let ran = checked(dir.path());
    assert!(ran.out.contains("more columns that are not used"), "{}", ran.out);
}

/// One more key in each row made reading quadratic: with these it took minutes.
#[test]
fn a_new_key_in_each_row_and_a_key_twice() {
    let row = |i: usize, more: &str| {
        format!("{{\"at\":{},\"probe\":\"dunlin\",\"tilt_deg\":52,\"temp_c\":20,{more}}}\n", 1_930_392_000 + i * 60)
    };
    let rows: String = (0..30_000).map(|i| row(i, &format!("\"key{i}\":1"))).collect();
    let dir = plain_with(&[("readings.csv", ""), ("readings.ndjson", &(rows + &row(40_000, "\"temp_c\":21")))]);
    let ran = checked(dir.path());
    assert!(ran.out.contains("30001") && ran.out.contains("the key `temp_c` stands twice"), "{}", ran.out);
}

#[test]
fn a_large_log_in_a_wrong_form_is_counted_and_not_kept() {
    let rows = "04.03.2031 05:06,dunlin,30.00,20.0\n".repeat(100_000);
    let dir = plain_with(&[("readings.csv", &("at,probe,tilt_deg,temp_c\n".to_owned() + &rows))]);
    let ran = checked(dir.path());
    assert!(ran.out.contains("line 2 and 99999 rows like it: column `at`"), "{}", ran.out);
    let account = heelwort::season::Season::load(dir.path()).unwrap().account;
    assert!(account.adds_up() && account.rejected.len() == 1000, "{}", account.rejected.len());
}

/// The log cannot tell which of the two was right, so that the times of one are doubted, by name.
#[test]
fn months_joined_in_another_order_are_doubted_aloud() {
    let row = |month: u32, hour: u32| {
        let (tilt, temp) = (50.0 - f64::from(hour) * 0.1, 20.0 + f64::from(hour % 5) * 0.1);
        format!("2031-{month:02}-{:02}T{:02}:00:00Z,dunlin,{tilt:.2},{temp:.1}\n", 5 + hour / 24, hour % 24)
    };
    let rows: String = [3, 2].map(|month| (0..72).map(|hour| row(month, hour)).collect::<String>()).concat();
    let parts = ["72 clock_jump", "remark on readings.csv: the clock of a logger jumped", "dunlin"];
    says(&[("readings.csv", &("at,probe,tilt_deg,temp_c\n".to_owned() + &rows))], &parts);
}

#[test]
fn gzip_that_swells_without_end_is_refused() {
    let mut gzip = GzEncoder::new(Vec::new(), Compression::fast());
    let block = vec![b'\n'; 1 << 20];
    (0..80).for_each(|_| std::io::Write::write_all(&mut gzip, &block).unwrap());
    let dir = plain_with(&[("readings.csv", "")]);
    put(dir.path(), "readings.csv.gz", &gzip.finish().unwrap());
    refused(&["check", text(dir.path())], &["readings.csv.gz", "unpack to over 64 MB"]);
}

#[test]
fn folders_too_deep_are_named() {
    let dir = plain_with(&[]);
    put(dir.path(), "a/b/c/d/e/f/g/readings.csv", READINGS.as_bytes());
    assert!(checked(dir.path()).out.contains("not read: a/"));
}

#[cfg(target_os = "linux")]
#[test]
fn names_that_are_not_utf_8_are_read_all_the_same() {
    use std::os::unix::ffi::OsStringExt;
    let dir = plain_with(&[("readings.csv", "")]);
    std::fs::create_dir(dir.path().join("readings")).unwrap();
    let name = std::ffi::OsString::from_vec(b"log\xff.csv".to_vec());
    std::fs::write(dir.path().join("readings").join(name), READINGS).unwrap();
    let ran = checked(dir.path());
    assert!(ran.code == 0 && ran.out.contains("readings/log\u{fffd}.csv"), "{ran:?}");
}

#[cfg(unix)]
#[test]
fn a_pipe_is_refused_wherever_it_stands() {
    let pipe = |dir: &Path, name: &str| {
        assert!(Command::new("mkfifo").arg(dir.join(name)).status().unwrap().success());
    };
    for name in ["events.csv", "season.toml"] {
        let dir = folder(&crate::season::files::PLAIN[..4]);
        pipe(dir.path(), name);
        refused(&["check", text(dir.path())], &[name, "a pipe"]);
    }
    let dir = folder(crate::season::files::PLAIN);
    pipe(dir.path(), "moments");
    let moments = dir.path().join("moments");
    std::fs::create_dir(dir.path().join("reports")).unwrap();
    let out = dir.path().join("reports/out");
    refused(&["study", text(dir.path()), "--as-of", text(&moments), "--out", text(&out)], &["moments", "a pipe"]);
}

/// The limit holds for users, not for root.
#[cfg(target_os = "linux")]
#[test]
fn without_threads_there_is_an_error_and_no_panic() {
    let shell = "ulimit -u 1; exec \"$0\" check \"$1\"";
    let ran = Command::new("bash").args(["-c", shell, env!("CARGO_BIN_EXE_heelwort"), super::AGAVE]).output().unwrap();
    let message = String::from_utf8_lossy(&ran.stderr).into_owned();
    assert!(matches!(ran.status.code(), Some(0 | 2)) && !message.contains("panicked"), "{message}");
    assert!(ran.status.success() || message.contains("threads"), "{message}");
}

#[test]
fn a_parquet_file_that_is_written_while_it_is_read_ends_no_program() {
    let season = heelwort::season::Season::load(simulated().join("season")).unwrap();
    let dir = tempfile::tempdir().unwrap();
    season.write_as(dir.path(), heelwort::season::FileFormat::Parquet).unwrap();
    let path = dir.path().join("readings.parquet");
    let whole = std::fs::read(&path).unwrap();
    for round in 0..20 {
        let mut run = Command::new(env!("CARGO_BIN_EXE_heelwort"));
        let run = run.args(["check", text(dir.path())]).stdout(std::process::Stdio::null());
        let mut run = run.stderr(std::process::Stdio::null()).spawn().unwrap();
        while run.try_wait().unwrap().is_none() {
            std::fs::write(&path, &whole[..whole.len() / 3]).unwrap();
            std::fs::write(&path, &whole).unwrap();
        }
        assert!(matches!(run.wait().unwrap().code(), Some(0 | 2)), "round {round}: {run:?}");
    }
}

#[test]
fn acts_within_an_hour_and_many_baths_of_one_probe_are_studied() {
    let season = tempfile::tempdir().unwrap();
    for name in ["batches.csv", "references.csv", "probes.csv", "events.csv", "readings.csv.gz"] {
        std::fs::copy(simulated().join("season").join(name), season.path().join(name)).unwrap();
    }
    let read = |name: &str| std::fs::read_to_string(season.path().join(name)).unwrap();
    let second =
        |name: &str, place: usize| read(name).lines().nth(1).unwrap().split(',').nth(place).unwrap().to_owned();
    let (batch, probe) = (second("batches.csv", 0), second("probes.csv", 0));
    let acts: String = [("01", "dry_hop"), ("13", "dry_hop"), ("20", "cleaned")]
        .map(|(minute, kind)| format!("2031-02-08T17:{minute}:30Z,{kind},,{batch},,\n"))
        .concat();
    std::fs::write(season.path().join("events.csv"), read("events.csv") + &acts).unwrap();
    let bath = |i: usize| {
        let (sg, tilt) = (1.0 + 0.09 * i as f64 / 60.0, 25.0 + 35.0 * i as f64 / 60.0);
        format!("2031-04-{:02}T{:02}:00:00Z,{sg:.4},{probe},,,weighed,,{tilt:.2},0.1,20,\n", 1 + i / 12, 6 + i % 12)
    };
    let baths: String = (0..60).map(bath).collect();
    std::fs::write(season.path().join("references.csv"), read("references.csv") + &baths).unwrap();
    let home = tempfile::tempdir().unwrap();
    let ran = heelwort_in(home.path(), &["study", text(season.path()), "--out", "out"]);
    assert!(ran.code < 2, "{ran:?}");
}
