//! `season.toml`: any logger's export loads without editing, and its slips are told with their line.

use heelwort::season::{Flags, Season};

use super::files::{PLAIN, folder, load, plain_with, put, refusal};

const MAP: &str = r#"
time_zone = "Europe/Oslo"

[[files]]
match = "log-*.csv"
table = "readings"
decimal = ","
time_format = "%d.%m.%Y %H:%M"
constants = { probe = "{1}" }
columns = { at = "when", tilt_deg = "lean", temp_c = { from = "warmth", unit = "degF" } }

[[files]]
match = "lab/*.csv"
table = "references"
time_zone = "UTC"
columns = { at = "taken", sg = { from = "extract", unit = "plato" }, batch = "beer" }

[[files]]
match = "dens.csv"
table = "references"
columns = { sg = { from = "rho", unit = "g/cm3" }, tilt_deg = { from = "angle", unit = "rad" } }
constants = { method = "density_meter", temp_c = 20 }
"#;

fn mapped() -> tempfile::TempDir {
    let dir = plain_with(&[("readings.csv", ""), ("season.toml", MAP)]);
    put(dir.path(), "log-dunlin.csv", b"when;lean;warmth\n26.10.2031 01:30;52,5;68,0\n26.10.2031 02:30;52,25;68,9\n");
    put(dir.path(), "log-knot.csv", b"when;lean;warmth\n30.03.2031 02:30;25,0;50\n");
    put(dir.path(), "lab/a.csv", b"taken,extract,beer\n2031-03-05 12:00,12.0,T1\n");
    put(dir.path(), "dens.csv", b"at,rho,batch,angle\n2031-03-06 12:00,1.03,T1,0.785398163397448\n");
    dir
}

#[test]
fn names_units_forms_zones_and_constants_are_mapped() {
    let season = load(&mapped());
    let reading = season.readings.get(0).unwrap();
    assert_eq!((reading.probe, reading.tilt_deg), ("dunlin", 52.5));
    assert!((reading.temp_c - 20.0).abs() < 1e-12);
    assert_eq!(reading.at.to_string(), "2031-10-25T23:30:00Z");
    let twice = season.readings.get(1).unwrap();
    assert_eq!((twice.at.to_string().as_str(), twice.flags), ("2031-10-26T00:30:00Z", Flags::LOCAL_TIME_TWICE));
    let never = season.readings.get(2).unwrap();
    assert_eq!((never.probe, never.flags), ("knot", Flags::LOCAL_TIME_NEVER));
    assert!((never.temp_c - 10.0).abs() < 1e-12);
    // 12 P is SG 1.0484 in every table; 1.03 g/cm3 is 1.03 / 0.99820 of water's density at 20 C.
    let by_batch = |at: &str| season.references.iter().find(|r| r.at.to_string() == at).unwrap();
    assert!((by_batch("2031-03-05T12:00:00Z").sg - 1.0484).abs() < 1e-4);
    let dense = by_batch("2031-03-06T11:00:00Z");
    assert!((dense.sg - 1.03 / 0.99820).abs() < 2e-5);
    assert!((dense.tilt_deg.unwrap() - 45.0).abs() < 1e-9);
    assert_eq!((dense.method.as_deref(), dense.temp_c), (Some("density_meter"), Some(20.0)));
}

#[test]
fn the_second_of_two_equal_hours_is_known_by_the_order_of_rows() {
    let rows = |times: &[&str]| {
        let mut text = String::from("when;lean;warmth\n");
        for (i, time) in times.iter().enumerate() {
            text += &format!("26.10.2031 {time};{},25;68\n", 40 + i);
        }
        text
    };
    let times = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"];
    let utc = ["23:30", "00:00", "00:30", "01:00", "01:30", "02:00"];
    let dir = plain_with(&[("readings.csv", ""), ("season.toml", MAP)]);
    put(dir.path(), "log-dunlin.csv", rows(&times).as_bytes());
    let hours = |season: &Season| -> Vec<String> {
        season.readings.at.iter().map(|at| at.to_string()[11..16].to_owned()).collect()
    };
    let season = load(&dir);
    assert_eq!(hours(&season), utc);
    assert_eq!(season.readings.flags.iter().filter(|f| f.intersects(Flags::LOCAL_TIME_TWICE)).count(), 4);
    assert!(season.readings.flags.iter().all(|f| !f.intersects(Flags::LATE.with(Flags::CLOCK_JUMP))));
    // The same with the newest row on top.
    let newest_first: Vec<&str> = times.iter().rev().copied().collect();
    put(dir.path(), "log-dunlin.csv", rows(&newest_first).as_bytes());
    assert_eq!(hours(&load(&dir)), utc);
}

