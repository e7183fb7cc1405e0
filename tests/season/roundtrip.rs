//! Writing a season back gives the same season.

use heelwort::season::{FileFormat, RowAccount, Season};

use proptest::prelude::*;

use super::files::{PLAIN, folder, load, plain_with};

fn without_account(mut season: Season) -> Season {
    season.account = RowAccount::default();
    season
}

#[test]
fn a_plain_season_is_the_same_after_writing() {
    let season = load(&folder(PLAIN));
    assert_eq!(season.readings.len(), 4);
    assert_eq!(season.account.rejected, []);
    for format in [FileFormat::Csv, FileFormat::Ndjson, FileFormat::Parquet] {
        let dir = tempfile::tempdir().unwrap();
        season.write_as(dir.path(), format).unwrap();
        assert_eq!(without_account(load(&dir)), without_account(season.clone()), "{format:?}");
    }
}

/// A cell of readings as some logger might write it.
fn number() -> impl Strategy<Value = String> {
    prop_oneof![
        8 => (-20.0..100.0_f64).prop_map(|v| format!("{v:.2}")),
        4 => any::<f64>().prop_map(|v| v.to_string()),
        2 => (0..90_i32).prop_map(|v| v.to_string()),
        1 => "[+-]?[0-9]{0,3}\\.?[0-9]{0,3}(e[+-]?[0-9])?",
        1 => "[ a-zA-Z0-9.,é]{0,6}",
    ]
}

fn time() -> impl Strategy<Value = String> {
    let at = 1_930_000_000_i64..1_931_000_000;
    prop_oneof![
        8 => (at.clone(), 0..1_000_000_i64).prop_map(|(s, f)| heelwort::Instant::from_micros(s * 1_000_000 + f).to_string()),
        4 => at.clone().prop_map(|s| heelwort::Instant::from_micros(s * 1_000_000).to_string().replace(['T', 'Z'], " ")),
        2 => at.prop_map(|s| s.to_string()),
        1 => "[0-9TZ: -]{0,12}",
    ]
}

fn id() -> impl Strategy<Value = String> {
    prop_oneof![6 => Just("dunlin".to_owned()), 3 => Just("knot".to_owned()), 1 => "[ a-z;'é]{0,4}"]
}

fn rows() -> impl Strategy<Value = Vec<[String; 6]>> {
    let row = (
        time(),
        id(),
        number(),
        number(),
        prop_oneof![Just(String::new()), id()],
        prop_oneof![Just(String::new()), number()],
    );
    prop::collection::vec(row.prop_map(|(a, b, c, d, e, f)| [a, b, c, d, e, f]), 0..30)
}

const COLUMNS: &str = "at,probe,tilt_deg,temp_c,batch,supply_v";

