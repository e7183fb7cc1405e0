//! Every bad input gets a message that says where, what was found and what would be right; nothing panics.

use heelwort::season::Season;

use super::files::{PLAIN, folder, load, plain_with, put, refusal};

const HEADER: &str = "at,probe,tilt_deg,temp_c\n";

/// Loads the plain season with these readings; gives the reasons of its rejected rows.
fn rejected(readings: &str) -> Vec<String> {
    let season = load(&plain_with(&[("readings.csv", readings)]));
    season.account.rejected.iter().map(|r| format!("{} line {}: {}", r.file, r.line, r.reason)).collect()
}

#[track_caller]
fn says(message: &str, parts: &[&str]) {
    for part in parts {
        assert!(message.contains(part), "`{part}` is not in: {message}");
    }
}

#[test]
fn an_empty_folder_and_a_missing_one() {
    let dir = tempfile::tempdir().unwrap();
    says(&refusal(&dir), &["no file that could be a table", "readings.csv", "season.toml"]);
    let gone = Season::load(dir.path().join("gone")).unwrap_err().to_string();
    says(&gone, &["opening", "gone"]);
    put(dir.path(), "reading.csv", b"at\n");
    says(&refusal(&dir), &["only `reading.csv`", "is `reading` the table readings?"]);
}

#[test]
fn a_missing_table_is_named_with_what_would_do() {
    for (table, column) in
        [("readings", "tilt_deg"), ("references", "at"), ("batches", "pitched_at"), ("probes", "probe")]
    {
        let dir = plain_with(&[(&format!("{table}.csv"), "")]);
        says(&refusal(&dir), &[&format!("no table {table}"), &format!("{table}.csv"), column, "a header alone"]);
    }
}

#[test]
fn hand_samples_alone_are_a_season() {
    let dir = plain_with(&[("readings.csv", ""), ("probes.csv", "")]);
    let season = load(&dir);
    assert_eq!((season.readings.len(), season.probes.len(), season.references.len()), (0, 0, 3));
    assert_eq!(season.account.totals().2, 0, "nothing is unknown where there is no table of probes");
}

#[test]
fn files_that_are_no_text_are_refused() {
    let cases: [(&[u8], &str); 5] = [
        (b"\x7fELF\x02\x01\x01\0\0\0\0\0", "bytes that are no text"),
        (b"PAR1\x15\x04", "Parquet under another name"),
        (b"PK\x03\x04\x14\0", "a zip archive or a spreadsheet"),
        (b"\xff\xfea\0t\0", "UTF-16"),
        (b"\x1f\x8b\x08\0", "gzip under a name without .gz"),
    ];
    for (bytes, found) in cases {
        let dir = folder(PLAIN);
        put(dir.path(), "readings.csv", bytes);
        says(&refusal(&dir), &["readings.csv", found, "UTF-8"]);
    }
    let dir = plain_with(&[("readings.csv", "")]);
    put(dir.path(), "readings.csv.gz", b"\x1f\x8b\x08\0broken");
    says(&refusal(&dir), &["readings.csv.gz", "cannot be unpacked"]);
    let dir = plain_with(&[("readings.csv", "")]);
    put(dir.path(), "readings.parquet", b"PAR1 and then nothing of the kind PAR1");
    says(&refusal(&dir), &["readings.parquet", "a whole Parquet file"]);
    let dir = folder(PLAIN);
    put(dir.path(), "readings.csv", b"");
    says(&refusal(&dir), &["readings.csv", "an empty file", "a header"]);
}

#[test]
fn a_header_alone_is_a_table_without_rows() {
    let season = load(&plain_with(&[("readings.csv", HEADER)]));
    assert!(season.readings.is_empty());
    assert_eq!(season.account.files.iter().find(|f| f.table == "readings").unwrap().read, 0);
}

#[test]
fn a_missing_column_is_guessed() {
    let dir = plain_with(&[("readings.csv", "at,probe,tilt_deg,Temp\n")]);
    says(
        &refusal(&dir),
        &["readings.csv, line 1", "no column `temp_c`", "`Temp`", "did you mean to map `Temp`?", "temp_c = \"Temp\""],
    );
    let dir = plain_with(&[("references.csv", "at,gravity,batch\n")]);
    says(&refusal(&dir), &["references.csv", "no column `sg`"]);
    let dir = plain_with(&[("readings.csv", "at,probe,tilt_deg,temp_c,at\n")]);
    says(&refusal(&dir), &["column `at`", "twice, in fields 1 and 5"]);
}

