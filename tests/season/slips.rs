//! Slips that are easily made and far-reaching: decimal commas between commas, years, standard deviations, pipes.

use heelwort::season::Flags;

use super::files::{folder, load, plain_with, put, refusal};

fn rejected(season: &heelwort::season::Season) -> Vec<String> {
    let rows = season.account.rejected.iter();
    rows.map(|row| format!("{} line {}: {}", row.file, row.line, row.reason)).collect()
}

#[test]
fn decimal_commas_in_a_file_split_by_commas_are_rejected_with_a_hint() {
    let text = "at,probe,tilt_deg,temp_c,batch,supply_v\n2031-03-04T12:00:00Z,dunlin,52,1,19,8,,\n\
                2031-03-04T12:15:00Z,dunlin,52,04,20,,\n2031-03-04T12:30:00Z,dunlin,52,20,,4,\n\
                2031-03-04T12:45:00Z,dunlin,52.0,20,,,,\n2031-03-04T13:00:00Z,dunlin,52,1,19,8,T1,3,9\n";
    let season = load(&plain_with(&[("readings.csv", text)]));
    let reasons = rejected(&season);
    assert_eq!(reasons.len(), 3, "{reasons:?}");
    for (reason, line) in reasons.iter().zip([2, 3, 6]) {
        assert!(reason.starts_with(&format!("readings.csv line {line}: ")), "{reason}");
        assert!(reason.contains("decimal commas") && reason.contains("decimal = \",\""), "{reason}");
    }
    assert_eq!(season.readings.tilt_deg, [52.0, 52.0]);
    let text = "at,sg,batch,temp_c,note\n2031-03-04T12:00:00Z,1,0481,T1,20,\n";
    let season = load(&plain_with(&[("references.csv", text)]));
    assert!(rejected(&season)[0].contains("decimal commas"), "{:?}", rejected(&season));
}

#[test]
fn standard_deviations_that_nobody_means_are_left_empty_and_flagged() {
    for sd in ["1e300", "1e155", "1e-9", "0", "-0.001"] {
        let text = format!("at,sg,batch,sg_sd,tilt_sd_deg\n2031-03-04T12:00:00Z,1.04,T1,{sd},{sd}\n");
        let batches =
            format!("batch,strain,pitched_at,original_sg,original_sg_sd\nT1,glasswort,2031-03-04,1.048,{sd}\n");
        let season = load(&plain_with(&[("references.csv", &text), ("batches.csv", &batches)]));
        let reference = &season.references[0];
        assert_eq!((reference.sg_sd, reference.tilt_sd_deg, season.batches[0].original_sg_sd), (None, None, None));
        assert_eq!(reference.flags.to_string(), "value_unreadable", "{sd}");
        let remarks: Vec<&str> = season.account.remarks.iter().map(|remark| remark.text.as_str()).collect();
        assert!(remarks.iter().any(|text| text.contains("`sg_sd`") && text.contains("0.00001 and 0.2")), "{remarks:?}");
        assert!(remarks.iter().any(|text| text.contains("`original_sg_sd`")), "{remarks:?}");
    }
}

#[test]
fn times_of_another_century_are_set_aside() {
    let season = load(&plain_with(&[
        (
            "references.csv",
            "at,sg,batch,known_at\n2131-03-04T12:00:00Z,1.04,T1,\n2031-03-04T12:00:00Z,1.04,T1,9999-01-01\n",
        ),
        (
            "batches.csv",
            "batch,strain,pitched_at,ended_at\nT1,glasswort,2031-03-04,9999-12-30\nT2,glasswort,1970-01-01,\n",
        ),
        ("plan.csv", "batch,at,temp_c\nT1,9999-03-10T00:00:00Z,4\n"),
        ("events.csv", "at,kind\n9999-03-02T08:00:00Z,other\n"),
        ("probes.csv", "probe,built_on\ndunlin,1031-01-01\nknot,2031-01-01\n"),
    ]));
    let reasons = rejected(&season);
    assert_eq!(reasons.len(), 4, "{reasons:?}");
    assert!(reasons.iter().all(|reason| reason.contains("more than 20 years")), "{reasons:?}");
    assert_eq!((season.references[0].known_at, season.batches[0].ended_at), (None, None));
    assert_eq!((season.probes[0].built_on, season.probes[1].built_on.is_some()), (None, true));
    assert!(season.latest().unwrap().to_string().starts_with("2031"));
    assert_eq!(season.account.totals().2, 3, "{}", season.account);
}

