//! Which batch a reading belongs to, and which readings go with a reference.

use heelwort::season::Season;

use super::files::{folder, load, plain_with};

const HEADER: &str = "at,probe,tilt_deg,temp_c,batch\n";

/// The batches of readings of `dunlin` at these days and hours of March 2031, each with its label.
fn batches(table: &str, readings: &[(&str, &str)], references: &str) -> Vec<String> {
    let mut text = HEADER.to_owned();
    for (i, (at, label)) in readings.iter().enumerate() {
        text += &format!("2031-03-{at}:00Z,dunlin,{},20,{label}\n", 40.0 + i as f64 / 8.0);
    }
    let dir = plain_with(&[
        ("readings.csv", &text),
        ("batches.csv", &format!("batch,strain,pitched_at,ended_at,probe\n{table}")),
        ("references.csv", &format!("at,sg,probe,batch\n{references}")),
    ]);
    let season = load(&dir);
    let label = |row| season.readings.get(row).unwrap().batch.unwrap_or("-").to_owned();
    (0..season.readings.len()).map(label).collect()
}

#[test]
fn a_named_probe_belongs_from_pitching_to_the_end_or_its_next_pitching() {
    let table = "T1,a,2031-03-04T10:00:00Z,,knot; dunlin\nT2,a,2031-03-10T10:00:00Z,2031-03-14T00:00:00Z,dunlin\n\
                 T3,a,2031-03-11T00:00:00Z,,ruff\n";
    let readings = [
        ("04T09:59", ""),
        ("04T10:00", ""),
        ("10T09:59", ""),
        ("10T10:00", ""),
        ("14T00:00", ""),
        ("14T00:01", ""),
        ("14T00:02", "T1"),
    ];
    assert_eq!(batches(table, &readings, ""), ["-", "T1", "T1", "T2", "T2", "-", "T1"]);
}

#[test]
fn an_end_after_the_next_pitching_does_not_hold_the_probe_back() {
    let table = "T1,a,2031-03-04T10:00:00Z,2031-03-20T00:00:00Z,dunlin\nT2,a,2031-03-10T10:00:00Z,,dunlin\n";
    assert_eq!(batches(table, &[("09T00:00", ""), ("11T00:00", "")], ""), ["T1", "T2"]);
}

#[test]
fn batches_without_probes_take_the_readings_between_their_labels() {
    let table = "T1,a,2031-03-04T10:00:00Z,,\nT2,a,2031-03-05T00:00:00Z,,\n";
    let readings = [
        ("04T11:00", ""),
        ("05T11:00", "T1"),
        ("05T12:00", ""),
        ("05T13:00", "T1"),
        ("05T14:00", ""),
        ("06T13:00", "T2"),
        ("06T14:00", ""),
        ("20T14:00", ""),
    ];
    // Alone in T1 at first; then as labelled; between T1 and T2 both are possible; long after, either may run on.
    assert_eq!(batches(table, &readings, ""), ["T1", "T1", "T1", "T1", "-", "T2", "T2", "-"]);
    let samples = "2031-03-05T11:00:00Z,1.04,dunlin,T2\n2031-03-05T13:00:00Z,1.04,dunlin,T2\n";
    assert_eq!(batches(table, &[("05T12:00", "")], samples), ["T2"]);
}

#[test]
fn the_only_running_batch_takes_what_no_label_explains_but_no_baths() {
    let table = "T1,a,2031-03-04T10:00:00Z,2031-03-08T00:00:00Z,\nT2,a,2031-03-07T00:00:00Z,2031-03-12T00:00:00Z,\n\
                 T3,a,2031-03-01T00:00:00Z,2031-03-30T00:00:00Z,ruff\n";
    let readings = [("05T00:00", ""), ("07T12:00", ""), ("09T00:00", ""), ("10T00:00", ""), ("13T00:00", "")];
    let bath = "2031-03-09T00:10:00Z,1.0,dunlin,\n";
    assert_eq!(batches(table, &readings, bath), ["T1", "-", "-", "T2", "-"]);
}

fn pairs(references: &str) -> Vec<(usize, String, Vec<usize>)> {
    let readings = "at,probe,tilt_deg,temp_c,batch\n2031-03-05T12:00:00Z,dunlin,50,20,T1\n\
                    2031-03-05T12:15:00Z,dunlin,50.1,20,T1\n2031-03-05T12:30:00Z,dunlin,50.2,20,T1\n\
                    2031-03-05T12:15:00Z,knot,40,20,T1\n2031-03-05T12:15:00Z,ruff,40,20,T2\n";
    let dir = plain_with(&[
        ("readings.csv", readings),
        ("references.csv", &format!("at,sg,probe,batch,tilt_deg\n{references}")),
    ]);
    let pairs = load(&dir).pairs(20.0).unwrap();
    pairs.into_iter().map(|p| (p.reference, p.probe, p.rows)).collect()
}

