//! Numbers and times in sentences.

use crate::chart::written;
pub(super) use crate::chart::{minute, percent, signed};
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
pub(super) fn weekday_hour(at: Instant) -> String {
    let rounded = at.plus_hours(0.5).micros().div_euclid(3_600_000_000) * 3_600_000_000;
    written(Instant::from_micros(rounded), "%a %-d %b %H:00")
}

/// A day with its weekday: `Wed 5 Mar`.
pub(super) fn weekday(at: Instant) -> String {
    written(at, "%a %-d %b")
}

/// A day: `5 Mar`.
pub(super) fn day(at: Instant) -> String {
    written(at, "%-d %b")
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(grouped(1234), "1234");
        assert_eq!(grouped(1_234_567), "1\u{a0}234\u{a0}567");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
    }

    #[test]
    fn times_round_to_the_hour() {
        let at = |text| Instant::parse(text).unwrap();
        assert_eq!(weekday_hour(at("2031-03-05T13:40:00Z")), "Wed 5 Mar 14:00");
        assert_eq!(weekday_hour(at("2031-03-05T23:30:00Z")), "Thu 6 Mar 00:00");
        assert_eq!(minute(at("2031-03-05T13:40:59Z")), "2031-03-05 13:40");
    }
}
