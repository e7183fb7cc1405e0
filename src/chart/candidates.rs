//! Pictures of the candidate curves beside each other.

use plotters::style::RGBColor;

use crate::calibration::{Calibration, Calibrations, CurveCandidate, CurveKind};
use crate::error::Result;

use super::axis::{Axis, evenly};
use super::figure::Figure;
use super::palette::{AHEAD, CURVE, INK, LOOK, REFERENCE};
use super::plot::Frame;
use super::scales::Scales;
use super::svg::{Panel, Paper, SCALE, panel};

const WIDTH: u32 = 320;
const UPPER: u32 = 190;
const LOWER: u32 = 146;
/// Room at the left of both frames, for the names of the rows, px.
const LEFT: u32 = 62;
/// Room at the right for the names of the curves, px.
const RIGHT: u32 = 70;
/// Degrees drawn beyond the outermost baths.
const BEYOND_DEG: f64 = 10.0;
/// Largest difference that is drawn, SG: a cubic soon leaves every frame.
const MOST_SG: f64 = 0.008;
const STEPS: usize = 80;
/// Least distance of two names at the margin, px.
const APART_PX: f64 = 12.0;

impl Calibrations {
    pub(crate) fn candidates_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let is_last = |c: &&Calibration| {
            let later = |other: &Calibration| other.probe == c.probe && other.calibrated_at > c.calibrated_at;
            !self.calibrations.iter().any(later)
        };
        let last: Vec<&Calibration> = self.calibrations.iter().filter(is_last).collect();
        let panels = last.iter().map(|c| c.candidates_panel(scales)).collect::<Result<Vec<_>>>()?;
        let alt = format!(
            "Candidate curves of the last calibration of {} probes: their distance from the chosen one over the tilt, and the \
             residuals of the baths.",
            last.len()
        );
        Ok(Figure::new("The candidate curves", alt, panels).with_caption(caption()))
    }
}

fn caption() -> String {
    let kinds = CurveKind::ALL.map(|kind| format!("{}: {} ({})", kind.label(), kind.words(), kind.name()));
    format!(
        "Above: SG by each candidate minus SG by the chosen curve, over the tilt; shaded: the range of the baths, beyond it \
         all is extrapolation. Faint lines: candidates that were refused. A line that leaves the frame is cut. Below: how far \
         each bath lies off each curve; beyond: some lie outside the frame. The kinds, with their names in the tables: {}.",
        kinds.join("; ")
    )
}

impl Calibration {
    /// The candidates of this calibration beside the chosen one, and the baths' residuals on each.
    #[doc = example!(study "study.calibrations()?.probe(probe)?.candidates_chart()?;")]
    pub fn candidates_chart(&self) -> Result<Figure> {
        let alt = format!("Candidate curves of calibration {} and the residuals of its baths.", self.calibration);
        let title = format!("The candidates of {}", self.calibration);
        Ok(Figure::new(title, alt, vec![self.candidates_panel(&Scales::of_results())?]).with_caption(caption()))
    }

