//! Times as logs write them, brought to UTC.

use jiff::civil::DateTime;
use jiff::fmt::strtime::BrokenDownTime;
use jiff::fmt::temporal::DateTimeParser;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use crate::units::Instant;

use super::flags::Flags;

const MICROS_PER_SECOND: i64 = 1_000_000;
/// Epoch seconds are taken for such only from 2001 to 2286, where no other common way of writing a time has ten digits.
const EPOCH_SECONDS: std::ops::Range<f64> = 1e9..1e10;
/// The same range in milliseconds.
const EPOCH_MILLIS: std::ops::Range<f64> = 1e12..1e13;

/// How to read times that carry no offset, and times in a format of their own.
#[derive(Debug, Clone, Default)]
pub(crate) struct TimeReader {
    /// The zone of local times; none: nobody named one, and UTC is assumed.
    pub(crate) zone: Option<TimeZone>,
    /// A strftime format, tried before the forms that need none.
    pub(crate) format: Option<String>,
}

/// A time that was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ReadTime {
    /// When. For a local time that occurs twice: its first occurrence.
    pub(crate) at: Instant,
    /// Its second occurrence, where it has one.
    pub(crate) later: Option<Instant>,
    /// What is doubtful about it.
    pub(crate) flags: Flags,
    /// True when it had no offset.
    pub(crate) is_local: bool,
}

impl From<Instant> for ReadTime {
    fn from(at: Instant) -> Self {
        Self { at, later: None, flags: Flags::NONE, is_local: false }
    }
}

impl TimeReader {
    /// True when a time without an offset is one in UTC.
    pub(crate) fn zone_is_utc(&self) -> bool {
        self.zone.as_ref().is_none_or(|zone| *zone == TimeZone::UTC)
    }

    /// What a readable time looks like, for messages.
    pub(crate) fn wanted(&self) -> String {
        const PLAIN: &str = "a time such as 2031-03-04T05:06:07Z or 2031-03-04 05:06";
        match &self.format {
            Some(format) => format!("a time in the format `{format}`, or {PLAIN}"),
            None => format!("{PLAIN}; any other form needs `time_format` in season.toml"),
        }
    }

    /// Reads a text; none when it is no time.
    pub(crate) fn read(&self, text: &str) -> Option<ReadTime> {
        if let Some(format) = &self.format
            && let Ok(parts) = BrokenDownTime::parse(format, text)
        {
            return match parts.to_timestamp() {
                Ok(at) => Some(Instant::from(at).into()),
                Err(_) => self.local(parts.to_datetime().ok()?),
            };
        }
        if let Some(read) = self.read_plain(text) {
            return Some(read);
        }
        match text.parse::<jiff::Timestamp>() {
            Ok(at) => Some(Instant::from(at).into()),
            // With a format given, a bare number is not guessed to be an epoch.
            Err(_) if self.format.is_none() => epoch(text.parse().ok()?).map(ReadTime::from),
            Err(_) => None,
        }
    }

    /// Reads `YYYY-MM-DD`, alone or with `HH:MM`, `HH:MM:SS` or `HH:MM:SS.f` after a `T` or a blank, and with or without
    /// an offset.
    fn read_plain(&self, text: &str) -> Option<ReadTime> {
        static PARSER: DateTimeParser = DateTimeParser::new();
        let (date, time) = (text.as_bytes().get(..10)?, text.as_bytes().get(10..)?);
        // The parser knows other forms, such as 20310304, which may as well be plain numbers.
        if date.get(4) != Some(&b'-') || time.contains(&b'[') {
            return None;
        }
        if time.iter().any(|c| matches!(c, b'Z' | b'z' | b'+' | b'-')) {
            return PARSER.parse_timestamp(text).ok().map(|at| Instant::from(at).into());
        }
        let local = PARSER.parse_datetime(text).ok()?;
        if self.zone_is_utc() {
            let at = Offset::UTC.to_timestamp(local).ok()?;
            return Some(ReadTime { is_local: true, ..Instant::from(at).into() });
        }
        self.local(local)
    }