#[test]
fn text_where_numbers_belong_rejects_each_row() {
    let rows = "2031-03-04T12:00:00Z,dunlin,high,19.8\n2031-03-04T12:15:00Z,dunlin,52.0,warm\n\
                yesterday,dunlin,52,20\n2031-03-04T12:30:00Z,dunlin,52.0,19.9\n";
    assert_eq!(
        rejected(&format!("{HEADER}{rows}")),
        [
            "readings.csv line 2: column `tilt_deg`: found `high`; wanted a number",
            "readings.csv line 3: column `temp_c`: found `warm`; wanted a number",
            "readings.csv line 4: column `at`: found `yesterday`; wanted a time such as 2031-03-04T05:06:07Z or \
             2031-03-04 05:06; any other form needs `time_format` in season.toml",
        ]
    );
}

#[test]
fn nan_and_infinity_are_no_numbers() {
    let rows = "2031-03-04T12:00:00Z,dunlin,NaN,19.8\n2031-03-04T12:15:00Z,dunlin,52.0,inf\n\
                2031-03-04T12:30:00Z,dunlin,-inf,19.9\n2031-03-04T12:45:00Z,dunlin,1e999,19.9\n";
    let reasons = rejected(&format!("{HEADER}{rows}"));
    assert_eq!(reasons.len(), 4);
    assert_eq!(reasons[0], "readings.csv line 2: column `tilt_deg`: found `NaN`; wanted a finite number");
    assert!(reasons.iter().all(|r| r.ends_with("wanted a finite number")), "{reasons:?}");
}

#[test]
fn empty_required_cells_and_ragged_rows() {
    let rows = "2031-03-04T12:00:00Z,,52.0,19.8\n2031-03-04T12:15:00Z,dunlin,52.0\n,,,\n\
                2031-03-04T12:30:00Z,dunlin,52.0,19.9,,\n2031-03-04T12:45:00Z,dunlin,52.0,19.9,more\n";
    assert_eq!(
        rejected(&format!("{HEADER}{rows}")),
        [
            "readings.csv line 2: column `probe` is empty; every row needs it",
            "readings.csv line 3: the line has 3 fields; the header has 4",
            "readings.csv line 4: column `at` is empty; every row needs it",
            "readings.csv line 6: the line has 5 fields; the header has 4",
        ]
    );
}

#[test]
fn mixed_delimiters() {
    let reasons = rejected(&format!("{HEADER}2031-03-04T12:00:00Z;dunlin;52.0;19.8\n"));
    assert_eq!(
        reasons,
        [
            "readings.csv line 2: the line has 1 fields; the header has 4; the header is split by `,`, this line perhaps \
          by `;`"
        ]
    );
    let reasons = rejected("at;probe;tilt_deg;temp_c\n2031-03-04T12:00:00Z;dunlin;52,0;19.8\n");
    assert_eq!(
        reasons,
        ["readings.csv line 2: column `tilt_deg`: found `52,0`; wanted a number with a decimal point; for decimal \
          commas set `decimal = \",\"` in season.toml"]
    );
}

#[test]
fn a_million_characters_in_a_line_cost_one_row() {
    let long = "x".repeat(1_000_000);
    let text =
        format!("{HEADER}{long}\n2031-03-04T12:00:00Z,{long},52.0,19.8\n2031-03-04T12:15:00Z,dunlin,52.0,19.9\n");
    let dir = plain_with(&[("readings.csv", &text)]);
    let season = load(&dir);
    assert_eq!(season.readings.len(), 1);
    assert!(season.account.rejected.iter().all(|r| r.text.chars().count() <= 203), "the text is cut");
    assert!(season.account.rejected[0].reason.to_string().contains("1000000 characters"));
    let dir = plain_with(&[("readings.csv", &long)]);
    says(&refusal(&dir), &["readings.csv, line 1", "1000000 characters"]);
}

#[test]
fn invalid_utf8_and_nuls_cost_their_own_rows() {
    let dir = folder(PLAIN);
    let mut bytes = HEADER.as_bytes().to_vec();
    bytes.extend(b"2031-03-04T12:00:00Z,dunl\xffn,52.0,19.8\n2031-03-04T12:15:00Z,dunlin,52.0,19.9\n");
    put(dir.path(), "readings.csv", &bytes);
    let season = load(&dir);
    assert_eq!(season.readings.len(), 1);
    let reason = season.account.rejected[0].reason.to_string();
    assert_eq!(reason, "column `probe`: found `letters that are not valid UTF-8`; wanted a plain value");
    assert_eq!(season.account.rejected[0].line, 2);
    let mut bytes = HEADER.as_bytes().to_vec();
    for minute in 10..59 {
        bytes.extend(format!("2031-03-04T12:{minute}:00Z,dunlin,52.{minute},19.8\n").bytes());
    }
    bytes.extend(b"2031-03-04T13:00:00Z,dun\0\0\0\0\0\0\0\0\n2031-03-04T13:15:00Z,dunlin,52.0\0,19.9\n");
    put(dir.path(), "readings.csv", &bytes);
    let season = load(&dir);
    assert_eq!((season.readings.len(), season.account.rejected.len()), (49, 2));
    assert_eq!(season.account.rejected[1].reason.to_string(), "the line holds NUL bytes, as a broken file does");
}

