//! What the curve of a batch leaves: residuals over time, and how they hang together.

use crate::error::Result;
use crate::fit::quantile::normal_two_sided;
use crate::kinetics::{BatchFit, PointSource};
use crate::units::HOURS_PER_DAY;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{CURVE, INK, Mark, REFERENCE};
use super::plot::Frame;
use super::scales::Scales;
use super::svg::{WIDEST, panel};
use super::words::{dots_outside, percent};

const HEIGHT: u32 = 160;
const NARROW: u32 = 216;
/// Lags shown, in points.
const LAGS: usize = 15;
/// A point that counts less than this is drawn as a cross.
const LITTLE: f64 = 0.5;

impl BatchFit {
    pub(crate) fn residual_chart_on(&self, scales: &Scales) -> Result<Figure> {
        if self.residuals_sg.is_empty() {
            return Ok(Figure::new("", "", Vec::new()));
        }
        let rows: Vec<_> = self.points.iter().zip(&self.residuals_sg).collect();
        let kept = rows.iter().filter(|(point, _)| point.weight >= LITTLE).map(|(_, r)| **r);
        let y = Axis::around(kept.chain([0.0]), 0.001, 4, scales.difference("residual, SG"));
        let x = Axis::linear(0.0, (self.last_hours / HOURS_PER_DAY).max(1.0), 5, "days from pitching");
        let mut outside = 0;
        let over_time = panel(WIDEST, HEIGHT, |paper| {
            let plot = Frame::new("", x, y).on(paper)?;
            plot.rule_y(0.0)?;
            for (point, residual) in &rows {
                let at = (point.hours / HOURS_PER_DAY, **residual);
                match point.source {
                    PointSource::Sample(_) => plot.mark(at.0, at.1, Mark::Diamond, REFERENCE, 6.0)?,
                    PointSource::Probe(_) if point.weight < LITTLE => plot.mark(at.0, at.1, Mark::Cross, INK, 5.0)?,
                    PointSource::Probe(_) => outside += plot.dots([at], INK, 1.6, 0.6)?,
                }
            }
            Ok(())
        })?;
        let n = self.innovations.len();
        let mut panels = vec![over_time];
        if let Some(level) = self.level().filter(|_| n > 2 * LAGS) {
            let edge = normal_two_sided(level)? / (n as f64).sqrt();
            let bars: Vec<f64> = (1..=LAGS).map(|lag| autocorrelation(&self.innovations, lag)).collect();
            panels.push(panel(NARROW, HEIGHT, |paper| {
                let y = Axis::around(bars.iter().copied().chain([-0.3, 0.3]), 0.2, 4, "autocorrelation");
                let plot = Frame::new("", Axis::linear(0.0, LAGS as f64 + 0.5, 4, "lag, points"), y).on(paper)?;
                for at in [-edge, 0.0, edge] {
                    plot.rule_y(at)?;
                }
                for (lag, bar) in bars.iter().enumerate() {
                    plot.upright(lag as f64 + 1.0, bar.min(0.0), bar.max(0.0), CURVE, 4.0)?;
                }
                Ok(())
            })?);
        }
        let waves = self.whiteness.as_ref().map_or_else(String::new, |w| {
            let (runs, wanted, p) = (w.runs, w.expected_runs, w.runs_p);
            format!(" Runs of one sign: {runs}, where {wanted:.0} are expected if no waves are left (p {p:.3}).")
        });
        let beyond = dots_outside(outside).map_or_else(String::new, |words| format!(" {words}"));
        let caption = format!(
            "First: readings (dots, means) and samples (diamonds) minus the curve; crosses count little. Second: how alike neighbours \
             are once the error model is taken off; the bars should stay between the lines ({}).{waves}{beyond}",
            self.level().map_or_else(String::new, percent)
        );
        let alt = format!("Residuals of batch {} over time and their autocorrelation.{waves}", self.batch);
        Ok(Figure::new(format!("{}: what the curve leaves", self.batch), alt, panels).with_caption(caption))
    }
}

/// Autocorrelation about 0 at a lag.
fn autocorrelation(values: &[f64], lag: usize) -> f64 {
    let products: f64 = values.iter().zip(values.iter().skip(lag)).map(|(a, b)| a * b).sum();
    products / values.iter().map(|v| v * v).sum::<f64>().max(f64::MIN_POSITIVE)
}
