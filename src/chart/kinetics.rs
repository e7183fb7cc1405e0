//! Pictures of fermentation curves.

use std::collections::BTreeSet;

use crate::error::Result;
use crate::fit::Finding;
use crate::forecast::{Forecast, Quantiles};
use crate::gravity::GravitySeries;
use crate::kinetics::{BatchFit, BatchPoint, Kinetics, PointSource, Trait};
use crate::season::Flags;
use crate::units::{HOURS_PER_DAY, Instant};

use super::axis::{Axis, evenly, shortened};
use super::figure::Figure;
use super::palette::{AHEAD, CURVE, INK, LOOK, Mark, PROBES, REFERENCE};
use super::plot::{Frame, LabelSide, Plot};
use super::scales::{Scales, Shown};
use super::svg::{Panel, SCALE, WIDEST, panel};
use super::thin;
use super::words::{dots_outside, percent};

/// What axes of gravity say.
const GRAVITY: &str = "SG at 20 \u{b0}C";
const HEIGHT: u32 = 290;
const STRIP: u32 = 96;
/// Room for the labels of both frames, so that they line up.
const LEFT: u32 = 48;
/// Most panels of the overview.
const MOST: usize = 120;
/// Most flagged readings that are marked.
const MOST_FLAGGED: usize = 120;
/// Steps of a drawn curve.
const STEPS: usize = 160;
/// Opacity of readings before the correction for drift.
const PALE: f64 = 0.15;

impl BatchFit {
    /// The gravities that were fitted and the curve with its confidence band.
    #[doc = example!(study "study.kinetics()?.batch(batch)?.chart()?;")]
    pub fn chart(&self) -> Result<Figure> {
        self.chart_with(None, None)
    }

    /// The same with the readings and the temperature of the series, and with the interval of a forecast.
    #[doc = example!(study "study.kinetics()?.batch(batch)?.chart_with(study.series(batch).ok(), None)?;")]
    pub fn chart_with(&self, series: Option<&GravitySeries>, forecast: Option<&Forecast>) -> Result<Figure> {
        self.chart_on(&Scales::of_results(), series, forecast)
    }

    pub(crate) fn chart_on(
        &self,
        scales: &Scales,
        series: Option<&GravitySeries>,
        forecast: Option<&Forecast>,
    ) -> Result<Figure> {
        if self.points.is_empty() && series.is_none_or(|s| s.hours.is_empty() && s.samples.is_empty()) {
            return Ok(Figure::new("", self.in_words(scales), Vec::new()));
        }
        let finish = forecast.and_then(|f| Some((f.finish?, f.terminal_sg?)));
        let to = self.end_d(series, finish.as_ref().map(|(q, _)| q.p95.days_since(self.pitched_at)));
        let temps: Vec<(f64, f64)> = series
            .map(|s| thin::medians(s.hours.iter().map(|h| h / HOURS_PER_DAY).zip(s.temp_c.iter().copied()), 220))
            .unwrap_or_default();
        let below = if temps.is_empty() { 0 } else { STRIP };
        let mut outside = 0;
        let drawn = panel(WIDEST, HEIGHT + below, |paper| {
            let (upper, lower) = paper.split_vertically(HEIGHT * SCALE);
            let x = Axis::linear(0.0, to, 6, if temps.is_empty() { "days from pitching" } else { "" });
            let y = self.gravity_axis(scales.gravity(GRAVITY), series, finish.as_ref().map(|(_, t)| t));
            let plot = Frame::new("", x.clone(), y).room_left(LEFT).room_right(14).on(&upper)?;
            outside = self.draw(&plot, series, 220, to)?;
            if let Some((q, terminal)) = &finish {
                self.draw_forecast(&plot, q, terminal)?;
            }
            if !temps.is_empty() {
                let x = Axis { title: "days from pitching".to_owned(), ..x };
                let y = Axis::around(temps.iter().map(|t| t.1), 4.0, 3, scales.temperature("temperature, \u{b0}C"));
                let strip = Frame::new("", x, y).room_left(LEFT).room_right(14).on(&lower)?;
                for run in thin::without_gaps(&temps, (to / 40.0).max(0.3)) {
                    strip.line(run, INK, 1.3, 0.8)?;
                }
            }
            Ok(())
        })?;
        Ok(Figure::new(format!("{} \u{b7} {}", self.batch, self.strain), self.in_words(scales), vec![drawn])
            .with_caption(self.caption(scales, outside, series, forecast.filter(|_| finish.is_some()))))
    }

