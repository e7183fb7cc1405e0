//! Late rows and wrong clocks, told by the times of a log alone.

use super::*;

const QUARTER: i64 = 15 * 60 * 1_000_000;

/// Times in quarters of an hour to flags, as (row, flag) of the flagged.
fn flagged(quarters: &[f64]) -> Vec<(usize, &'static str)> {
    let times: Vec<i64> = quarters.iter().map(|q| (q * QUARTER as f64) as i64).collect();
    let flags = flags_of(&times);
    flags.iter().enumerate().filter(|(_, f)| !f.is_empty()).map(|(i, f)| (i, f.names().next().unwrap())).collect()
}

fn regular(n: usize) -> Vec<f64> {
    (0..n).map(|i| i as f64).collect()
}

#[test]
fn a_gap_alone_is_neither_late_nor_a_jump() {
    let mut log = regular(50);
    log.iter_mut().skip(20).for_each(|t| *t += 300.0);
    assert_eq!(flagged(&log), []);
}

#[test]
fn a_row_written_later_is_late() {
    let mut log = regular(50);
    let moved = log.remove(10);
    log.insert(30, moved);
    assert_eq!(flagged(&log), [(30, "late")]);
    log.swap(40, 41);
    assert_eq!(flagged(&log).len(), 2);
    assert!(flagged(&log).iter().all(|(_, flag)| *flag == "late"));
    // The row after the late one is missing, so that the log goes on two cadences later.
    log.remove(31);
    assert_eq!(flagged(&log).first(), Some(&(30, "late")));
}

#[test]
fn buffers_delivered_late_are_late_beside_gaps_and_each_other() {
    let quarters = |range: Range<i32>| range.map(f64::from);
    // A gap (40 to 74) as long as the step back, and two buffers (101 to 122, 137 to 151), the second of rows from among those
    // written before the first.
    let log: Vec<f64> = quarters(0..40)
        .chain(quarters(74..101))
        .chain(quarters(123..137))
        .chain(quarters(152..156))
        .chain(quarters(101..123))
        .chain(quarters(156..174))
        .chain(quarters(137..152))
        .chain(quarters(174..200))
        .collect();
    let flags = flagged(&log);
    assert!(flags.iter().all(|(_, flag)| *flag == "late"), "{flags:?}");
    assert_eq!(flags.len(), 22 + 15);
    assert!(flags.iter().all(|(row, _)| (101.0..152.0).contains(&log[*row]) && !(123.0..137.0).contains(&log[*row])));
}

#[test]
fn a_buffer_delivered_late_is_late() {
    let mut log: Vec<f64> = regular(20);
    log.push(30.0);
    log.extend((20..30).map(f64::from));
    log.extend((31..60).map(f64::from));
    let flags = flagged(&log);
    assert!(!flags.is_empty() && flags.iter().all(|(_, flag)| *flag == "late"), "{flags:?}");
}

#[test]
fn a_clock_that_jumps_and_is_set_right_is_flagged_in_between() {
    for shift in [12.3, -12.3, 9e6, -9e4] {
        let mut log = regular(100);
        log.iter_mut().skip(40).take(10).for_each(|t| *t += shift);
        let expected: Vec<_> = (40..50).map(|i| (i, "clock_jump")).collect();
        assert_eq!(flagged(&log), expected, "{shift}");
    }
}

#[test]
fn a_clock_set_back_for_good_is_flagged_where_it_repeats() {
    let mut log = regular(100);
    log.iter_mut().skip(40).for_each(|t| *t -= 8.4);
    let flags = flagged(&log);
    assert!((7..=9).contains(&flags.len()) && flags.iter().all(|(_, flag)| *flag == "clock_jump"), "{flags:?}");
    let mut log = regular(100);
    log.iter_mut().skip(80).for_each(|t| *t -= 3e6);
    assert_eq!(flagged(&log), (80..100).map(|i| (i, "clock_jump")).collect::<Vec<_>>());
}

#[test]
fn a_log_in_no_order_tells_nothing_of_its_clock() {
    // A step of 37 modulo 100 goes back about once in three rows.
    let log: Vec<f64> = (0..100).map(|i| f64::from(i * 37 % 100)).collect();
    assert_eq!(flagged(&log), []);
}

#[test]
fn a_log_in_local_time_without_a_zone_loses_an_hour_not_a_summer() {
    let mut log = regular(40_000);
    log.iter_mut().skip(5_000).take(20_000).for_each(|t| *t += 4.0);
    let flags = flagged(&log);
    assert!(flags.len() <= 8, "{}", flags.len());
}
