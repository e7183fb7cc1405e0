//! Times as logs write them, brought to UTC.

use jiff::civil::DateTime;
use jiff::fmt::strtime::BrokenDownTime;
use jiff::tz::{AmbiguousOffset, TimeZone};

use crate::units::Instant;

use super::flags::Flags;
use super::row_error::Wanted;

const MICROS_PER_SECOND: i64 = 1_000_000;
/// Epoch seconds are taken for such only from 2001 to 2286, where no other common way of writing a time has ten digits.
const EPOCH_SECONDS: std::ops::Range<f64> = 1e9..1e10;
/// The same range in milliseconds.
const EPOCH_MILLIS: std::ops::Range<f64> = 1e12..1e13;

/// How to read times that carry no offset, and times in a format of their own.
#[derive(Debug, Clone)]
pub(crate) struct TimeReader {
    /// The zone of local times; none: nobody named one, and UTC is assumed.
    zone: Option<TimeZone>,
    format: Option<String>,
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
    /// Local times are in `zone`, in UTC where none is named; `format` is a strftime format tried before the forms that need none.
    pub(crate) fn new(zone: Option<TimeZone>, format: Option<String>) -> Self {
        Self { zone, format }
    }

    /// True when a time without an offset is one in UTC.
    pub(crate) fn zone_is_utc(&self) -> bool {
        self.zone.as_ref().is_none_or(|zone| *zone == TimeZone::UTC)
    }

    /// True when nobody said which zone local times are in.
    pub(crate) fn zone_is_assumed(&self) -> bool {
        self.zone.is_none()
    }

    /// What a readable time looks like, for messages.
    pub(crate) fn wanted(&self) -> Wanted {
        Wanted::Time(self.format.clone())
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
        match plain(text) {
            Some(Plain::Utc(at)) => Some(at.into()),
            Some(Plain::Local(local)) if self.zone_is_utc() => Some(ReadTime { is_local: true, ..local.utc()?.into() }),
            Some(Plain::Local(local)) => self.local(local.datetime()?),
            None => match text.parse::<jiff::Timestamp>() {
                Ok(at) => Some(Instant::from(at).into()),
                // With a format given, a bare number is not guessed to be an epoch.
                Err(_) if self.format.is_none() => epoch(text.parse().ok()?).map(ReadTime::from),
                Err(_) => None,
            },
        }
    }

    /// Reads a number; none when it is not clearly seconds or milliseconds since 1970.
    pub(crate) fn read_number(&self, number: f64) -> Option<ReadTime> {
        epoch(number).map(ReadTime::from)
    }

    fn local(&self, local: DateTime) -> Option<ReadTime> {
        let ambiguous = self.zone.as_ref().unwrap_or(&TimeZone::UTC).to_ambiguous_timestamp(local);
        let instant = |offset: jiff::tz::Offset| offset.to_timestamp(local).ok().map(Instant::from);
        let (first, later, flags) = match ambiguous.offset() {
            AmbiguousOffset::Unambiguous { offset } => (offset, None, Flags::NONE),
            AmbiguousOffset::Gap { before, .. } => (before, None, Flags::LOCAL_TIME_NEVER),
            AmbiguousOffset::Fold { before, after } => (before, instant(after), Flags::LOCAL_TIME_TWICE),
        };
        Some(ReadTime { at: instant(first)?, later, flags, is_local: true })
    }
}

/// An instant that a file stores as a number of microseconds, if it lies in the years -9999 to 9999.
pub(crate) fn stored_instant(micros: i64) -> Option<Instant> {
    jiff::Timestamp::from_microsecond(micros).ok().map(Instant::from)
}

/// The text of a local time that a file stores as if it were in UTC.
pub(crate) fn local_text(stored: Instant) -> String {
    stored.to_string().trim_end_matches('Z').to_owned()
}

fn epoch(number: f64) -> Option<Instant> {
    if EPOCH_SECONDS.contains(&number) {
        Some(Instant::from_micros((number * MICROS_PER_SECOND as f64).round() as i64))
    } else if EPOCH_MILLIS.contains(&number) {
        Some(Instant::from_micros((number * 1e3).round() as i64))
    } else {
        None
    }
}

