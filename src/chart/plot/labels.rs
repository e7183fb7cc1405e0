//! Small words in a frame and beside it.

use plotters::style::RGBColor;
use plotters::style::text_anchor::{HPos, VPos};

use crate::error::Result;

use super::super::palette::INK;
use super::{Plot, SMALL};

/// Where a label stands beside its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::chart) enum LabelSide {
    /// Begins right of it.
    Right,
    /// Stands above it.
    Above,
}

impl Plot<'_, '_> {
    /// A small label beside a point; nothing when the point lies outside the frame.
    pub(in crate::chart) fn label(&self, x: f64, y: f64, side: LabelSide, text: &str, colour: RGBColor) -> Result<()> {
        if !(self.x.holds(x) && self.y.holds(y)) {
            return Ok(());
        }
        let (cx, cy) = self.px(x, y);
        let (at, anchor) = match side {
            LabelSide::Right => ((cx + 7.0, cy), (HPos::Left, VPos::Center)),
            LabelSide::Above => ((cx, cy - 6.0), (HPos::Center, VPos::Bottom)),
        };
        self.words(text, at, SMALL, false, colour, anchor)
    }

    /// A small label at the top of the frame, left of x, for a line down the frame.
    pub(in crate::chart) fn flag_label(&self, x: f64, text: &str) -> Result<()> {
        if !self.x.holds(x) {
            return Ok(());
        }
        let (cx, cy) = self.px(x, self.y.high);
        self.words(text, (cx - 4.0, cy + 2.0), SMALL, false, INK, (HPos::Right, VPos::Top))
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
