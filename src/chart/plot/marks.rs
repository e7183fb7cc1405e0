//! Points in a frame: dots and marks.

use plotters::element::{Circle, Polygon};
use plotters::style::{Color, RGBColor};

use crate::error::Result;

use super::super::palette::Mark;
use super::super::svg::{SCALE, drawing};
use super::{Plot, units};

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
}