/// The plain season with T1 ended (or not) and samples of it at these moments of 2031: which of them are left out, and the latest instant.
fn left_out(ended_at: &str, samples: &[&str], has_log: bool) -> (Vec<bool>, String, String) {
    let batches =
        format!("batch,strain,pitched_at,ended_at,probe\nT1,glasswort,2031-03-04T10:00:00Z,{ended_at},dunlin\n");
    let rows: String = samples.iter().map(|at| format!("2031-{at}:00Z,1.02,T1\n")).collect();
    let mut files = vec![("batches.csv", batches.as_str()), ("events.csv", ""), ("plan.csv", "")];
    let references = format!("at,sg,batch\n{rows}");
    files.push(("references.csv", &references));
    if !has_log {
        files.extend([("readings.csv", ""), ("probes.csv", "")]);
    }
    let season = load(&plain_with(&files));
    let left_out = season.references.iter().map(|r| r.flags.intersects(Flags::OUTSIDE_BATCH)).collect();
    assert_eq!(season.samples_of("T1").count(), season.references.iter().filter(|r| r.flags.is_empty()).count());
    let remarks = season.account.remarks.iter().map(|remark| remark.text.clone()).collect::<Vec<_>>().join("\n");
    (left_out, season.latest().unwrap().to_string(), remarks)
}

#[test]
fn a_sample_dated_after_its_batch_is_named_and_sets_no_latest_instant() {
    let (out, latest, remarks) = left_out("2031-03-05T20:00:00Z", &["03-05T12:00", "03-06T09:00", "10-01T09:00"], true);
    assert_eq!(out, [false, false, true]);
    assert!(latest.starts_with("2031-03-06T09:00"), "{latest}");
    assert!(remarks.contains("T1 of 2031-10-01 (SG 1.0200)"), "{remarks}");
    // Without a log an end is an end as well.
    assert_eq!(left_out("2031-03-05T20:00:00Z", &["03-05T12:00", "10-01T09:00"], false).0, [false, true]);
    // Of a batch without an end: months after all else it is a slip.
    let (out, latest, _) = left_out("", &["03-05T12:00", "10-01T09:00", "10-02T09:00"], true);
    assert_eq!((out, &latest[..10]), (vec![false, true, true], "2031-03-05"));
}

#[test]
fn a_bath_dated_long_after_the_log_is_named_and_sets_no_latest_instant() {
    let with = |baths: &str| {
        let references = format!("at,sg,batch,probe,tilt_deg\n2031-03-05T12:00:00Z,1.02,T1,,\n{baths}");
        let season = load(&plain_with(&[("references.csv", &references)]));
        let out = season.references.iter().filter(|r| r.flags.intersects(Flags::OUTSIDE_BATCH)).count();
        let remarks = season.account.remarks.iter().map(|remark| remark.text.clone()).collect::<Vec<_>>().join("\n");
        (out, season.latest().unwrap().to_string(), remarks)
    };
    let (out, latest, remarks) = with("2031-12-03T10:00:00Z,1.05,,dunlin,\n");
    assert_eq!((out, &latest[..7]), (1, "2031-03"));
    assert!(remarks.contains("dunlin of 2031-12-03 (SG 1.0500)") && !remarks.contains("without a tilt"), "{remarks}");
    // A tilt beside it shows that the probe was there; within six weeks the log may still be in the logger.
    let (out, latest, _) = with("2031-12-03T10:00:00Z,1.05,,dunlin,40\n");
    assert_eq!((out, &latest[..7]), (0, "2031-12"));
    assert_eq!(with("2031-04-03T10:00:00Z,1.05,,dunlin,\n").0, 0);
}