fn text(header: &str, rows: &[[String; 6]]) -> String {
    let rows: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
    format!("{header}\n{}\n", rows.join("\n"))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn a_quote_in_the_header_changes_no_row(rows in rows()) {
        let plain = load(&plain_with(&[("readings.csv", &text(COLUMNS, &rows))]));
        let quoted = load(&plain_with(&[("readings.csv", &text(&COLUMNS.replace("probe", "\"probe\""), &rows))]));
        prop_assert_eq!(plain, quoted);
    }

    #[test]
    fn a_quote_in_the_header_changes_no_row_of_a_file_without_slips(rows in prop::collection::vec((0..999_i64, 0..9_i64, -2.0..95.0_f64), 1..40)) {
        let row = |(at, probe, tilt): &(i64, i64, f64)| {
            let at = heelwort::Instant::from_micros((1_930_000_000 + at * 900) * 1_000_000);
            [at.to_string(), format!("p{probe}"), tilt.to_string(), format!("{:.1}", tilt / 3.0), String::new(), String::new()]
        };
        let rows: Vec<[String; 6]> = rows.iter().map(row).collect();
        let plain = load(&plain_with(&[("readings.csv", &text(COLUMNS, &rows))]));
        let quoted = load(&plain_with(&[("readings.csv", &text(&COLUMNS.replace("probe", "\"probe\""), &rows))]));
        prop_assert_eq!(plain, quoted);
    }

    #[test]
    fn one_slip_in_a_clean_file_costs_the_same_with_a_quote_in_the_header(
        count in 1..20_usize,
        place in 0..20_usize,
        slip in prop_oneof![
            Just("2031-03-04T12:00:00Z,ruff,-70,50,20,,more".to_owned()),
            Just("2031-03-04T12:00:00Z,ruff,-70,50,20,,".to_owned()),
            Just("2031-03-04T12:00:00Z,ruff,-70,50".to_owned()),
            Just("2031-03-04T12:00:00Z,ruff,-70,50,20,ab\0c".to_owned()),
            Just("2031-03-04T12:00:00Z, ruff ,-70, 50 ,20,".to_owned()),
            Just("2031-03-04T12:00:00Z,ruff,-70,+50.,2e1,".to_owned()),
            Just("2031-03-04T12:00:00Z,ruff,-70,nan,20,".to_owned()),
            Just("2031-03-04T12:00:00Z,ruff,-70,50,20,\r".to_owned()),
            Just(",,,,,".to_owned()),
            Just("at,probe,rssi,tilt_deg,temp_c,note".to_owned()),
            "[ -~]{0,12}",
            "[0-9,.;]{0,16}",
        ],
        ends_open in any::<bool>(),
    ) {
        let mut lines: Vec<String> = (0..count).map(|i| format!("2031-03-04T12:{i:02}:00Z,p{},-7{i},5{i}.25,20.{i},", i % 3)).collect();
        lines.insert(place.min(count), slip);
        let end = if ends_open { "" } else { "\n" };
        let file = |probe: &str| format!("at,{probe},rssi,tilt_deg,temp_c,note\n{}{end}", lines.join("\n"));
        let plain = load(&plain_with(&[("readings.csv", &file("probe"))]));
        let quoted = load(&plain_with(&[("readings.csv", &file("\"probe\""))]));
        prop_assert_eq!(plain, quoted);
    }

    #[test]
    fn a_season_with_slips_is_the_same_after_writing(
        rows in rows(),
        notes in prop::collection::vec(("[ -~éß\n\"]{0,20}", 0.94..1.21_f64, 0..9_i64), 0..12),
    ) {
        let mut references = String::from("at,sg,batch,probe,temp_c,note,sg_sd,known_at\n");
        for (note, sg, i) in &notes {
            let note = note.replace('"', "\"\"");
            let known = if i % 2 == 0 { "" } else { "2031-05-01" };
            references += &format!("2031-03-0{},{sg},T1,knot,{i}.5,\"{note}\",{},{known}\n", i + 1, i - 1);
        }
        let dir = plain_with(&[("readings.csv", &text(COLUMNS, &rows)), ("references.csv", &references)]);
        let season = without_account(load(&dir));
        for format in [FileFormat::Csv, FileFormat::Ndjson, FileFormat::Parquet] {
            let dir = tempfile::tempdir().unwrap();
            season.write_as(dir.path(), format).unwrap();
            let again = load(&dir);
            prop_assert_eq!(again.account.totals().3, 0);
            prop_assert_eq!(&without_account(again), &season, "{:?}", format);
        }
    }
}

#[test]
fn writing_beside_another_form_is_refused() {
    let dir = folder(PLAIN);
    let season = load(&dir);
    let message = season.write_as(dir.path(), FileFormat::Parquet).unwrap_err().to_string();
    assert!(message.contains("readings.parquet") && message.contains("readings.csv"), "{message}");
    season.write(dir.path()).unwrap();
    assert_eq!(without_account(load(&dir)), without_account(season.clone()));
    std::fs::write(dir.path().join("a file"), "").unwrap();
    assert!(season.write(dir.path().join("a file")).unwrap_err().to_string().contains("making the folder"));
}
