//! Axes: ranges, and ticks at round numbers, round times or names.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

use crate::units::Instant;

use super::scales::{Scales, Shown};
use super::words::signed;

const MICROS_PER_HOUR: f64 = 3_600e6;
/// Most letters of the name of a row.
pub(super) const NAME_LETTERS: usize = 28;

/// One axis of a frame.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Axis {
    /// Value at the start (left, bottom).
    pub(super) low: f64,
    /// Value at the end (right, top).
    pub(super) high: f64,
    /// Ticks: where, and what is written there.
    pub(super) ticks: Vec<(f64, String)>,
    /// What it shows, with the unit.
    pub(super) title: String,
    /// Whether faint lines cross the frame at the ticks.
    pub(super) grid: bool,
}

impl Axis {
    /// An axis that holds every finite value of `values` with a little room, at least `least` wide, with about
    /// `count` ticks at round numbers. Without a finite value it runs from 0 to 1.
    pub(super) fn around(
        values: impl IntoIterator<Item = f64>,
        least: f64,
        count: usize,
        title: impl Into<Shown>,
    ) -> Self {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.into_iter().filter(|v| v.is_finite()) {
            (low, high) = (low.min(value), high.max(value));
        }
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        let short = (least - (high - low)).max(0.0) / 2.0;
        let room = 0.04 * (high - low + 2.0 * short);
        Self::linear(low - short - room, high + short + room, count, title)
    }

    /// An axis from `low` to `high` with about `count` ticks at round numbers.
    pub(super) fn linear(low: f64, high: f64, count: usize, title: impl Into<Shown>) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        let shown: Shown = title.into();
        let ticks = ticks(shown.value(low), shown.value(high), count);
        let ticks = ticks.into_iter().map(|(tick, text)| (shown.place(tick), text)).collect();
        Self { low, high, ticks, title: shown.unit, grid: true }
    }

    /// An axis of named rows: row i stands at -i, so that the first is at the top.
    pub(super) fn names<S: AsRef<str>>(names: &[S]) -> Self {
        let ticks =
            names.iter().enumerate().map(|(i, name)| (-(i as f64), shortened(name.as_ref(), NAME_LETTERS))).collect();
        Self { low: -(names.len().max(1) as f64) + 0.4, high: 0.6, ticks, title: String::new(), grid: false }
    }

    /// An axis of time from `from` to `to` in hours of [`hours`], with at most about `count` ticks at whole
    /// hours, days, weeks or months of the reader's clock.
    pub(super) fn time(scales: &Scales, from: Instant, to: Instant, count: usize) -> Self {
        let (low, high) = (hours(from), hours(to).max(hours(from) + 1.0));
        let local = |h: f64| h + offset_h(&scales.zone, h);
        let ticks = time_ticks(local(low), local(high), count.max(2));
        let there = |local: f64| local - offset_h(&scales.zone, local - offset_h(&scales.zone, local));
        let ticks = ticks.into_iter().map(|(at, text)| (there(at), text)).collect();
        let years = |h: f64| civil(local(h)).map(|d| d.year());
        let clock = scales.clock();
        let title = match (years(low), years(high)) {
            (Some(a), Some(b)) if a == b => format!("{clock}, {a}"),
            (Some(a), Some(b)) => format!("{clock}, {a} to {b}"),
            _ => clock.to_owned(),
        };
        Self { low, high, ticks, title, grid: true }
    }

    /// True when `value` lies on the axis.
    pub(super) fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// About `count` ticks at round numbers from one value to another.
fn ticks(low: f64, high: f64, count: usize) -> Vec<(f64, String)> {
    let step = best_step(low, high, count.max(2));
    let decimals = (-(step.log10() + 1e-9).floor()).max(0.0) as usize;
    // A step of 2.5 units needs one more decimal than its size says.
    let decimals = decimals + usize::from((step * 10f64.powi(decimals as i32)).fract().abs() > 1e-6);
    let (first, last) = ((low / step - 1e-9).ceil() as i64, (high / step + 1e-9).floor() as i64);
    (first..=last).map(|i| i as f64 * step).map(|at| (at, signed(at, decimals, false))).collect()
}

/// `text` with at most `most` letters; what was longer ends in an ellipsis.
pub(super) fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(['\u{2026}']).collect()
}

/// `steps` equal steps from one value to another.
pub(super) fn evenly(from: f64, to: f64, steps: usize) -> Vec<f64> {
    (0..=steps).map(|i| from + (to - from) * i as f64 / steps as f64).collect()
}

/// Hours since 1970, UTC: the coordinate of time axes.
pub(super) fn hours(at: Instant) -> f64 {
    at.micros() as f64 / MICROS_PER_HOUR
}

/// Of the steps of 1, 2, 2.5 and 5 times a power of ten the one that gives nearest to `count` ticks; more than wanted
/// counts double, as labels would touch.
fn best_step(low: f64, high: f64, count: usize) -> f64 {
    let power = 10f64.powf(((high - low) / count as f64).log10().floor());
    let score = |step: f64| {
        let ticks = ((high / step + 1e-9).floor() - (low / step - 1e-9).ceil() + 1.0).max(0.0);
        let over = ticks - count as f64;
        // One tick alone gives no scale.
        if ticks < 2.0 { 100.0 } else { (2.0 * over).max(-over) }
    };
    let steps = [1.0, 2.0, 2.5, 5.0, 10.0].map(|lead| lead * power);
    steps.into_iter().min_by(|a, b| score(*a).total_cmp(&score(*b))).unwrap_or(power)
}

