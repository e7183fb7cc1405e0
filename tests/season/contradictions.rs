//! Slips in the tables that hands write: one cell that cannot be read, and what the other tables or the log contradict.

use heelwort::season::{Flags, Season};

use super::files::{folder, load, plain_with, put, refusal};

/// The remarks with their places.
fn remarks(season: &Season) -> String {
    season.account.remarks.iter().map(|remark| format!("{remark}\n")).collect()
}

#[track_caller]
fn says(text: &str, parts: &[&str]) {
    for part in parts {
        assert!(text.contains(part), "`{part}` is not in: {text}");
    }
}

#[test]
fn a_bad_cell_that_a_batch_can_do_without_is_left_empty_and_named() {
    let cases = [
        (
            "original_sg",
            "12.5",
            "column `original_sg` is 12.5; an SG lies between 0.95 and 1.2 (12.5 degrees Plato are 1.0504)",
        ),
        ("original_sg", "1051", "(1048 is written 1.048)"),
        ("limit_sg", "1.51", "column `limit_sg` is 1.51"),
        ("original_sg_sd", "1", "column `original_sg_sd` is 1; a standard deviation"),
        ("mash_temp_c", "67,5", "column `mash_temp_c`: found `67,5`"),
        ("ended_at", "soon", "column `ended_at`: found `soon`"),
    ];
    for (column, value, told) in cases {
        let text =
            format!("batch;strain;pitched_at;probe;{column}\nT1;glasswort;2031-03-04T10:00:00Z;dunlin;{value}\n");
        let season = load(&plain_with(&[("batches.csv", &text)]));
        assert_eq!((season.batches.len(), season.account.rejected.len()), (1, 0), "{column} {value}");
        let batch = &season.batches[0];
        assert!(batch.original_sg.or(batch.limit_sg).or(batch.original_sg_sd).or(batch.mash_temp_c).is_none());
        let remarks = remarks(&season);
        says(&remarks, &["batches.csv line 2: ", told, "so it was left empty"]);
        assert!(!remarks.contains("raw_brix"), "{remarks}");
    }
    // What every row needs rejects the row, as does the only gravity of a reference; beside another it is left empty.
    let text = "batch,strain,pitched_at\nT1,glasswort,soon\n";
    assert_eq!(load(&plain_with(&[("batches.csv", text)])).account.rejected.len(), 1);
    let text = "at,sg,raw_sg,batch,temp_c\n2031-03-04T12:00:00Z,,12,T1,20\n2031-03-04T12:05:00Z,1.048,12,T1,20\n";
    let season = load(&plain_with(&[("references.csv", text)]));
    assert_eq!((season.references.len(), season.account.rejected.len()), (1, 1));
    says(&season.account.rejected[0].reason.to_string(), &["column `raw_sg` is 12", "goes into `raw_brix`"]);
}

#[test]
fn letters_of_another_encoding_cost_one_cell_unless_they_name_what_the_row_tells_of() {
    let dir = folder(super::files::PLAIN);
    put(dir.path(), "batches.csv", b"batch,strain,pitched_at,wort\nT1,glasswort,2031-03-04T10:00:00Z,M\xe4rzen\n");
    put(dir.path(), "references.csv", b"at,sg,batch\n2031-03-04T12:00:00Z,1.048,T\xe4\n");
    let season = load(&dir);
    assert_eq!((season.batches.len(), season.references.len()), (1, 0));
    says(&remarks(&season), &["batches.csv line 2: column `wort`: found `letters that are not valid UTF-8`"]);
    says(&season.account.rejected[0].reason.to_string(), &["column `batch`", "not valid UTF-8"]);
}

/// A log of `dunlin` every half hour over hours of March 2031, as (from, to, tilt).
fn log(spans: &[(i64, i64, f64)]) -> String {
    let start = heelwort::Instant::parse("2031-03-01T00:00:00Z").unwrap();
    let rows = spans.iter().flat_map(|(from, to, tilt)| (2 * from..2 * to).map(move |half| (half as f64 / 2.0, *tilt)));
    let row =
        |(hour, tilt): (f64, f64)| format!("{},dunlin,{},20.5\n", start.plus_hours(hour), tilt + 0.01 * (hour % 3.0));
    format!("at,probe,tilt_deg,temp_c\n{}", rows.map(row).collect::<String>())
}

