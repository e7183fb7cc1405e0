//! Points in a frame, and small words in it and beside it.

use plotters::element::{Circle, Polygon};
use plotters::style::text_anchor::{HPos, VPos};
use plotters::style::{Color, RGBColor};

use crate::error::Result;

use super::super::palette::{INK, Mark};
use super::super::svg::{SCALE, drawing};
use super::{LETTER, Plot, SMALL, units};

/// Where a label stands beside its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::chart) enum LabelSide {
    /// Begins right of it.
    Right,
    /// Stands above it.
    Above,
    /// Stands below it.
    Below,
}

impl Plot<'_, '_> {
    /// Small dots; gives back how many lie outside the frame and were not drawn.
    pub(in crate::chart) fn dots(
        &self,
        points: impl IntoIterator<Item = (f64, f64)>,
        colour: RGBColor,
        radius: f64,
        alpha: f64,
    ) -> Result<usize> {
        let radius = (radius * f64::from(SCALE)).round() as i32;
        self.each_inside(points, |x, y| {
            let dot = Circle::new(units(self.px(x, y)), radius, colour.mix(alpha).filled());
            self.paper.draw(&dot).map_err(drawing)
        })
    }

    /// Marks of one kind; gives back how many lie outside the frame and were not drawn.
    pub(in crate::chart) fn marks(
        &self,
        points: impl IntoIterator<Item = (f64, f64)>,
        mark: Mark,
        colour: RGBColor,
        size: f64,
    ) -> Result<usize> {
        self.each_inside(points, |x, y| self.mark(x, y, mark, colour, size))
    }

    /// Draws the points that lie in the frame; gives back how many do not.
    fn each_inside(
        &self,
        points: impl IntoIterator<Item = (f64, f64)>,
        draw: impl Fn(f64, f64) -> Result<()>,
    ) -> Result<usize> {
        let mut outside = 0;
        for (x, y) in points {
            if self.x.holds(x) && self.y.holds(y) {
                draw(x, y)?;
            } else {
                outside += 1;
            }
        }
        Ok(outside)
    }

    /// A mark of about `size` px; nothing when it lies outside the frame.
    pub(in crate::chart) fn mark(&self, x: f64, y: f64, mark: Mark, colour: RGBColor, size: f64) -> Result<()> {
        if !(self.x.holds(x) && self.y.holds(y)) {
            return Ok(());
        }
        let (cx, cy) = self.px(x, y);
        let r = size / 2.0;
        let thick = (1.6f64.min(0.25 * size) * f64::from(SCALE)).round() as u32;
        let polygon = |corners: &[(f64, f64)]| {
            let corners: Vec<_> = corners.iter().map(|(dx, dy)| units((cx + dx * r, cy + dy * r))).collect();
            self.paper.draw(&Polygon::new(corners, colour)).map_err(drawing)
        };
        let radius = (r * f64::from(SCALE)).round() as i32;
        match mark {
            Mark::Disc => self.paper.draw(&Circle::new(units((cx, cy)), radius, colour.filled())).map_err(drawing),
            Mark::Ring => {
                self.paper.draw(&Circle::new(units((cx, cy)), radius, colour.stroke_width(thick))).map_err(drawing)
            }
            Mark::Diamond => polygon(&[(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)]),
            Mark::Square => polygon(&[(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)]),
            Mark::Triangle => polygon(&[(0.0, -1.2), (1.1, 0.8), (-1.1, 0.8)]),
            Mark::Cross => {
                self.stroke(&[(cx - r, cy - r), (cx + r, cy + r)], colour, 1.6, 1.0)?;
                self.stroke(&[(cx - r, cy + r), (cx + r, cy - r)], colour, 1.6, 1.0)
            }
        }
    }

    /// A small label beside a point; nothing when the point lies outside the frame.
    pub(in crate::chart) fn label(&self, x: f64, y: f64, side: LabelSide, text: &str, colour: RGBColor) -> Result<()> {
        if !(self.x.holds(x) && self.y.holds(y)) {
            return Ok(());
        }
        let (cx, cy) = self.px(x, y);
        let middle = cx.min(self.size_px().0 - text.chars().count() as f64 * LETTER / 2.0);
        let (at, anchor) = match side {
            LabelSide::Right => ((cx + 7.0, cy), (HPos::Left, VPos::Center)),
            LabelSide::Above => ((middle, cy - 6.0), (HPos::Center, VPos::Bottom)),
            LabelSide::Below => ((middle, cy + 5.0), (HPos::Center, VPos::Top)),
        };
        self.words(text, at, SMALL, false, colour, anchor)
    }

    /// A small label at the top of the frame, left of x, for a line down the frame.
    pub(in crate::chart) fn flag_label(&self, x: f64, text: &str) -> Result<()> {
        if !self.x.holds(x) {
            return Ok(());
        }
        let (cx, cy) = self.px(x, self.y.high);
        // Right of the line where there is no room left of it.
        let room = cx - self.frame_px().0 > text.chars().count() as f64 * LETTER;
        let (at, side) = if room { (cx - 4.0, HPos::Right) } else { (cx + 4.0, HPos::Left) };
        self.words(text, (at, cy + 2.0), SMALL, false, INK, (side, VPos::Top))
    }

    /// A small label above the frame, over x.
    pub(in crate::chart) fn above_frame(&self, x: f64, text: &str) -> Result<()> {
        let (cx, top) = self.px(x, self.y.high);
        self.words(text, (cx, top - 4.0), SMALL, false, INK, (HPos::Center, VPos::Bottom))
    }

    /// Small words at the right of the heading's line.
    pub(in crate::chart) fn note(&self, text: &str) -> Result<()> {
        self.words(text, (self.frame_px().2, 4.0), SMALL, false, INK, (HPos::Right, VPos::Top))
    }

    /// A small word right of the frame at a height in px, behind a dash in the colour of what it names.
    pub(in crate::chart) fn margin_key(&self, y_px: f64, text: &str, colour: RGBColor) -> Result<()> {
        let right = self.frame_px().2;
        self.stroke(&[(right + 3.0, y_px), (right + 11.0, y_px)], colour, 2.4, 1.0)?;
        self.words(text, (right + 14.0, y_px), SMALL, false, INK, (HPos::Left, VPos::Center))
    }

    /// A small label right of the frame at the height of y.
    pub(in crate::chart) fn margin_label(&self, y: f64, text: &str) -> Result<()> {
        let right = self.frame_px().2;
        let cy = self.px(self.x.low, y).1;
        self.words(text, (right + 6.0, cy), SMALL, false, INK, (HPos::Left, VPos::Center))
    }
}
