//! The verdict of a probe.

use super::*;
use crate::units::Instant;

fn steady() -> ProbeVerdict {
    ProbeVerdict::Steady { within_sg_per_30d: *STEADY_SG_PER_30D }
}

fn finding(lower: f64, upper: f64) -> Finding {
    let value = (lower + upper) / 2.0;
    Finding::Estimated(Estimate { value, se: 0.0002, lower, upper, level: 0.9, method: "t".into() })
}

#[test]
fn a_wide_interval_is_not_called_true() {
    let cases = [
        (-0.0005, 0.0009, steady()),
        (-0.0005, 0.0019, ProbeVerdict::NotSettled),
        (0.0001, 0.0009, steady()),
        (0.0004, 0.0015, ProbeVerdict::Rises),
        (-0.003, -0.001, ProbeVerdict::Falls),
    ];
    for (lower, upper, expected) in cases {
        assert_eq!(verdict(&finding(lower, upper), None, None, false), expected);
    }
    assert_eq!(
        verdict(&Finding::missing("one check"), None, None, false),
        ProbeVerdict::Unknown { why: "one check".into() }
    );
}

#[test]
fn a_shift_at_the_end_is_not_called_true() {
    let last = |age_d, off_sg, se| LastCheck { at: Instant::default(), age_d, off_sg, se };
    let of = |last| verdict(&finding(-0.0003, 0.0002), None, Some(last), false);
    assert_eq!(of(last(100.0, 0.0045, 0.0006)), ProbeVerdict::OffAtLastCheck(last(100.0, 0.0045, 0.0006)));
    assert_eq!(of(last(100.0, 0.0045, 0.0020)), steady());
    assert_eq!(of(last(150.0, 0.0045, 0.0006)), steady());
    assert_eq!(of(last(10.0, -0.0012, 0.0002)), steady());
}

#[test]
fn a_probe_that_is_due_or_jumped_is_called_so() {
    assert_eq!(verdict(&finding(-0.0006, -0.0004), None, None, true), ProbeVerdict::Due);
    let (up, still) = (finding(0.0013, 0.0016), finding(-0.0001, 0.0006));
    assert_eq!(verdict(&up, Some((&still, 1)), None, true), ProbeVerdict::Jumped { shifts: 1 });
    assert_eq!(verdict(&up, Some((&up, 1)), None, true), ProbeVerdict::Rises);
}

#[test]
fn a_probe_that_is_due_is_so_since_the_line_last_crossed() {
    let day = |day: f64| Instant::default().plus_days(day);
    let line = |p: &[f64]| -> Vec<OutOfLimit> {
        p.iter().enumerate().map(|(i, p)| OutOfLimit { at: day(10.0 * i as f64), p: *p }).collect()
    };
    let since = |p: &[f64], now| past_since(&line(p), 0.1, day(now)).map(|at| at.days_since(day(0.0)).round());
    assert_eq!(since(&[0.0, 0.2, 0.6, 0.9], 30.0), Some(5.0));
    assert_eq!(since(&[0.0, 0.2, 0.05, 0.15, 0.9], 40.0), Some(25.0));
    assert_eq!(since(&[0.3, 0.6, 0.9], 20.0), Some(0.0));
    assert_eq!(since(&[0.3, 0.6, 0.05, 0.9], 10.0), Some(0.0));
    assert_eq!(since(&[0.0, 0.05], 10.0), None);
}