#[test]
fn slips_in_the_map_are_told_with_their_line_and_a_guess() {
    let cases = [
        ("time_zon = \"UTC\"", &["season.toml, line 1", "the key `time_zon`", "did you mean `time_zone`?"][..]),
        ("time_zone = \"Atlantis\"", &["line 1", "column `time_zone`", "`Atlantis`", "IANA"]),
        ("[[files]]\nmatch = \"*.csv\"\ntable = \"reading\"", &["line 3", "`reading`", "did you mean `readings`?"]),
        ("[[files]]\nmatch = \"*.csv\"", &["column `table`", "without it", "`references`"]),
        ("[[files]]\ntable = \"readings\"", &["column `match`", "a pattern such as"]),
        (
            "[[files]]\nmatch = \"*.csv\"\ntable = \"readings\"\ncolumns = { tilt = \"lean\" }",
            &["line 4", "the column `tilt`", "did you mean `tilt_deg`?"],
        ),
        (
            "[[files]]\nmatch = \"*.csv\"\ntable = \"readings\"\ncolumns = { temp_c = { from = \"T\", unit = \"F\" } }",
            &["line 4", "`F`", "`degF`"],
        ),
        (
            "[[files]]\nmatch = \"*.csv\"\ntable = \"readings\"\ncolumns = { at = { from = \"T\", unit = \"s\" } }",
            &["no unit: `at` has none"],
        ),
        (
            "[[files]]\nmatch = \"*.csv\"\ntable = \"readings\"\ncolumns = { temp_c = { form = \"T\" } }",
            &["the key `form`", "did you mean `from`?"],
        ),
        (
            "[[files]]\nmatch = \"*.csv\"\ntable = \"readings\"\ndecimal = \";\"",
            &["column `decimal`", "\".\" or \",\""],
        ),
        (
            "[[files]]\nmatch = \"*\"\ntable = \"readings\"\ncolumns = {probe = \"p\"}\nconstants = {probe = \"p\"}",
            &["`probe` under `columns` and under `constants`"],
        ),
        ("[[files]\n", &["season.toml, line 1", "TOML"]),
    ];
    for (text, parts) in cases {
        let message = refusal(&plain_with(&[("season.toml", text)]));
        for part in parts {
            assert!(message.contains(part), "`{part}` is not in: {message}");
        }
    }
}

#[test]
fn a_mapped_column_that_is_not_there_is_guessed() {
    let map = "[[files]]\nmatch = \"readings.csv\"\ntable = \"readings\"\ncolumns = { temp_c = \"Temp\" }\n";
    let text = "at,probe,tilt_deg,temperature\n";
    let message = refusal(&plain_with(&[("season.toml", map), ("readings.csv", text)]));
    assert!(message.contains("column `Temp` not found; did you mean to map `temperature`?"), "{message}");
    assert!(message.contains("readings.csv, line 1"), "{message}");
}

#[test]
fn several_files_share_a_pattern_beside_the_tables_own() {
    let dir = folder(PLAIN);
    let map = "[[files]]\nmatch = \"*-log.ndjson\"\ntable = \"readings\"\nconstants = { probe = \"{1}\" }\n";
    put(dir.path(), "season.toml", map.as_bytes());
    put(dir.path(), "ruff-log.ndjson", b"{\"at\":\"2031-03-04T12:00:00Z\",\"tilt_deg\":50,\"temp_c\":20}\n");
    let season = load(&dir);
    assert_eq!(season.readings.probe_ids, ["dunlin", "knot", "ruff"]);
    assert_eq!(season.readings.len(), 5);
}

#[test]
fn a_log_without_a_header_and_with_lines_before_it() {
    let map = "[[files]]\nmatch = \"raw.txt\"\ntable = \"readings\"\nskip_lines = 2\ndelimiter = \"|\"\n\
               header = [\"at\", \"probe\", \"tilt_deg\", \"temp_c\"]\n\
               [[files]]\nmatch = \"none-*.csv\"\ntable = \"readings\"\n";
    let dir = plain_with(&[("readings.csv", ""), ("season.toml", map)]);
    put(
        dir.path(),
        "raw.txt",
        b"logger 3, started\n----\n2031-03-04 12:00|dunlin|52|20\n2031-03-04 12:15|dunlin|x|20\n",
    );
    let season = load(&dir);
    assert_eq!(season.readings.tilt_deg, [52.0]);
    assert_eq!(season.account.rejected[0].line, 4);
    let remarks: Vec<String> = season.account.remarks.iter().map(|r| format!("{}: {}", r.file, r.text)).collect();
    assert_eq!(
        remarks,
        [
            "season.toml: no file matches `none-*.csv`",
            "raw.txt: times without an offset were read as UTC; if they are local, set `time_zone` in season.toml",
            "references.csv: 1 bath without a tilt: knot on 2031-03-01 (1). None is written down, and the probe did not \
             read within 20 min",
        ]
    );
}
