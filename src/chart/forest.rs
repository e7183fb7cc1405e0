//! Estimates with their intervals, one named row each.

use plotters::style::RGBColor;

use crate::error::Result;
use crate::fit::Finding;

use super::axis::{Axis, NAME_LETTERS};
use super::palette::{INK, Mark};
use super::plot::{Frame, LETTER, LabelSide};
use super::scales::Shown;
use super::svg::{Panel, WIDEST, panel};

/// Room that a tick with its number takes, px.
const TICK_PX: f64 = 60.0;

/// One row.
pub(super) struct ForestRow<'a> {
    name: String,
    finding: &'a Finding,
    colour: RGBColor,
    mark: Mark,
    beside: Vec<(f64, Mark)>,
}

impl<'a> ForestRow<'a> {
    pub(super) fn new(name: &str, finding: &'a Finding, colour: RGBColor, mark: Mark) -> Self {
        Self { name: name.to_owned(), finding, colour, mark, beside: Vec::new() }
    }

    /// The same with further values of it, in ink and without intervals.
    pub(super) fn beside(mut self, values: impl IntoIterator<Item = (Option<f64>, Mark)>) -> Self {
        self.beside = values.into_iter().filter_map(|(value, mark)| Some((value?, mark))).collect();
        self
    }
}

/// Rows of intervals under each other, first row at the top. `marked` are values that get a line down the frame and
/// lie on the axis. A row without an estimate says so where its bar would be.
pub(super) fn forest(title: &str, unit: Shown, rows: &[ForestRow<'_>], marked: &[f64], width: u32) -> Result<Panel> {
    let width = width.min(WIDEST);
    let names: Vec<&str> = rows.iter().map(|row| row.name.as_str()).collect();
    let ends = rows.iter().filter_map(|row| row.finding.estimate()).flat_map(|e| [e.lower, e.value, e.upper]);
    let held = rows.iter().flat_map(|row| row.finding.value().into_iter().chain(row.beside.iter().map(|(x, _)| *x)));
    // Long names leave little room for the scale: no more ticks than stand apart.
    let longest = names.iter().map(|name| name.chars().count()).max().unwrap_or(0).min(NAME_LETTERS);
    let room_px = f64::from(width) - LETTER * longest as f64 - 24.0;
    let ticks = (room_px / TICK_PX).floor().clamp(2.0, 4.0) as usize;
    let x = Axis::around(ends.chain(held).chain(marked.iter().copied()), 0.0, ticks, unit);
    let height = 62 + 22 * rows.len() as u32 + if title.is_empty() { 0 } else { 19 };
    panel(width, height, |paper| {
        let plot = Frame::new(title, x.clone(), Axis::names(&names)).room_right(14).on(paper)?;
        for value in marked {
            plot.rule_x(*value)?;
        }
        for (i, row) in rows.iter().enumerate() {
            let y = -(i as f64);
            for (value, mark) in &row.beside {
                plot.mark(*value, y, *mark, INK, 7.0)?;
            }
            match row.finding {
                Finding::Estimated(e) => {
                    plot.level(y, e.lower, e.upper, row.colour, 2.2)?;
                    plot.mark(e.value, y, row.mark, row.colour, 8.0)?;
                }
                Finding::Fixed { value, .. } => {
                    plot.mark(*value, y, Mark::Ring, INK, 8.0)?;
                    plot.label(*value, y, LabelSide::Right, "held", INK)?;
                }
                Finding::NotEstimable { .. } => plot.label(x.low, y, LabelSide::Right, "not estimable", INK)?,
            }
        }
        Ok(())
    })
}