    fn local(&self, local: DateTime) -> Option<ReadTime> {
        let ambiguous = self.zone.as_ref().unwrap_or(&TimeZone::UTC).to_ambiguous_timestamp(local);
        let instant = |offset: Offset| offset.to_timestamp(local).ok().map(Instant::from);
        let (first, later, flags) = match ambiguous.offset() {
            AmbiguousOffset::Unambiguous { offset } => (offset, None, Flags::NONE),
            AmbiguousOffset::Gap { before, .. } => (before, None, Flags::LOCAL_TIME_NEVER),
            AmbiguousOffset::Fold { before, after } => (before, instant(after), Flags::LOCAL_TIME_TWICE),
        };
        Some(ReadTime { at: instant(first)?, later, flags, is_local: true })
    }
}

/// True for a format in which a time can be written.
pub(crate) fn is_time_format(format: &str) -> bool {
    format.contains('%')
        && jiff::fmt::strtime::format(format, &jiff::Timestamp::UNIX_EPOCH.to_zoned(TimeZone::UTC)).is_ok()
}

/// An instant that a file stores as a number of microseconds, if it lies in the years -9999 to 9999.
pub(crate) fn stored_instant(micros: i64) -> Option<Instant> {
    jiff::Timestamp::from_microsecond(micros).ok().map(Instant::from)
}

/// The text of a local time that a file stores as if it were in UTC.
pub(crate) fn local_text(stored: Instant) -> String {
    stored.to_string().trim_end_matches('Z').to_owned()
}

/// A number that is clearly seconds or milliseconds since 1970.
pub(crate) fn epoch(number: f64) -> Option<Instant> {
    if EPOCH_SECONDS.contains(&number) {
        Some(Instant::from_micros((number * MICROS_PER_SECOND as f64).round() as i64))
    } else if EPOCH_MILLIS.contains(&number) {
        Some(Instant::from_micros((number * 1e3).round() as i64))
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reader(zone: &str, format: Option<&str>) -> TimeReader {
        TimeReader { zone: Some(TimeZone::get(zone).unwrap()), format: format.map(str::to_owned) }
    }

    fn at(text: &str) -> Instant {
        Instant::parse(text).unwrap()
    }

    #[test]
    fn plain_times_agree_with_the_general_reader() {
        let utc = reader("UTC", None);
        for day in (-30_000_i64..60_000).step_by(17) {
            let text = Instant::from_micros((day * 86_400 + day.rem_euclid(86_400)) * MICROS_PER_SECOND).to_string();
            assert_eq!(utc.read(&text).unwrap().at, at(&text), "{text}");
        }
        assert_eq!(utc.read("2031-03-04 06:06:07.25+0100").unwrap().at, at("2031-03-04T05:06:07.25Z"));
        assert_eq!(utc.read("2031-03-04").unwrap().at, at("2031-03-04T00:00:00Z"));
        for text in ["2031-02-29 00:00", "2031-13-01", "2031-03-04 24:00", "2031-3-4", "04.03.2031 05:06", "", "12"] {
            assert_eq!(utc.read(text), None, "{text}");
        }
    }

    #[test]
    fn an_epoch_is_read_only_where_it_cannot_be_anything_else() {
        let utc = reader("UTC", None);
        assert_eq!(utc.read("1930367167").unwrap().at, at("2031-03-04T05:06:07Z"));
        assert_eq!(utc.read("1930367167250").unwrap().at, at("2031-03-04T05:06:07.25Z"));
        assert_eq!(utc.read("20310304"), None);
        assert_eq!(utc.read("inf"), None);
    }

    #[test]
    fn the_hours_of_a_clock_change_are_flagged() {
        let oslo = reader("Europe/Oslo", Some("%d.%m.%Y %H:%M"));
        let twice = oslo.read("26.10.2031 02:30").unwrap();
        assert_eq!((twice.at, twice.later), (at("2031-10-26T00:30:00Z"), Some(at("2031-10-26T01:30:00Z"))));
        assert_eq!(twice.flags, Flags::LOCAL_TIME_TWICE);
        let never = oslo.read("30.03.2031 02:30").unwrap();
        assert_eq!((never.at, never.flags), (at("2031-03-30T01:30:00Z"), Flags::LOCAL_TIME_NEVER));
        assert_eq!(oslo.read("2031-07-01 12:00").unwrap().at, at("2031-07-01T10:00:00Z"));
    }
}
