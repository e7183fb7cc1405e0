//! Pictures of forecasts.

use std::cmp::Reverse;

use crate::error::Result;
use crate::forecast::{Forecast, Forecasts};
use crate::units::Instant;

use super::axis::{Axis, NAME_LETTERS, hours};
use super::figure::Figure;
use super::palette::{AHEAD, INK, Mark};
use super::plot::{Frame, LETTER, LabelSide};
use super::scales::Scales;
use super::svg::{WIDEST, panel};
use super::words::{minute, percent};

/// Room for the chances, px.
const RIGHT: u32 = 74;
/// Most rows of the picture.
const MOST: usize = 20;

impl Forecasts {
    pub(crate) fn chart_on(&self, scales: &Scales) -> Result<Figure> {
        let mut rows: Vec<&Forecast> = self.rows.iter().collect();
        rows.sort_by_key(|row| (Reverse(row.as_of), row.finish.is_none(), row.finish.map(|q| q.p50)));
        let left_out = rows.len().saturating_sub(MOST);
        rows.truncate(MOST);
        let names: Vec<&str> = rows.iter().map(|row| row.batch.as_str()).collect();
        let finishes: Vec<Instant> = rows.iter().filter_map(|r| r.finish).flat_map(|q| [q.p05, q.p95]).collect();
        let moments = || rows.iter().map(|row| row.as_of).chain(finishes.iter().copied());
        let (Some(from), Some(to)) = (moments().min(), moments().max()) else {
            return Ok(Figure::new("What finishes when", "No batch is running.", Vec::new()));
        };
        let room = 0.03 * to.hours_since(from).max(24.0);
        let letters = names.iter().map(|name| name.chars().count().min(NAME_LETTERS)).max().unwrap_or(0);
        // A day and its month take seven letters or so.
        let ticks = (f64::from(WIDEST - RIGHT) / LETTER - letters as f64) / 7.0;
        let drawn = panel(WIDEST, 64 + 30 * rows.len() as u32, |paper| {
            let x = Axis::time(scales, from.plus_hours(-room), to.plus_hours(room), ticks as usize);
            let low = x.low;
            let plot = Frame::new("", x, Axis::names(&names)).room_right(RIGHT).on(paper)?;
            plot.margin_label(0.6, "ready:")?;
            for (i, row) in rows.iter().enumerate() {
                let y = -(i as f64);
                let now = hours(row.as_of);
                plot.line(&[(now, y - 0.42), (now, y + 0.42)], INK, 1.5, 0.7)?;
                match row.finish {
                    Some(q) => {
                        plot.level(y, hours(q.p05), hours(q.p95), AHEAD, 2.0)?;
                        plot.bar(y, hours(q.p25), hours(q.p75), 11.0, AHEAD, 0.75)?;
                        plot.mark(hours(q.p50), y, Mark::Disc, INK, 6.0)?;
                    }
                    None => plot.label(low.max(now), y, LabelSide::Right, "no forecast", INK)?,
                }
                if let Some(p) = row.p_ready {
                    plot.margin_label(y, &percent(p))?;
                }
            }
            Ok(())
        })?;
        let alt = rows.iter().map(|row| in_words(row, scales)).collect::<Vec<_>>().join(" ");
        let left_out = if left_out > 0 { format!(" {left_out} more forecasts are not drawn.") } else { String::new() };
        Ok(Figure::new("What finishes when", alt, vec![drawn]).with_caption(format!(
            "Dot: rest comes as likely before it as after it. Thick bar: holds rest with 50 %. Thin bar: with {}. Upright line: the moment of \
             the forecast. At the right: how likely the batch is at rest and not stuck at that moment. A forecast is \
             never permission to package.{left_out}",
            rows.first().map_or_else(String::new, |row| percent(row.level())),
        )))
    }
}

impl Forecast {
    /// How likely the batch comes to rest when, between two moments: the area of each step is the probability between two
    /// quantiles.
    pub(crate) fn chart(&self, from: Instant, to: Instant, scales: &Scales) -> Result<Figure> {
        let Some(q) = self.finish else { return Ok(Figure::new("", in_words(self, scales), Vec::new())) };
        let tail = 0.5 * self.level() - 0.25;
        let quarters = [(q.p05, q.p25, tail), (q.p25, q.p50, 0.25), (q.p50, q.p75, 0.25), (q.p75, q.p95, tail)];
        let steps = quarters.map(|(a, b, p)| (hours(a), hours(b), p / b.hours_since(a).max(1.0)));
        let highest = steps.iter().map(|(.., density)| *density).fold(0.0, f64::max);
        let room = 0.03 * to.hours_since(from).max(24.0);
        let drawn = panel(WIDEST, 48, |paper| {
            let x = Axis { title: String::new(), ..Axis::time(scales, from.plus_hours(-room), to.plus_hours(room), 5) };
            let y = Axis { low: 0.0, high: 1.1 * highest, ticks: Vec::new(), title: String::new(), grid: false };
            let plot = Frame::new("", x, y).room_left(10).on(paper)?;
            for (a, b, density) in steps {
                plot.shape(&[(a, 0.0), (a, density), (b, density), (b, 0.0)], AHEAD, 0.75)?;
            }
            plot.rule_x(hours(self.as_of))
        })?;
        Ok(Figure::new("", in_words(self, scales), vec![drawn]))
    }
}

fn in_words(row: &Forecast, scales: &Scales) -> String {
    match row.finish {
        Some(q) => {
            let [from, about, to] = [q.p05, q.p50, q.p95].map(|at| minute(at, &scales.zone));
            let level = percent(row.level());
            format!("{} comes to rest about {about}, between {from} and {to} with {level} probability.", row.batch)
        }
        None => format!("{}: no forecast.", row.batch),
    }
}