    fn candidates_panel(&self, scales: &Scales) -> Result<Panel> {
        let tilts = || self.baths.iter().map(|bath| bath.tilt_deg);
        let (first, last) = (tilts().fold(90.0, f64::min), tilts().fold(0.0, f64::max));
        let (low, high) = ((first - BEYOND_DEG).max(2.0), (last + BEYOND_DEG).min(84.0));
        let tilts = evenly(low, high, STEPS);
        let lines: Vec<(&CurveCandidate, Vec<(f64, f64)>)> = self
            .candidates
            .iter()
            .filter(|candidate| !candidate.chosen && candidate.fitted.is_some())
            .map(|candidate| {
                let away = |&tilt: &f64| (tilt, self.candidate_minus_curve_sg(candidate, tilt).unwrap_or(f64::NAN));
                (candidate, tilts.iter().map(away).collect())
            })
            .collect();
        let drawn = lines.iter().flat_map(|(_, line)| line.iter().map(|(_, away)| away.abs()));
        let most = drawn.filter(|away| away.is_finite()).fold(0.001, f64::max).min(MOST_SG);
        panel(WIDTH, UPPER + LOWER, |paper| {
            let (upper, lower) = paper.split_vertically(UPPER * SCALE);
            let x = Axis::linear(low, high, 5, "tilt, \u{b0}");
            let y = Axis::linear(-1.08 * most, 1.08 * most, 5, scales.difference("minus the chosen curve, SG"));
            let frame = Frame::new(self.calibration.as_str(), x, y).room_left(LEFT).room_right(RIGHT);
            let plot = frame.on(&upper)?;
            plot.band(&[(first, -most * 2.0, most * 2.0), (last, -most * 2.0, most * 2.0)], INK, 0.07)?;
            plot.rule_y(0.0)?;
            let mut names = vec![(plot.px(high, 0.0).1, self.kind.label(), INK)];
            for (candidate, line) in &lines {
                let alpha = if candidate.refused.is_some() { 0.45 } else { 1.0 };
                // Dashed, as it shares its colour with the cylinder of known size.
                let piece = if candidate.kind == CurveKind::WallSidedFreeK { 3 } else { line.len() };
                for part in line.chunks(piece) {
                    plot.line(part, colour(candidate.kind), 1.8, alpha)?;
                }
                let end = line.iter().rev().find(|(_, away)| away.is_finite()).map_or(0.0, |(_, away)| *away);
                names.push((plot.px(high, end.clamp(-most, most)).1, candidate.kind.label(), colour(candidate.kind)));
            }
            spread(&mut names, plot.frame_px());
            for (y_px, name, colour) in names {
                plot.margin_key(y_px, name, colour)?;
            }
            plot.note(&format!("chosen: {}", self.kind.label()))?;
            self.residuals(&lower, scales)
        })
    }

    /// What each bath is off each candidate, one row a candidate.
    fn residuals(&self, paper: &Paper<'_>, scales: &Scales) -> Result<()> {
        let rows: Vec<(&CurveCandidate, Vec<f64>)> =
            self.candidates.iter().map(|candidate| (candidate, self.baths_minus_candidate_sg(candidate))).collect();
        let names: Vec<&str> = rows.iter().map(|(candidate, _)| candidate.kind.label()).collect();
        let most = rows.iter().flat_map(|(_, off)| off).map(|off| off.abs()).fold(0.0005, f64::max).min(MOST_SG);
        let x = Axis::linear(-1.1 * most, 1.1 * most, 3, scales.difference("bath minus curve, SG"));
        let plot = Frame::new("", x, Axis::names(&names)).room_left(LEFT).room_right(RIGHT).on(paper)?;
        plot.rule_x(0.0)?;
        for (i, (candidate, off)) in rows.iter().enumerate() {
            let y = -(i as f64);
            let colour = if candidate.chosen { INK } else { colour(candidate.kind) };
            let outside = plot.dots(off.iter().map(|&off| (off, y)), colour, 3.2, 0.75)?;
            let told = match (&candidate.fitted, &candidate.refused, outside) {
                (None, ..) => "no fit",
                (_, _, 1..) => "beyond",
                (_, Some(_), _) => "refused",
                _ if candidate.chosen => "chosen",
                _ => continue,
            };
            plot.margin_label(y, told)?;
        }
        Ok(())
    }
}

/// Colours of the kinds, by number.
const COLOURS: [RGBColor; 5] = [INK, CURVE, REFERENCE, AHEAD, LOOK];

fn colour(kind: CurveKind) -> RGBColor {
    COLOURS.into_iter().cycle().nth(kind.colour()).unwrap_or(INK)
}

/// Moves names along the margin until they are [`APART_PX`] from one another, in their order, within the frame.
fn spread(names: &mut [(f64, &'static str, RGBColor)], (_, top, _, bottom): (f64, f64, f64, f64)) {
    names.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut least = top;
    for (y, ..) in names.iter_mut() {
        *y = y.max(least);
        least = *y + APART_PX;
    }
    let mut most = bottom;
    for (y, ..) in names.iter_mut().rev() {
        *y = y.min(most);
        most = *y - APART_PX;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_at_the_margin_never_touch_and_keep_their_order() {
        let mut names = [50.0, 51.0, 49.0, 10.0, 148.0, 149.0].map(|y| (y, "x", INK));
        spread(&mut names, (0.0, 20.0, 100.0, 150.0));
        assert!(names.windows(2).all(|w| w[1].0 - w[0].0 >= APART_PX - 1e-9), "{names:?}");
        assert!(names.iter().all(|(y, ..)| (20.0..=150.0).contains(y)), "{names:?}");
    }
}