#[test]
fn samples_that_go_on_are_right() {
    // After the probe was taken out, and by hand alone, however seldom.
    let (out, latest, remarks) = left_out("", &["03-05T12:00", "03-30T09:00", "04-30T09:00", "06-20T09:00"], true);
    assert_eq!((out, &latest[..10]), (vec![false; 4], "2031-06-20"));
    assert!(!remarks.contains("are left out"), "{remarks}");
    assert_eq!(left_out("", &["03-05T12:00", "10-01T09:00"], false).0, [false; 2]);
}

#[test]
fn skipping_more_lines_than_any_file_has_is_refused_at_once() {
    let dir = folder(super::files::PLAIN);
    let map = "[[files]]\nmatch = \"readings.csv\"\ntable = \"readings\"\nskip_lines = 9000000000000000000\n";
    put(dir.path(), "season.toml", map.as_bytes());
    let message = refusal(&dir);
    assert!(message.contains("season.toml, line 4") && message.contains("1000000"), "{message}");
    let map = map.replace("9000000000000000000", "1000000");
    put(dir.path(), "season.toml", map.as_bytes());
    assert!(refusal(&dir).contains("an empty file"));
}

#[cfg(unix)]
#[test]
fn a_device_is_no_table() {
    let dir = plain_with(&[("readings.csv", "")]);
    std::os::unix::fs::symlink("/dev/zero", dir.path().join("readings.csv")).unwrap();
    let message = refusal(&dir);
    assert!(message.contains("readings.csv") && message.contains("a pipe, a device or a folder"), "{message}");
    std::fs::remove_file(dir.path().join("readings.csv")).unwrap();
    let made = std::process::Command::new("mkfifo").arg(dir.path().join("readings.parquet")).status();
    if made.is_ok_and(|status| status.success()) {
        assert!(refusal(&dir).contains("a pipe, a device or a folder"));
    }
}

fn remarks(season: &heelwort::season::Season) -> String {
    season.account.remarks.iter().map(|remark| format!("{}: {}\n", remark.file, remark.text)).collect()
}

#[test]
fn a_method_without_a_meaning_is_named_with_a_guess_unless_the_row_states_its_error() {
    let text = "at,sg,batch,method,sg_sd\n2031-03-04T12:00:00Z,1.04,T1,Hydrometre,\n2031-03-04T13:00:00Z,1.04,T1,computed,0.001\n";
    let told = remarks(&load(&plain_with(&[("references.csv", text)])));
    assert!(told.contains("`Hydrometre` (1 row, did you mean `hydrometer`?)") && !told.contains("computed"), "{told}");
    let text = text.replace("Hydrometre", "Wasser");
    let told = remarks(&load(&plain_with(&[("references.csv", &text)])));
    assert!(told.contains("`Wasser` (1 row, did you mean `water`?)"), "{told}");
}

#[test]
fn a_probe_that_would_sink_or_fly_is_named() {
    let of = |size: &str| {
        let text = format!("probe,total_mass_g,diameter_mm,length_mm\ndunlin,{size}\n");
        remarks(&load(&plain_with(&[("probes.csv", &text)])))
    };
    // 0.100 kg in a cylinder of 40 by 130 mm, 1.634e-4 m3: 612 kg/m3.
    assert!(!of("100,40,130").contains("mean density"), "{}", of("100,40,130"));
    assert!(of("100,4,130").contains("dunlin (61213 kg/m3, diameter_mm 4: centimetres?)"), "{}", of("100,4,130"));
    assert!(of("100,40,13").contains("length_mm 13: centimetres?"), "{}", of("100,40,13"));
    assert!(of("100,4,13").contains("diameter_mm 4 and length_mm 13: centimetres?"), "{}", of("100,4,13"));
    assert!(of("1000,40,130").contains("(6121 kg/m3)"), "{}", of("1000,40,130"));
}

