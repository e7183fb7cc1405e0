//! The picture of a build: a cut through the float at its tilt.

use crate::calibration::{Build, Builds, Resting};
use crate::error::Result;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{CURVE, INK, LOOK, Mark};
use super::plot::{Frame, Plot};
use super::svg::{Panel, WIDEST, panel};

const HEIGHT: u32 = 250;
/// What a frame without ticks at its left keeps for words, px: left, top, right, bottom.
const MARGINS: [u32; 4] = [10, 39, 10, 34];
/// Liquids that a float is drawn in: SG and name.
const LIQUIDS: [(f64, &str); 2] = [(1.0, "in water"), (1.1, "at SG 1.100")];

impl Builds {
    /// Each probe cut through at its tilt in water and in strong wort, with water line, centre of gravity and centre of
    /// buoyancy. A probe whose centre of gravity cannot be had has no picture; the table says why.
    #[doc = example!(study "study.builds()?.chart()?;")]
    pub fn chart(&self) -> Result<Figure> {
        let (mut panels, mut left_out) = (Vec::new(), Vec::new());
        for build in &self.builds {
            match build.gravity_mm() {
                Some(gravity_mm) => panels.push(build_panel(build, gravity_mm)?),
                None => left_out.push(build.probe.as_str()),
            }
        }
        let left_out =
            if left_out.is_empty() { String::new() } else { format!(" Without a picture: {}.", left_out.join(", ")) };
        let alt = format!("Cuts through {} floats at rest in water and at SG 1.100.", panels.len());
        Ok(Figure::new("How they float", alt, panels).with_caption(format!(
            "The heavy side is down, at the right. Red disc: centre of gravity, from mass, size and baths; its \
             place from the nose stands above. Blue ring: centre of buoyancy, on one vertical with it. An open upper end: nobody measured the length.{left_out}",
        )))
    }
}

fn build_panel(build: &Build, (off, up): (f64, f64)) -> Result<Panel> {
    // None where it does not rest, as when it sinks.
    let floats = LIQUIDS.map(|(sg, name)| (name, build.resting(sg).ok().flatten()));
    let points = || floats.iter().filter_map(|(_, float)| float.as_ref()).flat_map(|float| &float.outline);
    let end = |pick: fn(f64, f64) -> f64, of: fn(&(f64, f64)) -> f64, start| points().map(of).fold(start, pick);
    let (low, high) = (end(f64::min, |p| p.1, 0.0) - 6.0, end(f64::max, |p| p.1, 0.0) + 6.0);
    let (left, right) = (end(f64::min, |p| p.0, 0.0), end(f64::max, |p| p.0, 0.0));
    let half = right - left + 16.0;
    let [room_left, room_top, room_right, room_bottom] = MARGINS.map(f64::from);
    let (wide, tall) = (f64::from(WIDEST) - room_left - room_right, f64::from(HEIGHT) - room_top - room_bottom);
    // Equal millimetres both ways: the tighter of the two directions decides.
    let mm_per_px = (2.0 * half / wide).max((high - low) / tall);
    let (x_span, y_span) = (mm_per_px * wide, mm_per_px * tall);
    let middle = 0.5 * (low + high);
    let mut x = Axis::linear(0.0, x_span, 6, "mm");
    x.grid = false;
    let (bottom, top) = (middle - 0.5 * y_span, middle + 0.5 * y_span);
    // A title of the vertical axis would be drawn where the liquids are named.
    let y = Axis { low: bottom, high: top, ticks: Vec::new(), title: " ".to_owned(), grid: false };
    panel(WIDEST, HEIGHT, |paper| {
        let plot = Frame::new(build.probe.as_str(), x, y).room_left(MARGINS[0]).on(paper)?;
        plot.note(&format!("centre of gravity {off:.1} mm off, {up:.1} up"))?;
        let centre = |i: usize| x_span * (0.25 + 0.5 * i as f64);
        for (i, (name, float)) in floats.iter().enumerate() {
            let (from, to) = (x_span * 0.5 * i as f64, x_span * 0.5 * (i as f64 + 1.0));
            let depth = if i == 0 { 0.10 } else { 0.20 };
            plot.shape(&[(from, bottom), (to, bottom), (to, 0.0), (from, 0.0)], CURVE, depth)?;
            let told = match float {
                Some(float) => {
                    float_at_rest(&plot, float, !build.length_known, centre(i) - 0.5 * (left + right))?;
                    format!("{name}: {:.1}\u{b0}", float.tilt_deg)
                }
                None => format!("{name} it does not rest"),
            };
            plot.line(&[(from, 0.0), (to, 0.0)], CURVE, 1.4, 1.0)?;
            plot.above_frame(centre(i), &told)?;
        }
        Ok(())
    })
}

fn float_at_rest(plot: &Plot<'_, '_>, float: &Resting, open: bool, shift: f64) -> Result<()> {
    let moved = |(x, y): (f64, f64)| (x + shift, y);
    let outline: Vec<(f64, f64)> = float.outline.iter().copied().map(moved).collect();
    plot.shape(&outline, INK, 0.10)?;
    let mut line = outline.clone();
    if open {
        // The two sides end at the middle of the outline, where the upper end is left open.
        let (heavy, light) = outline.split_at(outline.len() / 2);
        plot.line(heavy, INK, 1.6, 0.9)?;
        plot.line(light, INK, 1.6, 0.9)?;
        line.clear();
    }
    line.extend(outline.first().copied());
    plot.line(&line, INK, 1.6, 0.9)?;
    let (gravity, buoyancy) = (moved(float.gravity), moved(float.buoyancy));
    plot.line(&float.axis.map(moved), INK, 1.0, 0.35)?;
    plot.line(&[gravity, buoyancy], INK, 1.0, 0.8)?;
    plot.mark(buoyancy.0, buoyancy.1, Mark::Ring, CURVE, 10.0)?;
    plot.mark(gravity.0, gravity.1, Mark::Disc, LOOK, 7.0)
}