/// A date with a time of day.
#[derive(Debug, Clone, Copy)]
struct Local {
    days: i64,
    micros_of_day: i64,
}

impl Local {
    fn utc(self) -> Option<Instant> {
        let micros = self.days.checked_mul(86_400 * MICROS_PER_SECOND)?.checked_add(self.micros_of_day)?;
        Some(Instant::from_micros(micros))
    }

    fn datetime(self) -> Option<DateTime> {
        let at = jiff::Timestamp::from_microsecond(self.utc()?.micros()).ok()?;
        Some(TimeZone::UTC.to_datetime(at))
    }
}

enum Plain {
    Utc(Instant),
    Local(Local),
}

/// Reads `YYYY-MM-DD`, alone or with `HH:MM`, `HH:MM:SS` or `HH:MM:SS.f` after a `T` or a blank, and with or without
/// an offset. Logs hold millions of these, and a general reader takes several times as long.
fn plain(text: &str) -> Option<Plain> {
    let b = text.as_bytes();
    let (year, month, day) = (digits(b, 0, 4)?, digits(b, 5, 2)?, digits(b, 8, 2)?);
    if *b.get(4)? != b'-' || *b.get(7)? != b'-' || !(1..=12).contains(&month) || day < 1 {
        return None;
    }
    if day > days_in_month(year, month) {
        return None;
    }
    let days = days_from_civil(year, month, day);
    let Some(separator) = b.get(10) else { return Some(Plain::Local(Local { days, micros_of_day: 0 })) };
    if !matches!(separator, b'T' | b't' | b' ') || b.get(13) != Some(&b':') {
        return None;
    }
    let (hour, minute) = (digits(b, 11, 2)?, digits(b, 14, 2)?);
    let (mut second, mut micros, mut end) = (0, 0, 16);
    if b.get(16) == Some(&b':') {
        second = digits(b, 17, 2)?;
        end = 19;
        if b.get(19) == Some(&b'.') {
            let rest = b.get(20..)?;
            let count = rest.iter().take_while(|c| c.is_ascii_digit()).count();
            if count == 0 {
                return None;
            }
            let kept = count.min(6);
            micros = digits(rest, 0, kept)? * 10_i64.pow(6 - kept as u32);
            end = 20 + count;
        }
    }
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let local = Local { days, micros_of_day: ((hour * 60 + minute) * 60 + second) * MICROS_PER_SECOND + micros };
    let offset_minutes = match b.get(end..)? {
        [] => return Some(Plain::Local(local)),
        [b'Z' | b'z'] => 0,
        offset @ [sign @ (b'+' | b'-'), ..] => {
            let (hours, minutes) = match offset.len() {
                6 if offset.get(3) == Some(&b':') => (digits(offset, 1, 2)?, digits(offset, 4, 2)?),
                5 => (digits(offset, 1, 2)?, digits(offset, 3, 2)?),
                3 => (digits(offset, 1, 2)?, 0),
                _ => return None,
            };
            if hours > 23 || minutes > 59 {
                return None;
            }
            (hours * 60 + minutes) * if *sign == b'-' { -1 } else { 1 }
        }
        _ => return None,
    };
    let micros = local.utc()?.micros().checked_sub(offset_minutes * 60 * MICROS_PER_SECOND)?;
    Some(Plain::Utc(Instant::from_micros(micros)))
}

fn digits(bytes: &[u8], start: usize, count: usize) -> Option<i64> {
    bytes.get(start..start + count)?.iter().try_fold(0, |n, c| {
        let digit = c.wrapping_sub(b'0');
        (digit < 10).then(|| n * 10 + i64::from(digit))
    })
}

fn days_in_month(year: i64, month: i64) -> i64 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days from 1970-01-01 in the Gregorian calendar, counted in years that begin in March so that the leap day is last.
fn days_from_civil(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let year_of_era = year.rem_euclid(400);
    let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    era * 146_097 + day_of_era - 719_468
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reader(zone: &str, format: Option<&str>) -> TimeReader {
        TimeReader::new(Some(TimeZone::get(zone).unwrap()), format.map(str::to_owned))
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