#[test]
fn gravities_that_are_called_degrees_plato_are_named() {
    let map = "[[files]]\nmatch = \"references.csv\"\ntable = \"references\"\ncolumns = { sg = { from = \"sg\", unit = \"plato\" } }\n";
    let told = |values: [&str; 2]| {
        let rows = values.map(|value| format!("2031-03-04T1{}:00:00Z,{value},T1\n", value.len()));
        let text = format!("at,sg,batch\n{}", rows.concat());
        remarks(&load(&plain_with(&[("references.csv", &text), ("season.toml", map)])))
    };
    assert!(
        told(["1.048", "1.01"]).contains("2 of 2 gravities in degrees Plato lie about 1"),
        "{}",
        told(["1.048", "1.01"])
    );
    assert_eq!(told(["12.0", "1.01"]), "");
}

#[test]
fn a_tilt_and_a_temperature_that_changed_places_are_named() {
    // The float rocks and rises while the beer keeps its warmth, then it is cooled by more degrees than the float had turned.
    let row = |minute: u32| {
        let tilt = 50.0 - 0.3 * f64::from(minute) + 0.3 * f64::from(minute * 7 % 5);
        let temp = 20.0 - f64::from(minute.saturating_sub(20)) * 1.8;
        (format!("2031-03-04T12:{minute:02}:00Z,dunlin,"), tilt, temp)
    };
    let file = |swapped: bool| {
        let rows = (0..30).map(row).map(|(start, tilt, temp)| match swapped {
            true => format!("{start}{temp},{tilt}\n"),
            false => format!("{start}{tilt},{temp}\n"),
        });
        let text = format!("at,probe,tilt_deg,temp_c\n{}", rows.collect::<String>());
        remarks(&load(&plain_with(&[("readings.csv", &text)])))
    };
    assert!(file(true).contains("tilt and temperature may have changed places"), "{}", file(true));
    assert!(!file(false).contains("changed places"), "{}", file(false));
}

#[test]
fn a_gravity_in_the_column_of_degrees_brix_is_refused() {
    for original in ["1.048", ""] {
        let batches = format!("batch,strain,pitched_at,original_sg\nT1,glasswort,2031-03-04,{original}\n");
        let told = |rows: &str| {
            let text = format!("at,sg,batch,raw_sg,raw_brix,temp_c\n{rows}");
            let season = load(&plain_with(&[("references.csv", &text), ("batches.csv", &batches)]));
            (season.references.len(), rejected(&season))
        };
        let (kept, reasons) = told(
            "2031-03-04T11:00:00Z,,T1,,1.05,20\n2031-03-04T11:05:00Z,,T1,,12,20\n2031-03-09T11:00:00Z,,T1,,1.036,20\n",
        );
        assert_eq!((kept, reasons.len()), (1, 2), "{reasons:?}");
        assert!(
            reasons[1].contains("line 4: column `raw_brix` is 1.036; an SG goes into `sg` or `raw_sg`"),
            "{reasons:?}"
        );
        // Water and a weak wash have degrees Brix as small, to a tenth.
        assert_eq!(told("2031-03-04T11:00:00Z,,T1,,1.1,20\n2031-03-04T11:05:00Z,,T1,,0.53,20\n").0, 2);
        // The other way round, degrees in a column of gravities.
        let (_, reasons) = told("2031-03-04T11:00:00Z,10.5,T1,,,20\n2031-03-04T11:05:00Z,,T1,10.5,,20\n");
        assert_eq!(reasons.len(), 2, "{reasons:?}");
        assert!(reasons.iter().all(|reason| reason.contains("as read goes into `raw_brix`")), "{reasons:?}");
    }
}