/// How many readings are outside their batch, which has no end, with a bath of dunlin at an hour of March 2031.
fn outside(spans: &[(i64, i64, f64)], bath: &str) -> usize {
    let season = load(&plain_with(&[
        ("batches.csv", "batch,strain,pitched_at,probe\nT1,glasswort,2031-03-01T00:00:00Z,dunlin\n"),
        ("references.csv", &format!("at,sg,probe,batch\n2031-03-{bath}:00Z,1.0,dunlin,\n")),
        ("readings.csv", &log(spans)),
    ]));
    season.readings.flags.iter().filter(|flags| flags.intersects(Flags::OUTSIDE_BATCH)).count()
}

#[test]
fn readings_in_a_bath_after_the_beer_are_outside_the_batch_without_an_end() {
    // A week after the beer, with two hours on either side; before the beer as well.
    assert_eq!(outside(&[(0, 72, 30.0), (240, 244, 25.0)], "11T02:00"), 8);
    assert_eq!(outside(&[(0, 4, 25.0), (96, 200, 50.0)], "01T02:00"), 8);
    // In one log with the beer, at a tilt of its own and at that of the beer, as a wrong date would have it.
    assert_eq!(outside(&[(0, 72, 40.0), (72, 73, 25.0), (73, 90, 39.0)], "04T00:30"), 1);
    assert_eq!(outside(&[(0, 90, 40.0)], "04T00:30"), 0);
    // A stay after a gap that is longer than a session of baths is beer.
    assert_eq!(outside(&[(0, 72, 30.0), (240, 300, 30.0)], "11T02:00"), 0);
}

#[test]
fn a_sample_dated_before_its_pitching_is_left_out_and_named() {
    let with = |pitched_at: &str| {
        let text = format!("batch,strain,pitched_at,probe\nT1,glasswort,{pitched_at},dunlin\n");
        let samples = "at,sg,batch\n2031-02-05T10:00:00Z,1.02,T1\n2031-03-03T12:00:00Z,1.05,T1\n";
        load(&plain_with(&[("batches.csv", &text), ("references.csv", samples)]))
    };
    let season = with("2031-03-04T10:00:00Z");
    let out: Vec<bool> = season.references.iter().map(|r| r.flags.intersects(Flags::OUTSIDE_BATCH)).collect();
    assert_eq!(out, [true, false], "wort may be sampled a day before");
    assert!(!remarks(&season).contains("`pitched_at`"), "{}", remarks(&season));
    // The pitching may be written down a day late; no curve uses such a sample.
    let late = with("2031-03-05T00:00:00Z");
    assert_eq!(late.references.iter().filter(|r| r.flags.is_empty()).count(), 1);
    says(
        &remarks(&late),
        &[
            "batches.csv line 2: column `pitched_at`: 2031-03-05T00:00:00Z is over a day after the sample of 2031-03-03T12:00",
        ],
    );
    let file = season.account.files.iter().find(|file| file.table == "references").unwrap();
    assert_eq!((file.kept, file.flagged), (1, 1));
    says(&remarks(&season), &["T1 of 2031-02-05 (SG 1.0200)", "before the pitching"]);
}

#[test]
fn a_probe_of_a_batch_is_taken_for_the_one_that_differs_in_capitals_alone() {
    let batches = |id: &str| format!("batch,strain,pitched_at,probe\nT1,glasswort,2031-03-04T10:00:00Z,{id}\n");
    let season = load(&plain_with(&[("batches.csv", &batches("Dun lin"))]));
    assert_eq!(season.batches[0].probes, ["dunlin"]);
    assert_eq!(season.readings.get(0).unwrap().batch, Some("T1"));
    says(&remarks(&season), &["batches.csv line 2: column `probe`: `Dun lin`", "taken for `dunlin`"]);
    // Another letter is a guess, and one that the log has is a probe that the table lacks.
    let season = load(&plain_with(&[("batches.csv", &batches("dunlim"))]));
    assert_eq!(season.readings.get(0).unwrap().batch, None);
    says(
        &remarks(&season),
        &[
            "batches.csv line 2: column `probe`: `dunlim`",
            "did you mean `dunlin`?",
            "3 readings of dunlin in its time have no batch",
        ],
    );
    let readings = "at,probe,tilt_deg,temp_c\n2031-03-04T12:00:00Z,Dunlin,52.1,19.8\n";
    let season = load(&plain_with(&[("batches.csv", &batches("Dunlin")), ("readings.csv", readings)]));
    assert_eq!(season.readings.get(0).unwrap().batch, Some("T1"));
    let season = load(&plain_with(&[("batches.csv", &batches("\"dunlin, knot\""))]));
    says(&remarks(&season), &["split several by `;`"]);
}

