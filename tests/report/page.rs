//! The page.

use std::path::Path;

use heelwort::report::{self, Summary};
use heelwort::season::{Flags, Readings, Reference, Season};
use heelwort::study::{SeasonStudy, Study};

use super::{HOSTILE, check_html, run, season, study};

fn page(study: &SeasonStudy) -> (tempfile::TempDir, String) {
    let home = tempfile::tempdir().unwrap();
    let out = report::write(study, &study.tables().unwrap(), &home.path().join("report")).unwrap();
    let html = std::fs::read_to_string(out.join("index.html")).unwrap();
    (home, html)
}

#[test]
fn a_page_holds_every_section_and_is_whole() {
    let (home, html) = page(study());
    check_html(&html);
    for id in ["today", "batches", "forecasts", "probes", "drift", "strains", "rows", "methods", "cautions"] {
        assert!(html.contains(&format!("id=\"{id}\"")), "section {id}");
    }
    for caution in ["burst", "carbon dioxide", "lithium cell", "duty", "degas", "0 \u{b0}C", "three days"] {
        assert!(html.contains(caution), "nothing is said of: {caution}");
    }
    for batch in &study().season.batches {
        assert!(html.contains(&batch.batch), "batch {}", batch.batch);
    }
    assert!(html.matches("<svg").count() > 20);
    // Self-contained: the only address is the name of the SVG language.
    assert_eq!(html.matches("://").count(), html.matches("http://www.w3.org/2000/svg").count());
    assert!(!html.contains("url(") && !html.contains("@import") && !html.contains("<link") && !html.contains("<img"));
    let linked = html.split("href=\"tables/").skip(1).filter_map(|rest| rest.split('"').next());
    for name in linked {
        let file = home.path().join("report/tables").join(name);
        assert!(file.is_file(), "{} is linked and missing", Path::new(name).display());
    }
}

#[test]
fn numbers_of_the_page_are_those_of_the_study() {
    let (_home, html) = page(study());
    let drift = study().drift.done().unwrap();
    let estimate = drift.probes.iter().find_map(|probe| probe.drift_sg_per_30d.estimate()).unwrap();
    let shown = format!("{:.5}", estimate.value);
    assert!(html.contains(shown.trim_start_matches('-')), "{shown}");
    let (read, kept, flagged, rejected) = study().season.account.totals();
    assert_eq!(read, kept + flagged + rejected);
}

#[test]
fn a_season_of_samples_alone_says_what_is_missing_and_why() {
    let mut samples = season();
    samples.readings = Readings::default();
    samples.probes.clear();
    samples.references.retain(|reference| reference.batch.is_some());
    let study = run(samples);
    let (_home, html) = page(&study);
    check_html(&html);
    let why = study.calibrations.why().unwrap();
    assert!(html.contains(why), "{why}");
    assert!(Summary::of(&study).to_string().contains(why));
}

#[test]
fn an_empty_season_gives_a_page_of_reasons() {
    let study = run(Season::default());
    let (_home, html) = page(&study);
    assert!(html.matches("class=\"none\"").count() >= 5, "{html}");
    assert!(html.contains("permission to package"));
}

