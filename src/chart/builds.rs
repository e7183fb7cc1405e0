//! The picture of a build: a cut through the float at its tilt.

use crate::calibration::{Build, Builds};
use crate::error::Result;
use crate::float::{Hull, Rest};
use crate::liquid::WATER_20C_KG_M3;

use super::axis::Axis;
use super::figure::{Figure, Panel};
use super::palette::{CURVE, INK, LOOK, Mark};
use super::plot::{Frame, Plot};
use super::svg::panel;

const WIDTH: u32 = 330;
const HEIGHT: u32 = 250;
/// What a frame without ticks at its left keeps for words, px: left, top, right, bottom.
const MARGINS: [u32; 4] = [10, 39, 10, 34];
/// Liquids that a float is drawn in: SG and name.
const LIQUIDS: [(f64, &str); 2] = [(1.0, "in water"), (1.1, "at SG 1.100")];
/// Steps along the outline.
const OUTLINE: usize = 60;
/// How much of a float of unknown length is drawn above the water, m.
const DRAWN_ABOVE_M: f64 = 0.03;
const MM: f64 = 1000.0;

impl Builds {
    /// Each probe cut through at its tilt in water and in strong wort, with water line, centre of gravity and centre of
    /// buoyancy. A probe whose centre of gravity cannot be had has no picture; the table says why.
    ///
    /// # Errors
    /// [`crate::Error::Numeric`] when drawing fails.
    pub fn chart(&self) -> Result<Figure> {
        let drawn: Vec<(&Build, &Hull)> = self.builds.iter().filter_map(|b| Some((b, b.hull.as_ref()?))).collect();
        let panels = drawn.iter().map(|(build, hull)| build_panel(build, hull)).collect::<Result<Vec<_>>>()?;
        let left_out: Vec<&str> = self.builds.iter().filter(|b| b.hull.is_none()).map(|b| b.probe.as_str()).collect();
        let left_out =
            if left_out.is_empty() { String::new() } else { format!(" Without a picture: {}.", left_out.join(", ")) };
        let alt = format!("Cuts through {} floats at rest in water and at SG 1.100.", drawn.len());
        Ok(Figure::new("How they float", alt, panels).with_caption(format!(
            "The heavy side is down, at the right. Red disc: centre of gravity, by mass, outside and baths; above: its place from the nose; blue ring: centre \
             of buoyancy, which hangs on one vertical with it. An open upper end: nobody measured the length.{left_out}",
        )))
    }
}

/// A float at rest, in mm of a frame whose zero lies where the water line crosses the float's axis.
struct Drawn {
    outline: Vec<(f64, f64)>,
    /// From the nose to the upper end.
    axis: ((f64, f64), (f64, f64)),
    gravity: (f64, f64),
    buoyancy: (f64, f64),
    open: bool,
    tilt_deg: f64,
}

fn drawn(hull: &Hull, length_known: bool, sg: f64) -> Result<Drawn> {
    let rest: Rest = hull.rest(hull.tilt_deg(sg * WATER_20C_KG_M3)?)?;
    let (sin, cos) = rest.tilt_deg.to_radians().sin_cos();
    // The plane z = d + x t becomes level when the body turns by its tilt; the heavy side (x > 0) goes down.
    let place = |x: f64, z: f64| {
        let above = z - rest.waterline_m;
        (MM * (x * cos + above * sin), MM * (above * cos - x * sin))
    };
    let profile = &hull.profile;
    let high_edge = rest.waterline_m + profile.widest_m() * sin / cos;
    let top = if length_known { profile.length_m() } else { high_edge + DRAWN_ABOVE_M };
    // Steps close together at the nose, where a round bottom turns fastest.
    let heights: Vec<f64> = (0..=OUTLINE).map(|i| top * (i as f64 / OUTLINE as f64).powi(2)).collect();
    let side = |sign: f64| heights.iter().map(move |&z| (sign * profile.radius_m(z), z)).collect::<Vec<_>>();
    let outline = side(1.0).into_iter().chain(side(-1.0).into_iter().rev()).map(|(x, z)| place(x, z)).collect();
    Ok(Drawn {
        outline,
        axis: (place(0.0, 0.0), place(0.0, top)),
        gravity: place(hull.cg_offset_m, hull.cg_height_m),
        buoyancy: place(rest.buoyancy_offset_m, rest.buoyancy_height_m),
        open: !length_known,
        tilt_deg: rest.tilt_deg,
    })
}