#[test]
fn a_reference_goes_with_its_probe_and_a_sample_with_every_probe_of_its_batch() {
    let of = |reference, probe: &str, rows: &[usize]| (reference, probe.to_owned(), rows.to_vec());
    assert_eq!(pairs("2031-03-05T12:10:00Z,1.04,dunlin,,\n"), [of(0, "dunlin", &[0, 1, 2])]);
    assert_eq!(
        pairs("2031-03-05T12:20:00Z,1.04,,T1,\n"),
        [of(0, "dunlin", &[0, 1, 2]), of(0, "knot", &[3])],
        "not ruff, which is in another batch"
    );
    assert_eq!(
        pairs("2031-03-05T12:00:00Z,1.04,dunlin,,\n2031-03-05T12:20:00Z,1.04,,T1,\n"),
        [of(0, "dunlin", &[0]), of(1, "dunlin", &[1, 2]), of(1, "knot", &[3])],
        "each reading with the nearest reference"
    );
    assert_eq!(pairs("2031-03-05T12:00:00Z,1.04,dunlin,,51.5\n"), [of(0, "dunlin", &[])], "its own tilt is enough");
    assert_eq!(pairs("2031-03-05T13:00:00Z,1.04,dunlin,,\n"), []);
}

#[test]
fn a_window_that_is_no_number_is_a_setting_error() {
    let message = Season::default().pairs(f64::NAN).unwrap_err().to_string();
    assert!(message.contains("pair_window_min"), "{message}");
}

#[test]
fn what_was_known_at_a_moment() {
    let dir = folder(&[
        ("probes.csv", "probe\ndunlin\n"),
        (
            "readings.csv",
            "at,probe,tilt_deg,temp_c\n2031-03-05T12:00:00Z,dunlin,50,20\n2031-03-06T12:00:00Z,dunlin,49,20\n",
        ),
        (
            "references.csv",
            "at,sg,batch,known_at\n2031-03-05T12:00:00Z,1.04,T1,2031-03-07T12:00:00Z\n2031-03-05T13:00:00Z,1.04,T1,\n",
        ),
        (
            "batches.csv",
            "batch,strain,pitched_at,ended_at,probe\nT1,a,2031-03-05T00:00:00Z,2031-03-08T00:00:00Z,dunlin\n\
             T2,a,2031-03-09T00:00:00Z,,\n",
        ),
        ("events.csv", "at,kind\n2031-03-05T13:00:00Z,dry_hop\n2031-03-06T13:00:00Z,moved\n"),
    ]);
    let season = load(&dir);
    assert_eq!(season.latest().unwrap().to_string(), "2031-03-09T00:00:00Z");
    assert_eq!(season.running().iter().map(|b| b.batch.as_str()).collect::<Vec<_>>(), ["T2"]);
    let then = season.as_of(heelwort::Instant::parse("2031-03-06T00:00:00Z").unwrap());
    assert_eq!((then.readings.len(), then.references.len(), then.batches.len(), then.events.len()), (1, 1, 1, 1));
    assert_eq!(then.batches[0].ended_at, None);
    assert_eq!(then.running().len(), 1);
    assert_eq!(then.readings.get(0).unwrap().batch, Some("T1"));
    // As of the end everything is known again.
    let all = season.as_of(heelwort::Instant::parse("2031-04-01T00:00:00Z").unwrap());
    assert_eq!(all, season);
}

/// The batches that run and those left open, of two batches with the probe of the first in the second from the 10th on.
fn open(ended_at: &str, references: &str, until: &str) -> (Vec<String>, Vec<String>) {
    let readings = ["04T12:00", "09T12:00", "10T12:00", until].map(|at| format!("2031-03-{at}:00Z,dunlin,40.5,20,\n"));
    let dir = plain_with(&[
        ("readings.csv", &format!("{HEADER}{}", readings.concat())),
        (
            "batches.csv",
            &format!(
                "batch,strain,pitched_at,ended_at,probe\nT1,a,2031-03-04T10:00:00Z,{ended_at},dunlin\n\
                 T2,a,2031-03-10T10:00:00Z,,dunlin\nT3,a,2031-03-04T10:00:00Z,,ruff\n"
            ),
        ),
        ("references.csv", &format!("at,sg,probe,batch\n2031-03-04T11:00:00Z,1.05,,T3\n{references}")),
    ]);
    let season = load(&dir);
    let left = season.left_open().into_iter().map(|left| {
        let moved = left.moved.map_or(String::new(), |to| format!(" {} in {} on {}", to.probe, to.batch, to.at));
        format!("{} {}{moved}", left.batch, left.last_at)
    });
    let left = left.collect();
    (season.running().into_iter().map(|b| b.batch.clone()).collect(), left)
}

#[test]
fn a_batch_whose_probe_has_gone_into_another_or_that_gives_nothing_for_a_week_does_not_run() {
    let moved = "T1 2031-03-09T12:00:00Z dunlin in T2 on 2031-03-10T12:00:00Z";
    assert_eq!(open("", "", "11T00:00"), (vec!["T3".to_owned(), "T2".to_owned()], vec![moved.to_owned()]));
    let silent = "T3 2031-03-04T11:00:00Z";
    assert_eq!(open("", "", "12T00:00"), (vec!["T2".to_owned()], vec![moved.to_owned(), silent.to_owned()]));
    // A sample since then tells that it goes on, and an end leaves nothing to ask.
    let sampled = "2031-03-11T12:00:00Z,1.02,,T1\n";
    assert_eq!(open("", sampled, "12T00:00"), (vec!["T1".to_owned(), "T2".to_owned()], vec![silent.to_owned()]));
    assert_eq!(open("2031-03-10T09:00:00Z", "", "12T00:00").1, [silent]);
}
