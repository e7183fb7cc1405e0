//! Pictures of curves fitted to plain numbers.

use crate::error::Result;
use crate::kinetics::{SigmoidFit, SigmoidTrait};

use super::axis::{Axis, evenly};
use super::figure::Figure;
use super::palette::{CURVE, INK};
use super::plot::Frame;
use super::svg::panel;
use super::words::{dots_outside, percent};

const WIDTH: u32 = 520;
const HEIGHT: u32 = 260;
const STEPS: usize = 160;

impl SigmoidFit {
    /// The points, the curve with its confidence band, and the wider band of one new reading.
    pub fn chart(&self) -> Result<Figure> {
        let points: Vec<(f64, f64)> = self.points().collect();
        let low = points.first().map_or(0.0, |p| p.0);
        let high = points.last().map_or(1.0, |p| p.0);
        let at = evenly(low, high, STEPS);
        // Without a trait that can be had there is no level, and no band.
        let level = SigmoidTrait::ALL.into_iter().find_map(|which| self.finding(which).estimate()).map(|e| e.level);
        let bands = match level {
            Some(level) => vec![(self.prediction(&at, 1.0, level)?, 0.12), (self.band(&at, level)?, 0.3)],
            None => Vec::new(),
        };
        let y = Axis::around(points.iter().map(|p| p.1).chain(at.iter().map(|x| self.value(*x))), 0.0, 5, "y");
        let mut outside = 0;
        let drawn = panel(WIDTH, HEIGHT, |paper| {
            let plot = Frame::new("", Axis::linear(low, high, 6, "x"), y).room_right(14).on(paper)?;
            for (rows, alpha) in &bands {
                let rows: Vec<_> = at.iter().zip(rows).map(|(x, e)| (*x, e.lower, e.upper)).collect();
                plot.band(&rows, CURVE, *alpha)?;
            }
            outside = plot.dots(points, INK, 1.8, 0.7)?;
            plot.line(&at.iter().map(|x| (*x, self.value(*x))).collect::<Vec<_>>(), CURVE, 2.0, 1.0)
        })?;
        let beyond = dots_outside(outside).map_or_else(String::new, |words| format!(" {words}"));
        let caption = format!(
            "Line: {} curve; inner band: where the curve may be, outer: one new reading, both {}.{beyond}",
            self.kind,
            level.map_or_else(|| "left out".to_owned(), percent)
        );
        Ok(Figure::new(format!("{} curve", self.kind), "Points with a fitted curve and its bands.", vec![drawn])
            .with_caption(caption))
    }
}
