//! Sudden shifts that readings show, each with the readings around it.

use crate::drift::{Drift, Shift, ShiftKind};
use crate::error::Result;
use crate::fit::Finding;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{CURVE, INK, LOOK, Mark};
use super::plot::Frame;
use super::svg::{Panel, panel};
use super::words::{percent, signed};

const WIDTH: u32 = 312;
const HEIGHT: u32 = 170;

impl Drift {
    /// The levels of two days on each side of every shift that was found in readings; without panels where there is none.
    pub fn shift_chart(&self) -> Result<Figure> {
        let read: Vec<&Shift> = self.shifts.iter().filter(|shift| shift.kind == ShiftKind::Read).collect();
        let panels = read.iter().map(|shift| around(shift)).collect::<Result<Vec<_>>>()?;
        let said: Vec<String> = read.iter().map(|shift| in_words(shift)).collect();
        let alt = format!("Gravities around sudden shifts inside batches: {}.", said.join("; "));
        let caption = format!(
            "Dots: medians of an hour of the probe's readings, on its first calibration. Rings: another probe in the same beer. Red: \
             when the shift came ({} interval); the bar is as high as the shift.",
            percent(self.level)
        );
        Ok(Figure::new("Shifts that readings show", alt, panels).with_caption(caption))
    }
}

fn around(shift: &Shift) -> Result<Panel> {
    let x = Axis::linear(-48.0, 48.0, 5, "hours from the shift");
    let hours = |at: crate::Instant| at.hours_since(shift.at);
    let y = Axis::around(shift.around.iter().map(|level| level.sg), 0.004, 4, "SG as read");
    let title = shift.batch.as_ref().map_or_else(|| shift.probe.clone(), |batch| format!("{} in {batch}", shift.probe));
    panel(WIDTH, HEIGHT, |paper| {
        let plot = Frame::new(title, x, y).on(paper)?;
        let (low, high) = plot.y_range();
        plot.band(&[(hours(shift.earliest), low, high), (hours(shift.latest), low, high)], LOOK, 0.15)?;
        for level in shift.around.iter().filter(|level| !level.own) {
            plot.mark(hours(level.at), level.sg, Mark::Ring, INK, 3.5)?;
        }
        plot.dots(shift.around.iter().filter(|l| l.own).map(|l| (hours(l.at), l.sg)), CURVE, 2.0, 0.9)?;
        let before = shift.around.iter().rfind(|level| level.own && level.at < shift.at);
        if let (Some(before), Some(size)) = (before, shift.shift_sg.value()) {
            let (a, b) = (before.sg, before.sg + size);
            plot.upright(0.0, a.min(b), a.max(b), LOOK, 3.0)?;
        }
        match &shift.shift_sg {
            Finding::Estimated(e) => plot.note(&format!("{} \u{b1} {:.4}", signed(e.value, 4, true), e.se)),
            _ => Ok(()),
        }
    })
}

fn in_words(shift: &Shift) -> String {
    let size = shift.shift_sg.value().map_or_else(String::new, |sg| format!(" by {}", signed(sg, 4, true)));
    let batch = shift.batch.as_deref().unwrap_or("a batch");
    format!("{} in {batch}{size}", shift.probe)
}
