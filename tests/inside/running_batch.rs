//! What is said of one running batch.

use super::*;
use crate::fit::Finding;
use crate::study::Study;

#[test]
fn ready_is_not_said_beside_little_attenuation() {
    let study = Study::of(crate::season::Season::default()).run().unwrap();
    let at = Instant::parse("2031-01-29T12:00:00Z").unwrap();
    let at_once = Quantiles { p05: at, p25: at, p50: at, p75: at, p95: at };
    let forecast = |early_attenuation: Option<f64>| Forecast {
        batch: "b10".to_owned(),
        strain: "scurvygrass".to_owned(),
        vessel: None,
        as_of: at.plus_days(1.0),
        last_reading_at: Some(at),
        progress: Finding::missing("test"),
        finish: Some(at_once),
        terminal_sg: None,
        p_finished: Some(0.97),
        p_stuck: Some(0.04),
        p_stuck_now: Some(0.04),
        p_ready: Some(0.93),
        p_finished_in_days: Vec::new(),
        early_attenuation,
        method: String::new(),
        why: String::new(),
    };
    let said = |early: Option<f64>| {
        let (forecast, reader) = (forecast(early), Reader::of(&study));
        let one = RunningBatch { forecast: &forecast, fit: None, temp_c: None };
        format!("{} {}", one.rest(&reader), one.further(&reader))
    };
    assert!(said(None).contains("Ready now: 93 %."), "{}", said(None));
    let early = said(Some(0.47));
    assert!(early.contains("Whether it is ready is open: its attenuation is unusually little"), "{early}");
    assert!(!early.contains("Ready now") && early.ends_with("ready is 93 %."), "{early}");
}

#[test]
fn a_range_of_days_says_its_month_once() {
    let at = |text| Instant::parse(text).unwrap();
    let study = Study::of(crate::season::Season::default()).run().unwrap();
    let said = |from, to| {
        let [p05, p50, p95] = [from, "2031-07-12T12:00:00Z", to].map(at);
        when(&Quantiles { p05, p25: p50, p50, p75: p50, p95 }, 0.9, &Reader::of(&study))
    };
    assert_eq!(said("2031-07-10T12:00:00Z", "2031-07-13T12:00:00Z"), "about Sa 12 Jul (90 %: Th 10 to Su 13 Jul)");
    assert_eq!(said("2031-06-30T12:00:00Z", "2031-07-13T12:00:00Z"), "about Sa 12 Jul (90 %: Mo 30 Jun to Su 13 Jul)");
    let sharp = said("2031-07-12T06:00:00Z", "2031-07-13T12:00:00Z");
    assert_eq!(sharp, "about Sa 12 Jul 12:00 (90 %: Sa 12 Jul 06:00 to Su 13 Jul 12:00)");
}