#[test]
fn a_quote_that_stays_open_costs_one_row() {
    let text = "at,probe,tilt_deg,temp_c,batch\n2031-03-04T12:00:00Z,\"dunlin,52.0,19.8,\n\
                2031-03-04T12:15:00Z,dunlin,52.0,19.9,\"T\"\"1\"\n2031-03-04T12:30:00Z,dunlin,52.1,19.9,T1\n";
    let season = load(&plain_with(&[("readings.csv", text)]));
    assert_eq!(season.readings.len(), 2);
    assert_eq!(season.account.rejected[0].reason.to_string(), "a quote opens and is not closed");
    assert_eq!(season.readings.batch_ids, ["T\"1", "T1"]);
}

#[test]
fn doubled_ids_are_an_error_that_names_both() {
    let dir = plain_with(&[("probes.csv", "probe\ndunlin\nknot\ndunlin\n")]);
    says(&refusal(&dir), &["probes.csv, line 4, column `probe`", "`dunlin` again, after probes.csv line 2"]);
    let dir = plain_with(&[(
        "batches.csv",
        "batch,strain,pitched_at\nT1,glasswort,2031-03-04T10:00:00Z\nT1,sea aster,2031-03-05T10:00:00Z\n",
    )]);
    says(&refusal(&dir), &["batches.csv, line 3, column `batch`", "`T1` again, after batches.csv line 2"]);
}

#[test]
fn a_batch_that_ends_before_it_starts_is_rejected() {
    let text = "batch,strain,pitched_at,ended_at\nT1,glasswort,2031-03-04T10:00:00Z,2031-03-03T10:00:00Z\n\
                T2,glasswort,2031-03-04T10:00:00Z,2031-03-04T10:00:00Z\n";
    let season = load(&plain_with(&[("batches.csv", text)]));
    assert_eq!(season.batches.len(), 1);
    assert_eq!(
        season.account.rejected[0].reason.to_string(),
        "column `ended_at`: found `2031-03-03T10:00:00Z`; wanted a time not before `pitched_at`"
    );
}

#[test]
fn a_gravity_that_cannot_be_read_is_not_called_empty() {
    let season = load(&plain_with(&[("references.csv", "at;sg;batch\n2031-03-05T10:00:00Z;1,03;T1\n")]));
    let reason = season.account.rejected[0].reason.to_string();
    says(&reason, &["column `sg`: found `1,03`; wanted a number with a decimal point", "decimal = \",\""]);
}

#[test]
fn an_impossible_gravity_is_rejected() {
    let text = "at,sg,batch,raw_sg,temp_c\n2031-03-04T12:00:00Z,1.3,T1,,\n2031-03-04T13:00:00Z,48,T1,,\n\
                2031-03-04T14:00:00Z,0.95,T1,,\n2031-03-04T15:00:00Z,,T1,,\n2031-03-04T16:00:00Z,,T1,1.04,\n";
    let season = load(&plain_with(&[("references.csv", text)]));
    let reasons: Vec<String> = season.account.rejected.iter().map(|r| r.reason.to_string()).collect();
    assert_eq!(
        reasons,
        [
            "column `sg` is 1.3; an SG lies between 0.95 and 1.2",
            "column `sg` is 48; an SG lies between 0.95 and 1.2",
            "columns `sg`, `raw_sg` and `raw_brix` are empty; every row needs one of them",
            "`raw_sg` needs `temp_c`, the temperature of the sample, to be corrected",
        ]
    );
    assert_eq!(season.references.len(), 1);
}

#[test]
fn readings_of_an_unknown_probe_or_batch_are_kept_and_flagged() {
    let text = "at,probe,tilt_deg,temp_c,batch\n2031-03-04T12:00:00Z,ruff,52.0,19.8,T9\n\
                2031-03-04T12:00:00Z,dunlin,52.0,19.8,\n";
    let season = load(&plain_with(&[("readings.csv", text)]));
    let flags: Vec<String> = season.readings.flags.iter().map(ToString::to_string).collect();
    assert_eq!(flags, ["", "unknown_probe;unknown_batch"]);
    let account = season.account.files.iter().find(|f| f.table == "readings").unwrap();
    assert_eq!((account.read, account.kept, account.flagged, account.rejected), (2, 1, 1, 0));
}