/// By how much a clock is ahead of UTC, hours.
fn offset_h(zone: &TimeZone, hours: f64) -> f64 {
    let at = Timestamp::from_microsecond((hours * MICROS_PER_HOUR) as i64);
    at.map_or(0.0, |at| f64::from(zone.to_offset(at).seconds()) / 3600.0)
}

/// The day at hours of a clock.
fn civil(hours: f64) -> Option<Date> {
    let at = Timestamp::from_microsecond((hours * MICROS_PER_HOUR) as i64).ok()?;
    Some(at.to_zoned(TimeZone::UTC).date())
}

fn time_ticks(low: f64, high: f64, count: usize) -> Vec<(f64, String)> {
    let span = high - low;
    let fits = |step: f64| span / step <= count as f64;
    if let Some(step) = [1.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0, 168.0, 336.0].into_iter().find(|s| fits(*s)) {
        // Weeks start on Monday: 1970-01-01 was a Thursday, so the first Monday is 4 days later.
        let shift = if step >= 168.0 { 96.0 } else { 0.0 };
        let (first, last) = (((low - shift) / step).ceil() as i64, ((high - shift) / step).floor() as i64);
        return (first..=last)
            .filter_map(|i| {
                let at = i as f64 * step + shift;
                let within_day = at.rem_euclid(24.0);
                let text = if within_day < 0.5 {
                    civil(at)?.strftime("%-d %b").to_string()
                } else {
                    format!("{within_day:02.0}:00")
                };
                Some((at, text))
            })
            .collect();
    }
    let months = [1i64, 2, 3, 6, 12, 24, 60, 120].into_iter().find(|m| fits(*m as f64 * 730.5)).unwrap_or(240);
    let mut ticks = Vec::new();
    let Some(start) = civil(low) else { return ticks };
    let Ok(mut date) = Date::new(start.year(), 1, 1) else { return ticks };
    while let Ok(at) = date.to_zoned(TimeZone::UTC) {
        let at = at.timestamp().as_microsecond() as f64 / MICROS_PER_HOUR;
        if at > high {
            break;
        }
        if at >= low {
            let form = if date.month() == 1 || months >= 12 { "%Y" } else { "%b" };
            ticks.push((at, date.strftime(form).to_string()));
        }
        let Ok(next) = date.checked_add(Span::new().months(months)) else { break };
        date = next;
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().map(|(_, text)| text.as_str()).collect()
    }

    #[test]
    fn ticks_stand_at_round_numbers() {
        assert_eq!(labels(&Axis::linear(1.008, 1.052, 5, "SG")), ["1.01", "1.02", "1.03", "1.04", "1.05"]);
        assert_eq!(labels(&Axis::linear(-0.0031, 0.0031, 3, "")), ["\u{2212}0.002", "0.000", "0.002"]);
        assert_eq!(labels(&Axis::linear(0.0, 10.0, 3, "")), ["0", "5", "10"]);
        assert_eq!(labels(&Axis::linear(-0.0019, 0.0018, 2, "")), ["\u{2212}0.001", "0.000", "0.001"]);
        assert_eq!(labels(&Axis::linear(0.0, 1e6, 3, "")), ["0", "500000", "1000000"]);
    }

    #[test]
    fn an_axis_holds_its_values_and_is_never_empty() {
        let one = Axis::around([1.01], 0.01, 4, "SG");
        assert!(one.holds(1.01) && one.high - one.low >= 0.01);
        let none = Axis::around([f64::NAN], 0.0, 4, "");
        assert!(none.high > none.low && !none.ticks.is_empty());
    }

    #[test]
    fn time_ticks_stand_at_midnight_monday_or_the_first() {
        let at = |text| Instant::parse(text).unwrap();
        let days = Axis::time(&Scales::of_results(), at("2031-03-03T07:00:00Z"), at("2031-03-08T07:00:00Z"), 6);
        assert_eq!(labels(&days), ["4 Mar", "5 Mar", "6 Mar", "7 Mar", "8 Mar"]);
        let weeks = Axis::time(&Scales::of_results(), at("2031-03-03T07:00:00Z"), at("2031-04-08T07:00:00Z"), 6);
        assert_eq!(labels(&weeks), ["10 Mar", "17 Mar", "24 Mar", "31 Mar", "7 Apr"]);
        let months = Axis::time(&Scales::of_results(), at("2030-11-20T00:00:00Z"), at("2031-04-08T00:00:00Z"), 6);
        assert_eq!(labels(&months), ["Dec", "2031", "Feb", "Mar", "Apr"]);
        assert_eq!(months.title, "UTC, 2030 to 2031");
        let hours = Axis::time(&Scales::of_results(), at("2031-03-03T07:00:00Z"), at("2031-03-03T23:00:00Z"), 6);
        assert_eq!(labels(&hours), ["09:00", "12:00", "15:00", "18:00", "21:00"]);
    }
}