    /// Right end of the picture, days from pitching.
    fn end_d(&self, series: Option<&GravitySeries>, finish_p95: Option<f64>) -> f64 {
        let data = (self.last_point(series) / HOURS_PER_DAY).max(1.0);
        // A very late end of a forecast must not press the data into a corner.
        let ahead = finish_p95.unwrap_or(0.0).min(2.5 * data + 3.0);
        1.02 * data.max(ahead)
    }

    /// Level of the intervals of its traits, where it has some.
    pub(super) fn level(&self) -> Option<f64> {
        self.traits.iter().find_map(Finding::estimate).map(|e| e.level)
    }

    /// The last data of any kind, hours from pitching.
    fn last_point(&self, series: Option<&GravitySeries>) -> f64 {
        let last_reading = series.and_then(|s| s.hours.last().copied()).unwrap_or(0.0);
        self.points.iter().map(|p| p.hours).fold(last_reading.max(self.last_hours), f64::max)
    }

    fn gravity_axis(&self, shown: Shown, series: Option<&GravitySeries>, terminal: Option<&Quantiles<f64>>) -> Axis {
        let points = self.points.iter().filter(|p| p.weight > 0.1).map(|p| p.sg);
        let ends = terminal.into_iter().flat_map(|q| [q.p05, q.p95]);
        let samples = series.into_iter().flat_map(|s| s.samples.iter().map(|x| x.sg));
        let curve = self.fitted.iter().flat_map(|f| [f.curve.original_sg, f.timed().sg(self.last_hours)]);
        Axis::around(points.chain(samples).chain(ends).chain(curve), 0.01, 6, shown)
    }

    /// Readings (or the means that were fitted), samples, curve and band; gives back how many dots lie outside.
    fn draw(&self, plot: &Plot<'_, '_>, series: Option<&GravitySeries>, bins: usize, to_d: f64) -> Result<usize> {
        let mut outside = 0;
        for (i, offset) in self.offsets.iter().enumerate() {
            let mark = PROBES[i % PROBES.len()].1;
            // Larger marks need more room.
            let bins = if mark == Mark::Disc { bins } else { bins / 3 };
            let dots = match series.and_then(|s| Some((s, s.probes.iter().position(|p| p.probe == offset.probe)?))) {
                Some((s, of)) => {
                    let read = readings(s, &s.sg, of, bins);
                    let corrected = readings(s, &s.corrected_sg, of, bins);
                    if corrected.is_empty() || corrected == read {
                        read
                    } else {
                        plot.dots(read, INK, 1.5, PALE)?;
                        corrected
                    }
                }
                None => {
                    let of_probe = self.points.iter().filter(|p| p.source == PointSource::Probe(i));
                    thin::medians(of_probe.map(|p| (p.hours / HOURS_PER_DAY, p.sg)), bins)
                }
            };
            outside += match mark {
                Mark::Disc => plot.dots(dots, INK, 1.5, 0.55)?,
                mark => plot.marks(dots, mark, INK, 4.0)?,
            };
        }
        if let Some(series) = series {
            let (low, high) = plot.y_range();
            for hours in series.held_spans() {
                let (from, to) = (hours.0 / HOURS_PER_DAY, hours.1 / HOURS_PER_DAY);
                plot.band(&[(from, low, high), (to, low, high)], LOOK, 0.14)?;
            }
            plot.dots(series.held.iter().map(|held| (held.hours / HOURS_PER_DAY, held.sg)), LOOK, 1.5, 0.5)?;
            for sample in &series.doubted {
                plot.mark(sample.hours / HOURS_PER_DAY, sample.sg, Mark::Cross, REFERENCE, 9.0)?;
            }
            for (hours, sg) in self.flagged(series) {
                plot.mark(hours / HOURS_PER_DAY, sg, Mark::Cross, LOOK, 4.5)?;
            }
        }
        if let Some(fitted) = &self.fitted {
            let table = fitted.timed();
            let times = evenly(0.0, to_d * HOURS_PER_DAY, STEPS);
            if let Some(level) = self.level() {
                let rows = times.iter().zip(self.band(&times, level)?);
                let band: Vec<_> = rows.map(|(h, at)| (h / HOURS_PER_DAY, at.lower, at.upper)).collect();
                plot.band(&band, CURVE, 0.22)?;
            }
            for (from, to, alpha) in [(0.0, self.last_hours, 1.0), (self.last_hours, to_d * HOURS_PER_DAY, 0.45)] {
                let times = evenly(from, to, STEPS).into_iter();
                let line: Vec<_> = times.map(|h| (h / HOURS_PER_DAY, table.sg(h))).collect();
                plot.line(&line, CURVE, 2.0, alpha)?;
            }
        }
        // A batch with an end is over; only in one that still runs the schedule lies ahead.
        let ahead = |hours: f64| self.ended_hours.is_none() && hours > self.last_point(series);
        let cooled = self.cooled_hours.map(|hours| (hours, if ahead(hours) { "to be cooled" } else { "cooled" }));
        for (hours, label) in cooled.into_iter().chain(self.ended_hours.map(|hours| (hours, "ended"))) {
            plot.rule_x(hours / HOURS_PER_DAY)?;
            if series.is_some() {
                plot.flag_label(hours / HOURS_PER_DAY, label)?;
            }
        }
        for (hours, sg, sd) in self.samples(series) {
            plot.upright(hours / HOURS_PER_DAY, sg - 2.0 * sd, sg + 2.0 * sd, REFERENCE, 1.6)?;
            plot.mark(hours / HOURS_PER_DAY, sg, Mark::Diamond, REFERENCE, 7.0)?;
        }
        Ok(outside)
    }