#[test]
fn an_optional_value_that_cannot_be_read_is_left_empty_and_flagged() {
    let text = "at,sg,batch,temp_c,sg_sd,use,known_at\n2031-03-04T12:00:00Z,1.04,T1,warm,-1,maybe,soon\n";
    let season = load(&plain_with(&[("references.csv", text)]));
    let reference = &season.references[0];
    assert_eq!((reference.temp_c, reference.sg_sd, reference.use_as, reference.known_at), (None, None, None, None));
    assert_eq!(reference.flags.to_string(), "value_unreadable");
    let remarks: Vec<&str> = season.account.remarks.iter().map(|r| r.text.as_str()).collect();
    assert_eq!(remarks.len(), 4, "{remarks:?}");
    assert!(remarks.contains(&"column `temp_c`: found `warm`; wanted a number, so it was left empty"), "{remarks:?}");
}

#[test]
fn json_lines_that_are_no_objects() {
    let dir = plain_with(&[("readings.csv", "")]);
    let text = "{\"at\":\"2031-03-04T12:00:00Z\",\"probe\":7,\"tilt_deg\":52.0,\"temp_c\":19.8,\"extra\":[1]}\n[1,2]\n\
                not json\n{\"at\":1930392000,\"probe\":\"dunlin\",\"tilt_deg\":true,\"temp_c\":19.8}\n\n\
                {\"temp_c\":19.9,\"tilt_deg\":\"51.5\",\"probe\":\"dunlin\",\"at\":1930392900}\n\
                {\"temp_c\":19.9,\"tilt_deg\":51.5,\"probe\":9007199254740993,\"at\":1930393800}\n\
                {\"temp_c\":19.9,\"tilt_deg\":51.5,\"probe\":1e-320,\"at\":1930394700}\n";
    put(dir.path(), "readings.ndjson", text.as_bytes());
    let season = load(&dir);
    let reasons: Vec<String> = season.account.rejected.iter().map(|r| format!("{} {}", r.line, r.reason)).collect();
    assert_eq!(reasons.len(), 5, "{reasons:?}");
    assert!(reasons[0].contains("no JSON object") && reasons[0].contains("{ ... }"), "{reasons:?}");
    assert!(reasons[1].starts_with("3 the line is no JSON object"), "{reasons:?}");
    assert_eq!(reasons[2], "4 column `tilt_deg`: found `true or false`; wanted a plain value");
    // A name that eight bytes would change is refused.
    let long = "column `probe`: found `9007199254740992`; wanted at most 15 digits, or the name as text";
    assert_eq!(reasons[3], format!("7 {long}"));
    assert!(reasons[4].starts_with("8 column `probe`: found `0.000"), "{reasons:?}");
    assert_eq!(season.readings.probe_ids, ["7", "dunlin"]);
    assert_eq!(season.readings.at[1].to_string(), "2031-03-04T12:15:00Z");
    assert_eq!(season.account.unknown_columns, [("readings.ndjson".to_owned(), "extra".to_owned())]);
}

#[test]
fn temperatures_in_the_other_unit_are_noticed_and_not_converted() {
    let rows = |temp_c: [f64; 3]| -> String {
        let row = |(minute, temp): (usize, f64)| format!("2031-03-04T12:{minute:02}:00Z,dunlin,52.{minute},{temp}\n");
        format!("{HEADER}{}", temp_c.into_iter().enumerate().map(row).collect::<String>())
    };
    let remarks = |temp_c| load(&plain_with(&[("readings.csv", &rows(temp_c))])).account.remarks;
    let warm = remarks([66.2, 66.5, 19.0]);
    let told = warm.iter().find(|remark| remark.text.contains("degF")).unwrap();
    says(&told.text, &["66 % of the temperatures lie above 45", "degrees Fahrenheit", "season.toml"]);
    assert_eq!(told.file, "readings.csv");
    assert!(!remarks([66.2, 19.5, 19.0]).iter().any(|remark| remark.text.contains("degF")));
    assert!(!remarks([400.0, 500.0, 19.0]).iter().any(|remark| remark.text.contains("degF")));
    let kept = load(&plain_with(&[("readings.csv", &rows([66.2, 66.5, 19.0]))]));
    assert_eq!(kept.readings.temp_c[0], 66.2);
}
