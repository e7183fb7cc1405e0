//! Pictures of calibration curves, and of what has changed between two of them.

use crate::calibration::{Calibration, CalibrationDifference, Calibrations};
use crate::error::Result;
use crate::fit::Estimate;

use super::axis::{Axis, evenly};
use super::figure::Figure;
use super::palette::{CURVE, LOOK, Mark, REFERENCE};
use super::plot::Frame;
use super::scales::Scales;
use super::svg::{Panel, SCALE, panel};
use super::words::percent;

const WIDTH: u32 = 300;
const HEIGHT: u32 = 190;
const STRIP: u32 = 112;
const CHANGE_HEIGHT: u32 = 170;
/// Room for the labels of both frames, so that they line up.
const LEFT: u32 = 54;
const STEPS: usize = 60;
/// Degrees drawn beyond the outermost baths.
const BEYOND_DEG: f64 = 2.0;

impl Calibrations {
    pub(crate) fn chart_on(&self, scales: &Scales) -> Result<Figure> {
        let panels = self.calibrations.iter().map(|c| c.panel(scales)).collect::<Result<Vec<_>>>()?;
        let level = self.calibrations.first().map_or(0.9, |c| c.level);
        let alt = format!(
            "Gravity over tilt of {} calibrations with their baths, and the distance of each bath from its curve.",
            self.calibrations.len()
        );
        Ok(Figure::new("From tilt to gravity", alt, panels).with_caption(format!(
            "Squares: baths, brought to 20 \u{b0}C; bars: two standard deviations of bath and tilt together. Line: the curve; \
             its {} band is drawn in the lower frame, where it can be seen. Red cross: a bath that does not fit the others.",
            percent(level)
        )))
    }
}

impl Calibration {
    /// The curve with its band and baths, and below it the baths' distance from the curve.
    #[doc = example!(study "study.calibrations()?.probe(probe)?.chart()?;")]
    pub fn chart(&self) -> Result<Figure> {
        let alt = format!("Gravity over tilt of calibration {} with its {} baths.", self.calibration, self.baths.len());
        let caption =
            format!("Squares: baths, bars two standard deviations. Line: curve with its {} band.", percent(self.level));
        Ok(Figure::new(format!("Calibration {}", self.calibration), alt, vec![self.panel(&Scales::of_results())?])
            .with_caption(caption))
    }

    fn panel(&self, scales: &Scales) -> Result<Panel> {
        let tilts = || self.baths.iter().map(|bath| bath.tilt_deg);
        let (low, high) = (tilts().fold(90.0, f64::min) - BEYOND_DEG, tilts().fold(0.0, f64::max) + BEYOND_DEG);
        let tilts = evenly(low, high, STEPS).into_iter();
        let curve: Vec<(f64, Estimate)> = tilts.filter_map(|tilt| Some((tilt, self.sg_at(tilt).ok()?))).collect();
        let baths = self.baths_beside_curve();
        let is_suspect = |i: usize| self.suspects.iter().any(|suspect| suspect.bath == i);
        let style = |i: usize| if is_suspect(i) { (Mark::Cross, LOOK) } else { (Mark::Square, REFERENCE) };
        panel(WIDTH, HEIGHT + STRIP, |paper| {
            let (upper, lower) = paper.split_vertically(HEIGHT * SCALE);
            let x = Axis::linear(low, high, 5, "");
            let y = Axis::around(
                curve.iter().map(|(_, sg)| sg.value).chain(baths.iter().map(|bath| bath.sg)),
                0.01,
                5,
                scales.gravity("SG at 20 \u{b0}C"),
            );
            let plot = Frame::new(self.calibration.as_str(), x.clone(), y).room_left(LEFT).on(&upper)?;
            plot.line(&curve.iter().map(|(tilt, sg)| (*tilt, sg.value)).collect::<Vec<_>>(), CURVE, 2.0, 1.0)?;
            for (i, bath) in baths.iter().enumerate() {
                let (mark, colour) = style(i);
                plot.mark(bath.tilt_deg, bath.sg, mark, colour, 7.0)?;
            }
            plot.note(self.kind.words())?;

            let ends = baths.iter().flat_map(|b| [b.off_sg - 2.0 * b.sd_sg, b.off_sg + 2.0 * b.sd_sg]);
            // Beyond the baths the band soon grows: it must not press the rest flat.
            let inner = low + BEYOND_DEG..=high - BEYOND_DEG;
            let within = curve.iter().filter(|(tilt, _)| inner.contains(tilt));
            let band = within.flat_map(|(_, sg)| [sg.lower - sg.value, sg.upper - sg.value]);
            let y = Axis::around(ends.chain(band), 0.0004, 3, scales.difference("bath minus curve, SG"));
            let strip = Frame::new("", Axis { title: "tilt, \u{b0}".to_owned(), ..x }, y).room_left(LEFT).on(&lower)?;
            let rows: Vec<_> =
                curve.iter().map(|(tilt, sg)| (*tilt, sg.lower - sg.value, sg.upper - sg.value)).collect();
            strip.band(&rows, CURVE, 0.22)?;
            strip.rule_y(0.0)?;
            for (i, bath) in baths.iter().enumerate() {
                let ((mark, colour), tilt, off, bar) = (style(i), bath.tilt_deg, bath.off_sg, 2.0 * bath.sd_sg);
                strip.upright(tilt, off - bar, off + bar, colour, 1.4)?;
                strip.mark(tilt, off, mark, colour, 6.0)?;
            }
            Ok(())
        })
    }
}

impl Calibrations {
    /// What each later calibration of a probe reads more than the one before it; one panel a pair, none without a probe that was
    /// calibrated twice.
    pub(crate) fn changes_chart(&self, scales: &Scales) -> Result<Figure> {
        let changes = self.changes();
        let panels = changes.iter().map(|change| change.panel(scales)).collect::<Result<Vec<_>>>()?;
        let alt =
            format!("What {} later calibrations read more than the ones before them, over gravity.", changes.len());
        let level = percent(self.settings.common.level);
        Ok(Figure::new("What has changed between calibrations", alt, panels).with_caption(format!(
            "Line: the later curve minus the earlier one at the same tilt. The band holds the whole line with {level}: where \
             it leaves 0, something has changed."
        )))
    }
}

impl CalibrationDifference {
    fn panel(&self, scales: &Scales) -> Result<Panel> {
        let band: Vec<(f64, f64, f64)> = self.points.iter().map(|(sg, d)| (*sg, d.lower, d.upper)).collect();
        let line: Vec<(f64, f64)> = self.points.iter().map(|(sg, d)| (*sg, d.value)).collect();
        let low = line.first().map_or(1.0, |p| p.0);
        let high = line.last().map_or(1.1, |p| p.0);
        panel(WIDTH, CHANGE_HEIGHT, |paper| {
            let x = Axis::linear(low, high, 5, scales.gravity("SG"));
            let y = Axis::around(
                band.iter().flat_map(|b| [b.1, b.2]).chain([0.0]),
                0.001,
                4,
                scales.difference("later minus earlier, SG"),
            );
            let number = self.earlier.rsplit('/').next().unwrap_or_default();
            let plot = Frame::new(format!("{} minus /{number}", self.later), x, y).on(paper)?;
            plot.band(&band, CURVE, 0.22)?;
            plot.rule_y(0.0)?;
            plot.line(&line, CURVE, 2.0, 1.0)?;
            let p = if self.p < 0.001 { "p < 0.001".to_owned() } else { format!("p = {:.3}", self.p) };
            plot.note(&p)
        })
    }
}
