//! One frame with two axes, and the marks that go into it.

mod marks;

use plotters::chart::{ChartBuilder, ChartContext};
use plotters::coord::cartesian::Cartesian2d;
use plotters::coord::types::RangedCoordf64;
use plotters::element::{PathElement, Polygon, Rectangle, Text};
use plotters::prelude::SVGBackend;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontStyle, IntoFont, RGBColor, TextStyle};

use crate::error::Result;

use super::axis::Axis;
use super::clip;
use super::palette::INK;
use super::svg::{Paper, SCALE, drawing};

pub(super) use marks::LabelSide;

/// Mean width of a letter of the small words, px: a guess, as no font is at hand; generous, so that words have room.
pub(super) const LETTER: f64 = 6.4;
/// Size of the small words, px.
const SMALL: f64 = 11.0;

type Context<'p, 'b> = ChartContext<'p, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// What a frame is made of.
#[derive(Debug)]
pub(super) struct Frame {
    /// The heading of the panel.
    pub(super) title: String,
    /// The horizontal axis.
    pub(super) x: Axis,
    /// The vertical axis.
    pub(super) y: Axis,
    /// Room right of the frame, px.
    pub(super) right: u32,
    /// Least room left of the frame, px: frames above each other line up.
    pub(super) left: u32,
}

impl Frame {
    /// A frame with a heading and two axes.
    pub(super) fn new(title: impl Into<String>, x: Axis, y: Axis) -> Self {
        Self { title: title.into(), x, y, right: 10, left: 0 }
    }

    /// The same frame with room for labels at its right, px.
    pub(super) fn room_right(mut self, px: u32) -> Self {
        self.right = px;
        self
    }

    /// The same frame with at least this room at its left, px.
    pub(super) fn room_left(mut self, px: u32) -> Self {
        self.left = px;
        self
    }

    /// Draws axes and words; the marks come next.
    pub(super) fn on<'p, 'b>(self, paper: &'p Paper<'b>) -> Result<Plot<'p, 'b>> {
        let widest = self.y.ticks.iter().map(|(_, text)| text.chars().count()).max().unwrap_or(0);
        let left = ((widest as f64 * LETTER + 10.0) as u32).max(self.left);
        let mut top = if self.title.is_empty() { 0 } else { 19 };
        let above = top;
        top += if self.y.title.is_empty() { 8 } else { 20 };
        let bottom = 20 + if self.x.title.is_empty() { 0 } else { 14 };
        let chart = ChartBuilder::on(paper)
            .margin_top(top * SCALE)
            .margin_right(self.right * SCALE)
            .x_label_area_size(bottom * SCALE)
            .y_label_area_size(left * SCALE)
            .build_cartesian_2d(self.x.low..self.x.high, self.y.low..self.y.high)
            .map_err(drawing)?;
        let mut plot = Plot { paper, chart, x: self.x, y: self.y };
        plot.axes()?;
        if !self.title.is_empty() {
            plot.words(&self.title, (2.0, 2.0), 13.0, true, INK, (HPos::Left, VPos::Top))?;
        }
        if !plot.y.title.is_empty() {
            let title = plot.y.title.clone();
            plot.words(&title, (2.0, f64::from(above) + 3.0), SMALL, false, INK, (HPos::Left, VPos::Top))?;
        }
        Ok(plot)
    }
}

/// A frame that takes marks in the units of its axes.
pub(super) struct Plot<'p, 'b> {
    paper: &'p Paper<'b>,
    chart: Context<'p, 'b>,
    x: Axis,
    y: Axis,
}

impl Plot<'_, '_> {
    /// The frame in px of its paper: (left, top, right, bottom).
    pub(super) fn frame_px(&self) -> (f64, f64, f64, f64) {
        let (x, y) = self.chart.plotting_area().get_pixel_range();
        let (x0, y0) = self.paper.get_base_pixel();
        let px = |v: i32| f64::from(v) / f64::from(SCALE);
        (px(x.start - x0), px(y.start - y0), px(x.end - x0), px(y.end - y0))
    }

    fn axes(&mut self) -> Result<()> {
        let (left, top, right, bottom) = self.frame_px();
        let x_ticks: Vec<_> = self.x.ticks.iter().filter(|(at, _)| self.x.holds(*at)).cloned().collect();
        let y_ticks: Vec<_> = self.y.ticks.iter().filter(|(at, _)| self.y.holds(*at)).cloned().collect();
        for (at, text) in &x_ticks {
            let x = self.px(*at, self.y.low).0;
            if self.x.grid {
                self.stroke(&[(x, top), (x, bottom)], INK, 1.0, 0.12)?;
            }
            self.stroke(&[(x, bottom), (x, bottom + 4.0)], INK, 1.0, 0.6)?;
            // The end labels stay on the paper.
            let half = text.chars().count() as f64 * LETTER / 2.0;
            let edge = self.size_px().0;
            let middle = if edge > 2.0 * half { x.clamp(half, edge - half) } else { x };
            self.words(text, (middle, bottom + 7.0), SMALL, false, INK, (HPos::Center, VPos::Top))?;
        }
        for (at, text) in &y_ticks {
            let y = self.px(self.x.low, *at).1;
            if self.y.grid {
                self.stroke(&[(left, y), (right, y)], INK, 1.0, 0.12)?;
            }
            self.words(text, (left - 6.0, y), SMALL, false, INK, (HPos::Right, VPos::Center))?;
        }
        self.stroke(&[(left, bottom), (right, bottom)], INK, 1.0, 0.6)?;
        if !self.x.title.is_empty() {
            let title = self.x.title.clone();
            self.words(&title, (right, bottom + 21.0), SMALL, false, INK, (HPos::Right, VPos::Top))?;
        }
        Ok(())
    }

