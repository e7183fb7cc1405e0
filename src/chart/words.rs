//! Numbers and times in words of pictures and pages.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::units::Instant;

/// A number with a true minus sign and, if asked, a plus; zero has neither.
pub(crate) fn signed(value: f64, decimals: usize, plus: bool) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let zero = text.chars().all(|c| c == '0' || c == '.');
    match (value < 0.0 && !zero, plus && !zero) {
        (true, _) => format!("\u{2212}{text}"),
        (false, true) => format!("+{text}"),
        (false, false) => text,
    }
}

/// A probability in whole percents that never says 0 or 100.
pub(crate) fn percent(p: f64) -> String {
    match (100.0 * p).round() {
        v if v < 1.0 => "under 1 %".to_owned(),
        v if v > 99.0 => "over 99 %".to_owned(),
        v => format!("{v:.0} %"),
    }
}

/// How many dots a picture leaves out; none where it has all.
pub(super) fn dots_outside(n: usize) -> Option<String> {
    (n > 0).then(|| format!("{n} {} outside the frame.", if n == 1 { "dot lies" } else { "dots lie" }))
}

/// A moment to the minute: `We 5 Mar 2031 14:05`.
pub(crate) fn minute(at: Instant, zone: &TimeZone) -> String {
    dated(at, zone, "%-d %b %Y %H:%M")
}

/// A date of this format, behind its day of the week in two letters.
pub(crate) fn dated(at: Instant, zone: &TimeZone, format: &str) -> String {
    let weekday: String = written(at, zone, "%a").chars().take(2).collect();
    format!("{weekday} {}", written(at, zone, format))
}

/// A moment on a clock by a format of strftime; empty beyond the calendar.
pub(super) fn written(at: Instant, zone: &TimeZone, format: &str) -> String {
    let at = Timestamp::from_microsecond(at.micros());
    at.map(|at| at.to_zoned(zone.clone()).strftime(format).to_string()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(signed(-0.00012, 4, true), "\u{2212}0.0001");
        assert_eq!(signed(-0.00001, 4, true), "0.0000");
        assert_eq!(signed(0.5, 1, true), "+0.5");
        assert_eq!(signed(0.5, 1, false), "0.5");
        assert_eq!([0.001, 0.42, 0.9999].map(percent), ["under 1 %", "42 %", "over 99 %"]);
    }
}