fn build_panel(build: &Build, hull: &Hull) -> Result<Panel> {
    let floats: Vec<(&str, Result<Drawn>)> =
        LIQUIDS.iter().map(|(sg, name)| (*name, drawn(hull, build.length_known, *sg))).collect();
    let points = || floats.iter().filter_map(|(_, float)| float.as_ref().ok()).flat_map(|float| &float.outline);
    let end = |pick: fn(f64, f64) -> f64, of: fn(&(f64, f64)) -> f64, start| points().map(of).fold(start, pick);
    let (low, high) = (end(f64::min, |p| p.1, 0.0) - 6.0, end(f64::max, |p| p.1, 0.0) + 6.0);
    let (left, right) = (end(f64::min, |p| p.0, 0.0), end(f64::max, |p| p.0, 0.0));
    let half = right - left + 16.0;
    let [room_left, room_top, room_right, room_bottom] = MARGINS.map(f64::from);
    let (wide, tall) = (f64::from(WIDTH) - room_left - room_right, f64::from(HEIGHT) - room_top - room_bottom);
    // Equal millimetres both ways: the tighter of the two directions decides.
    let mm_per_px = (2.0 * half / wide).max((high - low) / tall);
    let (x_span, y_span) = (mm_per_px * wide, mm_per_px * tall);
    let middle = 0.5 * (low + high);
    let mut x = Axis::linear(0.0, x_span, 6, "mm");
    x.grid = false;
    let (bottom, top) = (middle - 0.5 * y_span, middle + 0.5 * y_span);
    // A title of the vertical axis would be drawn where the liquids are named.
    let y = Axis { low: bottom, high: top, ticks: Vec::new(), title: " ".to_owned(), grid: false };
    panel(WIDTH, HEIGHT, |paper| {
        let plot = Frame::new(build.probe.as_str(), x, y).room_left(MARGINS[0]).on(paper)?;
        let (off, up) = (MM * hull.cg_offset_m, MM * hull.cg_height_m);
        plot.note(&format!("centre of gravity {off:.1} mm off, {up:.1} up"))?;
        let centre = |i: usize| x_span * (0.25 + 0.5 * i as f64);
        for (i, (name, float)) in floats.iter().enumerate() {
            let (from, to) = (x_span * 0.5 * i as f64, x_span * 0.5 * (i as f64 + 1.0));
            let depth = if i == 0 { 0.10 } else { 0.20 };
            plot.shape(&[(from, bottom), (to, bottom), (to, 0.0), (from, 0.0)], CURVE, depth)?;
            let told = match float {
                Ok(float) => {
                    float_at_rest(&plot, float, centre(i) - 0.5 * (left + right))?;
                    format!("{name}: {:.1}\u{b0}", float.tilt_deg)
                }
                Err(_) => format!("{name} it does not rest"),
            };
            plot.line(&[(from, 0.0), (to, 0.0)], CURVE, 1.4, 1.0)?;
            plot.above_frame(centre(i), &told)?;
        }
        Ok(())
    })
}

fn float_at_rest(plot: &Plot<'_, '_>, float: &Drawn, shift: f64) -> Result<()> {
    let moved = |(x, y): (f64, f64)| (x + shift, y);
    let outline: Vec<(f64, f64)> = float.outline.iter().copied().map(moved).collect();
    plot.shape(&outline, INK, 0.10)?;
    let mut line = outline.clone();
    if float.open {
        // The two sides end at the middle of the outline, where the upper end is left open.
        let (heavy, light) = outline.split_at(outline.len() / 2);
        plot.line(heavy, INK, 1.6, 0.9)?;
        plot.line(light, INK, 1.6, 0.9)?;
        line.clear();
    }
    line.extend(outline.first().copied());
    plot.line(&line, INK, 1.6, 0.9)?;
    let (gravity, buoyancy) = (moved(float.gravity), moved(float.buoyancy));
    let (nose, end) = (moved(float.axis.0), moved(float.axis.1));
    plot.line(&[nose, end], INK, 1.0, 0.35)?;
    plot.line(&[gravity, buoyancy], INK, 1.0, 0.8)?;
    plot.mark(buoyancy.0, buoyancy.1, Mark::Ring, CURVE, 10.0)?;
    plot.mark(gravity.0, gravity.1, Mark::Disc, LOOK, 7.0)
}