/// The remarks on the plain season with these batches, a log of dunlin of 1 to 9 March and what else is changed.
fn told(batches: &str, changes: &[(&str, &str)]) -> String {
    let batches = format!("batch,strain,pitched_at,ended_at,probe\n{batches}");
    let log = log(&[(0, 200, 40.0)]);
    let mut files = vec![("batches.csv", batches.as_str()), ("readings.csv", log.as_str()), ("plan.csv", "")];
    files.push(("references.csv", "at,sg,batch\n2031-03-02T10:00:00Z,1.048,T1\n"));
    files.extend(changes);
    remarks(&load(&plain_with(&files)))
}

#[test]
fn batches_that_have_one_probe_at_a_time_are_named_with_both_lines() {
    let first = "T1,glasswort,2031-03-01T00:00:00Z,2031-03-05T00:00:00Z,dunlin\n";
    let told_of = |pitched_at: &str| told(&format!("{first}T2,glasswort,{pitched_at},,dunlin\n"), &[]);
    says(
        &told_of("2031-03-03T00:00:00Z"),
        &[
            "batches.csv line 3: dunlin stands in T1 until 2031-03-05T00:00:00Z (line 2) and in T2 from 2031-03-03T00:00:00Z on",
        ],
    );
    assert!(!told_of("2031-03-04T12:00:00Z").contains("stands in"), "a date without a time");
    assert!(!told_of("2031-03-05T12:00:00Z").contains("stands in"));
}

#[test]
fn a_pitching_long_before_all_data_of_its_batch_is_named() {
    let of = |pitched_at: &str| told(&format!("T1,glasswort,{pitched_at},,dunlin\n"), &[]);
    says(
        &of("2030-03-01T00:00:00Z"),
        &["batches.csv line 2: column `pitched_at`", "2031-03-01T00:00:00Z", "first sample is of 2031-03-02T10:00:00Z"],
    );
    assert!(!of("2031-02-25T00:00:00Z").contains("pitched_at"));
}

#[test]
fn a_label_that_contradicts_the_table_of_batches_is_counted() {
    let labelled = log(&[(0, 5, 40.0)]).replace(",20.5", ",20.5,T1").replace("temp_c\n", "temp_c,batch\n");
    let of =
        |probe: &str| told(&format!("T1,glasswort,2031-03-01T00:00:00Z,,{probe}\n"), &[("readings.csv", &labelled)]);
    says(&of("knot"), &["batches.csv line 2: the log has 10 readings of dunlin in T1, whose `probe` here is knot"]);
    for probe in ["dunlin", "knot;dunlin", ""] {
        assert!(!of(probe).contains("the log has"), "{}", of(probe));
    }
}

#[test]
fn readings_without_a_batch_are_named_beside_a_batch_without_readings() {
    let of = |probe: &str| told(&format!("T1,glasswort,2031-03-02T00:00:00Z,2031-03-05T00:00:00Z,{probe}\n"), &[]);
    says(
        &of("knot"),
        &["batches.csv line 2: T1 has hardly a reading of its `probe`, knot, while 145 of dunlin from 2031-03-02"],
    );
    assert!(!of("dunlin").contains("hardly"), "{}", of("dunlin"));
    assert!(!of("").contains("hardly"), "sampled by hand");
}

#[test]
fn degrees_fahrenheit_are_asked_for() {
    let dir = plain_with(&[("readings.csv", "at,probe,tilt_deg,temp_f\n")]);
    says(&refusal(&dir), &["temp_c = { from = \"temp_f\", unit = \"degF\" }"]);
    let of = |temps: [&str; 2]| {
        let rows = temps.map(|temp| format!("2031-03-01T09:{}:00Z,1.0,knot,{temp}\n", 10 + temp.len()));
        remarks(&load(&plain_with(&[("references.csv", &format!("at,sg,probe,temp_c\n{}", rows.concat()))])))
    };
    says(
        &of(["71", "70.5"]),
        &["references.csv line 2: column `temp_c`: 71 in line 2 and 70.5 in line 3", "Fahrenheit?", "degF"],
    );
    let slip = of(["21.7", "417"]);
    says(&slip, &["references.csv line 3: column `temp_c`: 417 in line 3; wanted -3 to 40"]);
    assert!(!slip.contains("Fahrenheit") && !of(["21.7", "40"]).contains("wanted -3"), "{slip}");
}