    fn size_px(&self) -> (f64, f64) {
        let (w, h) = self.paper.dim_in_pixel();
        (f64::from(w) / f64::from(SCALE), f64::from(h) / f64::from(SCALE))
    }

    /// Where a point of the axes lies, px.
    pub(super) fn px(&self, x: f64, y: f64) -> (f64, f64) {
        let (left, top, right, bottom) = self.frame_px();
        (
            left + (x - self.x.low) / (self.x.high - self.x.low) * (right - left),
            bottom - (y - self.y.low) / (self.y.high - self.y.low) * (bottom - top),
        )
    }

    /// Words at a place in px.
    pub(super) fn words(
        &self,
        text: &str,
        at: (f64, f64),
        size: f64,
        bold: bool,
        colour: RGBColor,
        (h, v): (HPos, VPos),
    ) -> Result<()> {
        let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        // plotters divides the size by 1.24 on writing.
        let font = ("sans-serif", size * 1.24 * f64::from(SCALE)).into_font();
        let font = if bold { font.style(FontStyle::Bold) } else { font };
        let style = TextStyle::from(font).color(&colour).pos(Pos::new(h, v));
        self.paper.draw(&Text::new(text, units(at), style)).map_err(drawing)
    }

    fn stroke(&self, points: &[(f64, f64)], colour: RGBColor, width: f64, alpha: f64) -> Result<()> {
        let points: Vec<_> = points.iter().map(|p| units(*p)).collect();
        let width = (width * f64::from(SCALE)).round().max(1.0) as u32;
        self.paper.draw(&PathElement::new(points, colour.mix(alpha).stroke_width(width))).map_err(drawing)
    }

    /// A line through points in the units of the axes, cut at the frame. A point that is not finite breaks it.
    pub(super) fn line(&self, points: &[(f64, f64)], colour: RGBColor, width: f64, alpha: f64) -> Result<()> {
        for run in clip::runs(points, (self.x.low, self.x.high), (self.y.low, self.y.high)) {
            let run: Vec<_> = run.into_iter().map(|(x, y)| self.px(x, y)).collect();
            self.stroke(&run, colour, width, alpha)?;
        }
        Ok(())
    }

    /// A shaded band of (x, lower, upper), cut at the frame.
    pub(super) fn band(&self, rows: &[(f64, f64, f64)], colour: RGBColor, alpha: f64) -> Result<()> {
        let y = |v: f64| v.clamp(self.y.low, self.y.high);
        let inside: Vec<_> = rows
            .iter()
            .filter(|(x, low, high)| self.x.holds(*x) && low.is_finite() && high.is_finite())
            .map(|(x, low, high)| (self.px(*x, y(*low)), self.px(*x, y(*high))))
            .collect();
        if inside.len() < 2 {
            return Ok(());
        }
        let points: Vec<_> = inside
            .iter()
            .map(|(low, _)| units(*low))
            .chain(inside.iter().rev().map(|(_, high)| units(*high)))
            .collect();
        self.paper.draw(&Polygon::new(points, colour.mix(alpha))).map_err(drawing)
    }

    /// An upright bar from `low` to `high` at x.
    pub(super) fn upright(&self, x: f64, low: f64, high: f64, colour: RGBColor, width: f64) -> Result<()> {
        self.line(&[(x, low), (x, high)], colour, width, 0.9)
    }

    /// A level bar from `low` to `high` at y.
    pub(super) fn level(&self, y: f64, low: f64, high: f64, colour: RGBColor, width: f64) -> Result<()> {
        self.line(&[(low, y), (high, y)], colour, width, 0.9)
    }

    /// A level box `thick` px high from `low` to `high` at y, cut at the frame.
    pub(super) fn bar(&self, y: f64, low: f64, high: f64, thick: f64, colour: RGBColor, alpha: f64) -> Result<()> {
        let (low, high) = (low.max(self.x.low), high.min(self.x.high));
        if !(low < high && self.y.holds(y)) {
            return Ok(());
        }
        let ((x0, cy), (x1, _)) = (self.px(low, y), self.px(high, y));
        let corners = [units((x0, cy - thick / 2.0)), units((x1, cy + thick / 2.0))];
        self.paper.draw(&Rectangle::new(corners, colour.mix(alpha).filled())).map_err(drawing)
    }

    /// A thin line across the frame at y.
    pub(super) fn rule_y(&self, y: f64) -> Result<()> {
        self.line(&[(self.x.low, y), (self.x.high, y)], INK, 1.0, 0.55)
    }

    /// A thin line down the frame at x.
    pub(super) fn rule_x(&self, x: f64) -> Result<()> {
        self.line(&[(x, self.y.low), (x, self.y.high)], INK, 1.0, 0.55)
    }

    /// Both ends of the vertical axis.
    pub(super) fn y_range(&self) -> (f64, f64) {
        (self.y.low, self.y.high)
    }

    /// Right end of the horizontal axis.
    pub(super) fn x_end(&self) -> f64 {
        self.x.high
    }

    /// A closed shape in the units of the axes, filled; it may reach over the frame.
    pub(super) fn shape(&self, points: &[(f64, f64)], colour: RGBColor, alpha: f64) -> Result<()> {
        let points: Vec<_> = points.iter().map(|(x, y)| units(self.px(*x, *y))).collect();
        self.paper.draw(&Polygon::new(points, colour.mix(alpha))).map_err(drawing)
    }
}

/// px to drawing units; held within a range that no drawing leaves, so that no later sum overflows.
fn units((x, y): (f64, f64)) -> (i32, i32) {
    let unit = |v: f64| (v * f64::from(SCALE)).round().clamp(-1e6, 1e6) as i32;
    (unit(x), unit(y))
}
