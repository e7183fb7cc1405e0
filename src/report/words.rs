//! Numbers and times in sentences.

use jiff::Timestamp;

use crate::fit::{Estimate, decimals_for};
use crate::units::Instant;

/// `1 batch`, `2 batches`.
pub(super) fn count(n: usize, one: &str, many: &str) -> String {
    format!("{} {}", grouped(n), if n == 1 { one } else { many })
}

/// A whole number with thin gaps between thousands: `61 246`.
pub(super) fn grouped(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) && digits.len() > 4 {
            out.push('\u{a0}');
        }
        out.push(digit);
    }
    out
}

/// A moment to the hour, with its weekday: `Wed 5 Mar 14:00`. All times are UTC; the headings say so.
pub(super) fn hour(at: Instant) -> String {
    let rounded = at.plus_hours(0.5).micros().div_euclid(3_600_000_000) * 3_600_000_000;
    written(rounded, "%a %-d %b %H:00")
}

/// A day: `5 Mar`.
pub(super) fn day(at: Instant) -> String {
    written(at.micros(), "%-d %b")
}

/// A moment to the minute: `2031-03-05 14:05`.
pub(super) fn minute(at: Instant) -> String {
    written(at.micros(), "%Y-%m-%d %H:%M")
}

fn written(micros: i64, format: &str) -> String {
    Timestamp::from_microsecond(micros).map(|at| at.strftime(format).to_string()).unwrap_or_default()
}

/// A number with a true minus sign and, if asked, a plus.
pub(super) fn signed(value: f64, decimals: usize, plus: bool) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let zero = text.chars().all(|c| c == '0' || c == '.');
    match (value < 0.0 && !zero, plus && !zero) {
        (true, _) => format!("\u{2212}{text}"),
        (false, true) => format!("+{text}"),
        (false, false) => text,
    }
}

/// `0.767 (0.753 to 0.781)`: an estimate with its interval, to two digits of its error.
pub(super) fn interval(e: &Estimate, plus: bool) -> String {
    let decimals = decimals_for(e.se);
    let text = |value| signed(value, decimals, plus);
    format!("{} ({} to {})", text(e.value), text(e.lower), text(e.upper))
}

/// Names in a sentence: `a`, `a and b`, `a, b and c`.
pub(super) fn list<S: AsRef<str>>(names: &[S]) -> String {
    match names {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [front @ .., last] => {
            let front: Vec<&str> = front.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", front.join(", "), last.as_ref())
        }
    }
}

/// A probability in whole percents that never says 0 or 100.
pub(super) fn percent(p: f64) -> String {
    match (100.0 * p).round() {
        v if v < 1.0 => "under 1 %".to_owned(),
        v if v > 99.0 => "over 99 %".to_owned(),
        v => format!("{v:.0} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(grouped(1234), "1234");
        assert_eq!(grouped(1_234_567), "1\u{a0}234\u{a0}567");
        assert_eq!(signed(-0.00012, 4, true), "\u{2212}0.0001");
        assert_eq!(signed(-0.00001, 4, true), "0.0000");
        assert_eq!(signed(0.5, 1, true), "+0.5");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
        assert_eq!(
            (percent(0.001), percent(0.42), percent(0.9999)),
            ("under 1 %".into(), "42 %".into(), "over 99 %".into())
        );
    }

    #[test]
    fn times_round_to_the_hour() {
        let at = |text| Instant::parse(text).unwrap();
        assert_eq!(hour(at("2031-03-05T13:40:00Z")), "Wed 5 Mar 14:00");
        assert_eq!(hour(at("2031-03-05T23:30:00Z")), "Thu 6 Mar 00:00");
        assert_eq!(minute(at("2031-03-05T13:40:59Z")), "2031-03-05 13:40");
    }
}