    fn draw_forecast(&self, plot: &Plot<'_, '_>, finish: &Quantiles<Instant>, terminal: &Quantiles<f64>) -> Result<()> {
        let day = |at: Instant| at.days_since(self.pitched_at);
        let (from, to) = (day(finish.p05), day(finish.p95));
        plot.band(
            &[(from, terminal.p05, terminal.p95), (plot.x_end().min(to), terminal.p05, terminal.p95)],
            AHEAD,
            0.2,
        )?;
        plot.level(terminal.p50, from, to, AHEAD, 2.0)?;
        plot.mark(day(finish.p50), terminal.p50, Mark::Triangle, AHEAD, 9.0)?;
        plot.label(day(finish.p50), terminal.p50, LabelSide::Below, "at rest", AHEAD)
    }

    /// (hours, SG) of readings flagged as outliers, thinned.
    fn flagged(&self, series: &GravitySeries) -> Vec<(f64, f64)> {
        let outliers: BTreeSet<usize> =
            self.flags.iter().filter(|(_, flag)| flag.intersects(Flags::OUTLIER)).map(|(row, _)| *row).collect();
        let step = outliers.len().div_ceil(MOST_FLAGGED).max(1);
        let shown = if series.corrected_sg.is_empty() { &series.sg } else { &series.corrected_sg };
        let rows = series.rows.iter().zip(series.hours.iter().zip(shown));
        let marked = rows.filter(|(row, _)| outliers.contains(row)).map(|(_, (hours, sg))| (*hours, *sg));
        marked.step_by(step).collect()
    }

    /// (hours, SG, standard deviation) of the samples.
    fn samples(&self, series: Option<&GravitySeries>) -> Vec<(f64, f64, f64)> {
        match series {
            Some(series) => {
                let original = series.original_sg.map(|(sg, sd)| (0.0, sg, sd));
                original.into_iter().chain(series.samples.iter().map(|s| (s.hours, s.sg, s.sd))).collect()
            }
            None => {
                let sample = |p: &&BatchPoint| matches!(p.source, PointSource::Sample(_));
                self.points.iter().filter(sample).map(|p| (p.hours, p.sg, p.own_sd.hypot(p.shared_sd))).collect()
            }
        }
    }