#[test]
fn the_summary_answers_the_three_questions_and_repeats_the_caution() {
    let text = Summary::of(study()).to_string();
    for part in [
        "What to do?",
        "Which probes may be trusted today?",
        "What finishes when?",
        "Which strain?",
        "never permission to package",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    for probe in &study().drift.done().unwrap().probes {
        assert!(text.contains(&probe.probe), "{text}");
    }
}

#[test]
fn a_curve_of_water_and_two_baths_is_provisional_and_the_step_says_what_it_lacks() {
    let mut season = Season::load(concat!(env!("CARGO_MANIFEST_DIR"), "/datasets/first-season")).unwrap();
    let bath = |reference: &Reference| reference.bath.as_deref() == Some("weak");
    assert!(season.references.iter().any(bath));
    season.references.retain(|reference| !bath(reference));
    let text = Summary::of(&run(season)).text(400);
    assert!(text.contains("Provisional, as a bath is missing: dunlin."), "{text}");
    assert!(text.contains("  dunlin  provisional ") && !text.contains("rust it"), "{text}");
    // The data end ten days later: one bath more would begin a new calibration.
    assert!(text.contains("Calibrate dunlin in water and three baths, one of them near SG 1.02"), "{text}");
    assert!(text.contains("3 baths cannot check the form of a curve, so this one is provisional: in such a bath it would tell gravity 1.0"), "{text}");
}

#[test]
fn a_bath_that_is_typed_wrong_is_to_be_looked_up() {
    let mut season = Season::load(concat!(env!("CARGO_MANIFEST_DIR"), "/datasets/first-season")).unwrap();
    let baths: Vec<Reference> = season.references.iter().filter(|r| !r.is_sample()).cloned().collect();
    for probe in ["knot", "ruff"] {
        let own = |bath: &Reference| Reference { probe: Some(probe.to_owned()), ..bath.clone() };
        season.references.extend(baths.iter().map(own));
    }
    let text = |season: &Season| Summary::of(&run(season.clone())).text(1000);
    assert!(!text(&season).contains("Look up the bath"), "{}", text(&season));
    let typed = season.references.iter_mut().find(|r| r.bath.as_deref() == Some("strong")).unwrap();
    typed.sg = 1.0072;
    let text = text(&season);
    assert!(text.contains("Look up the bath strong of Mo 3 Feb. SG 1.0072 is 0.06"), "{text}");
    let said = " below what the other baths of dunlin say; for other probes it is SG 1.0720. What does not fit is left out or counts less.";
    assert!(text.contains(said), "{text}");
    assert_eq!(text.matches("Look up the bath").count(), 1, "{text}");
}

fn first_season() -> Season {
    Season::load(concat!(env!("CARGO_MANIFEST_DIR"), "/datasets/first-season")).unwrap()
}

#[test]
fn a_sample_dated_after_its_batch_is_to_be_looked_up_and_moves_nothing() {
    let mut season = first_season();
    let (before, latest) = (run(season.clone()), season.latest());
    let last = season.references.last().unwrap().clone();
    let at = heelwort::Instant::parse("2031-10-01T09:00:00Z").unwrap();
    season.references.push(Reference { at, flags: Flags::OUTSIDE_BATCH, ..last });
    assert_eq!(season.latest(), latest);
    let study = run(season);
    assert_eq!(study.kinetics.done(), before.kinetics.done());
    let text = Summary::of(&study).text(1000);
    let said = "Look up the date of the sample of We 1 Oct 2031 09:00 in amber-1. SG 1.0140 stands there, but amber-1 had ended on Th 13 Feb 2031 10:00.";
    assert!(text.contains(said), "{text}");
    assert!(!Summary::of(&before).text(1000).contains("Look up the date"));
}

#[test]
fn a_batch_without_an_end_is_asked_for_and_is_not_shown_as_running() {
    let mut season = first_season();
    season.batches[0].ended_at = None;
    let running = Summary::of(&run(season.clone())).text(1000);
    assert!(!running.contains("Write down when"), "{running}");
    let mut later = season.batches[0].clone();
    (later.batch, later.pitched_at) = ("amber-2".to_owned(), season.latest().unwrap().plus_days(9.0));
    later.probes.clear();
    season.batches.push(later);
    let study = run(season);
    let text = Summary::of(&study).text(1000);
    assert!(
        text.contains("Write down when amber-1 ended, as `ended_at`. Nothing has come from it since Th 13 Feb."),
        "{text}"
    );
    let words = study.kinetics.done().unwrap().get("amber-1").unwrap().state_in_words();
    assert!(words.ends_with("end not noted"), "{words}");
    let (_home, html) = page(&study);
    assert!(html.contains(&format!("samphire: {words}")), "{words}");
    assert!(!html.contains("amber-1, samphire"), "it stands among those that run");
}

#[test]
fn a_mass_that_no_float_of_its_size_has_is_to_be_weighed_again() {
    let mut season = first_season();
    assert!(!Summary::of(&run(season.clone())).text(1000).contains("Weigh"));
    season.probes[0].total_mass_g = Some(48.1);
    let text = Summary::of(&run(season)).text(1000);
    assert!(text.contains("Weigh and measure dunlin again. No float of 48.1 g"), "{text}");
}

#[test]
fn the_coming_fortnight_shows_each_running_batch_once_and_as_of_now() {
    let whole = season();
    let now = whole.batches.last().unwrap().pitched_at.plus_days(4.0);
    let season = whole.as_of(now);
    let latest = season.latest().unwrap();
    let runs: Vec<String> = season.running().iter().map(|batch| batch.batch.clone()).collect();
    let ended = season.batches.iter().find(|batch| batch.ended_at.is_some()).unwrap().batch.clone();
    assert!(!runs.is_empty());
    let mut study = Study::of(season.clone()).name(HOSTILE);
    for batch in runs.iter().chain([&ended]) {
        let pitched_at = season.batch(batch).unwrap().pitched_at;
        study = study.as_of(batch, pitched_at.plus_days(3.0)).as_of(batch, latest);
    }
    let (_home, html) = page(&study.run().unwrap());
    let table = html.split("by the end of each day").nth(1).unwrap().split("</table>").next().unwrap();
    let head = table.split("</thead>").next().unwrap();
    for batch in &runs {
        assert_eq!(head.matches(batch.as_str()).count(), 1, "{batch}: {head}");
    }
    assert!(!head.contains(&ended), "{ended}: {head}");
}
