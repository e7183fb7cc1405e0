//! Pictures of what has changed between two calibrations.

use crate::calibration::{CalibrationDifference, Calibrations};
use crate::error::Result;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::CURVE;
use super::plot::Frame;
use super::svg::{Panel, panel};
use super::words::percent;

const WIDTH: u32 = 300;
const HEIGHT: u32 = 170;

impl Calibrations {
    /// What each later calibration of a probe reads more than the one before it; one panel a pair, none without a probe that was
    /// calibrated twice.
    pub fn changes_chart(&self) -> Result<Figure> {
        let changes = self.changes();
        let panels = changes.iter().map(CalibrationDifference::panel).collect::<Result<Vec<_>>>()?;
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
    /// The difference with its band.
    pub fn chart(&self) -> Result<Figure> {
        let alt = format!("Calibration {} minus {}, over gravity.", self.later, self.earlier);
        Ok(Figure::new(format!("{} minus {}", self.later, self.earlier), alt, vec![self.panel()?]))
    }

    fn panel(&self) -> Result<Panel> {
        let band: Vec<(f64, f64, f64)> = self.points.iter().map(|(sg, d)| (*sg, d.lower, d.upper)).collect();
        let line: Vec<(f64, f64)> = self.points.iter().map(|(sg, d)| (*sg, d.value)).collect();
        let low = line.first().map_or(1.0, |p| p.0);
        let high = line.last().map_or(1.1, |p| p.0);
        panel(WIDTH, HEIGHT, |paper| {
            let x = Axis::linear(low, high, 5, "SG");
            let y =
                Axis::around(band.iter().flat_map(|b| [b.1, b.2]).chain([0.0]), 0.001, 4, "later minus earlier, SG");
            let plot = Frame::new(format!("{} minus {}", self.later, self.earlier), x, y).on(paper)?;
            plot.band(&band, CURVE, 0.22)?;
            plot.rule_y(0.0)?;
            plot.line(&line, CURVE, 2.0, 1.0)?;
            let p = if self.p < 0.001 { "p < 0.001".to_owned() } else { format!("p = {:.3}", self.p) };
            plot.note(&p)
        })
    }
}