    fn caption(
        &self,
        scales: &Scales,
        outside: usize,
        series: Option<&GravitySeries>,
        forecast: Option<&Forecast>,
    ) -> String {
        let one = self.offsets.len() < 2;
        let points = if one { "Dots" } else { "Points in grey and black" };
        let level = self.level().map_or_else(String::new, percent);
        let corrected = series.is_some_and(|s| !s.corrected_sg.is_empty() && s.corrected_sg != s.sg);
        let drift = if corrected { ", corrected for drift. Pale ones are as read" } else { "" };
        let mut parts = vec![format!("{points} are readings, thinned{drift}.")];
        let outliers = series.filter(|s| !self.flagged(s).is_empty()).map(|_| "Crosses are outliers.".to_owned());
        let held = series.filter(|s| !s.held.is_empty());
        parts.extend(outliers.into_iter().chain(held.map(|_| "In shaded hours something held the probe.".to_owned())));
        parts.push(format!(
            "Ochre diamonds are samples, with bars of two standard deviations. The line is the fitted curve with its {level} \
             band, paler beyond the data."
        ));
        parts.extend(forecast.map(|forecast| {
            let level = percent(forecast.level());
            format!("Triangle and shaded field: where and when it comes to rest, {level}.")
        }));
        let shown = scales.difference("SG");
        let n = shown.decimals(4);
        for (offset, (shape, _)) in self.offsets.iter().zip(PROBES.into_iter().cycle()) {
            let dots = if one { String::new() } else { format!(" ({shape})") };
            let reads = match offset.offset_sg.estimate().map(|e| (e.value, shown.estimate(e))) {
                Some((sg, e)) if sg.abs() < 0.000_05 => format!(" reads true in this batch, \u{b1} {:.n$}", e.se),
                Some((sg, e)) => {
                    let how = if sg < 0.0 { "low" } else { "high" };
                    format!(
                        " reads {:.n$} \u{b1} {:.n$} {} {how} in this batch on average",
                        e.value.abs(),
                        e.se,
                        shown.unit
                    )
                }
                None if one => continue,
                None => String::new(),
            };
            parts.push(format!("{}{dots}{reads}.", offset.probe));
        }
        for step in &self.steps {
            if let Some(e) = step.step_sg.estimate().filter(|e| e.lower > 0.0 || e.upper < 0.0) {
                let how = if e.value < 0.0 { "lower" } else { "higher" };
                let (probe, e, day) = (&step.probe, shown.estimate(e), step.hours / HOURS_PER_DAY);
                let by = e.value.abs();
                parts.push(format!("{probe} reads {by:.n$} \u{b1} {:.n$} {how} from day {day:.1} on.", e.se));
            }
        }
        parts.extend(dots_outside(outside));
        parts.join(" ")
    }

    fn in_words(&self, scales: &Scales) -> String {
        let mut words = format!("Gravity of batch {} over time, {}.", self.batch, self.state_in_words());
        for (which, name) in [(Trait::OriginalSg, "Original"), (Trait::TerminalSg, "Terminal")] {
            if let Some(e) = self.finding(which).estimate() {
                let (shown, n) = (scales.of(which), scales.of(which).decimals(4));
                let e = shown.estimate(e);
                words.push_str(&format!(" {name} gravity {:.n$} \u{b1} {:.n$}.", e.value, e.se));
            }
        }
        words
    }
}

/// (days, SG) of one probe's readings, thinned; `sg` is a layer of the series.
fn readings(series: &GravitySeries, sg: &[f64], probe: usize, bins: usize) -> Vec<(f64, f64)> {
    let rows = series.hours.iter().zip(sg).zip(&series.probe).filter(|(_, of)| **of as usize == probe);
    thin::medians(rows.map(|((hours, sg), _)| (hours / HOURS_PER_DAY, *sg)), bins)
}

impl Kinetics {
    pub(crate) fn chart_on(&self, scales: &Scales) -> Result<Figure> {
        let sgs = self.batches.iter().flat_map(|b| b.points.iter().filter(|p| p.weight > 0.1).map(|p| p.sg));
        let y = Axis::around(sgs, 0.01, 3, scales.gravity(GRAVITY));
        let longest = self.batches.iter().map(|batch| batch.end_d(None, None)).fold(1.0, f64::max);
        let x = Axis::linear(0.0, longest, 3, "days");
        let left_out = self.batches.len().saturating_sub(MOST);
        let shown = self.batches.iter().skip(left_out);
        let panels = shown.map(|batch| batch.small_panel(x.clone(), y.clone())).collect::<Result<Vec<_>>>()?;
        let note = if left_out > 0 { format!(" The first {left_out} batches are not drawn.") } else { String::new() };
        let alt = format!("Gravity over time of {} batches, each with its fitted curve.", self.batches.len());
        Ok(Figure::new("All batches", alt, panels).with_caption(format!(
            "Gravity over days from pitching. Dots: readings, thinned. Ochre diamonds: samples. Line: fitted curve with \
             its {} band. Upright lines: cooling and end.{note}",
            self.batches.iter().find_map(BatchFit::level).map_or_else(String::new, percent)
        )))
    }
}

impl BatchFit {
    fn small_panel(&self, x: Axis, y: Axis) -> Result<Panel> {
        panel(157, 134, |paper| {
            let title = shortened(&format!("{} {}", self.batch, self.strain), 20);
            let high = self.end_d(None, None).min(x.high);
            let y = Axis { title: self.state_in_words().to_owned(), ..y };
            self.draw(&Frame::new(title, x, y).on(paper)?, None, 60, high).map(drop)
        })
    }
}
