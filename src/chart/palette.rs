//! Colours and marks. Every series differs by shape or by a written label as well as by colour.

use plotters::style::RGBColor;

/// Stands for the colour of the text around the picture; replaced by `currentColor` when the SVG is finished.
pub(super) const INK: RGBColor = RGBColor(1, 2, 3);
/// How the backend writes [`INK`].
pub(super) const INK_TEXT: &str = "\"#010203\"";

/// Fitted curves and their bands.
pub(super) const CURVE: RGBColor = RGBColor(0x2f, 0x74, 0xd0);
/// Samples, baths and checks: what was measured apart from the probe.
pub(super) const REFERENCE: RGBColor = RGBColor(0xbf, 0x84, 0x10);
/// What lies ahead or is at rest as it should: forecasts, observed finishes.
pub(super) const AHEAD: RGBColor = RGBColor(0x1f, 0x9d, 0x8a);
/// What needs a look: misses, shifts, rejected rows.
pub(super) const LOOK: RGBColor = RGBColor(0xb5, 0x3a, 0x52);

/// Shapes of points, told apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    Disc,
    Ring,
    Diamond,
    Square,
    Triangle,
    Cross,
}

/// How the readings of the probes in one picture are drawn, in the order in which they are given out: all in ink.
pub(super) const PROBES: [(&str, Mark); 4] =
    [("dots", Mark::Disc), ("rings", Mark::Ring), ("squares", Mark::Square), ("triangles", Mark::Triangle)];

#[cfg(test)]
#[path = "../../tests/inside/palette.rs"]
mod tests;
