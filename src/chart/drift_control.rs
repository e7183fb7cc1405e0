//! Control charts of probes.

use crate::drift::{ControlChart, Drift};
use crate::error::Result;

use super::axis::{Axis, hours};
use super::figure::Figure;
use super::palette::{CURVE, INK, LOOK, Mark, REFERENCE};
use super::plot::Frame;
use super::svg::{Panel, panel};

const WIDTH: u32 = 280;
const HEIGHT: u32 = 150;

impl Drift {
    /// Both control charts of every probe with enough references: weighted means, then sums, of standardised errors.
    ///
    /// # Errors
    /// [`crate::Error::Numeric`] when drawing fails.
    pub fn control_chart(&self) -> Result<Figure> {
        const TITLE: &str = "Control charts";
        let times = || self.charts.iter().flat_map(|chart| chart.at.iter().copied());
        let (Some(from), Some(to)) = (times().min(), times().max()) else {
            return Ok(Figure::new(TITLE, "No probe with references.", Vec::new()));
        };
        let x = Axis::time(from, to, 4);
        let mut panels = Vec::new();
        for chart in &self.charts {
            panels.push(means(chart, &x)?);
            panels.push(sums(chart, &x)?);
        }
        let signals = self.signals().len();
        let alt = format!("Control charts of {} probes with {signals} signals.", self.charts.len());
        Ok(Figure::new(TITLE, alt, panels).with_caption(
            "Errors are in units of their standard deviation, each against what the earlier references of the probe let expect if it \
             had not changed since its first calibration but for what is written down as an event. First of each pair: exponentially \
             weighted means (ewma in the table, line) within limits (band), single errors as dots. Second: sums of errors beyond half an SD \
             (cusum), upward and downward, with their limit. Red triangles: signals.",
        ))
    }
}

fn means(chart: &ControlChart, x: &Axis) -> Result<Panel> {
    let at: Vec<f64> = chart.at.iter().map(|at| hours(*at)).collect();
    let limits = chart.ewma.limit.iter().flat_map(|limit| [-limit, *limit]);
    let y = Axis::around(limits.chain(chart.ewma.statistic.iter().copied()), 6.0, 4, "weighted mean, SD");
    panel(WIDTH, HEIGHT, |paper| {
        let plot = Frame::new(format!("{}, means", chart.probe), x.clone(), y).on(paper)?;
        plot.rule_y(0.0)?;
        let band: Vec<_> = at.iter().zip(&chart.ewma.limit).map(|(x, limit)| (*x, -limit, *limit)).collect();
        plot.band(&band, CURVE, 0.14)?;
        plot.dots(at.iter().copied().zip(chart.errors.iter().copied()), REFERENCE, 1.8, 0.9)?;
        let line: Vec<_> = at.iter().copied().zip(chart.ewma.statistic.iter().copied()).collect();
        plot.line(&line, CURVE, 1.6, 1.0)?;
        for &(x, mean) in chart.ewma.signals.iter().filter_map(|&row| line.get(row)) {
            plot.mark(x, mean, Mark::Triangle, LOOK, 7.0)?;
        }
        Ok(())
    })
}

fn sums(chart: &ControlChart, x: &Axis) -> Result<Panel> {
    let at: Vec<f64> = chart.at.iter().map(|at| hours(*at)).collect();
    let down: Vec<f64> = chart.cusum.down.iter().map(|sum| -sum).collect();
    let limit = chart.cusum.limit;
    let values = chart.cusum.up.iter().chain(&down).copied().chain([-limit, limit]);
    let y = Axis::around(values, 1.0, 4, "sums up and down, SD");
    panel(WIDTH, HEIGHT, |paper| {
        let plot = Frame::new(format!("{}, sums", chart.probe), x.clone(), y).on(paper)?;
        plot.rule_y(0.0)?;
        for sign in [-limit, limit] {
            plot.line(&[(x.low, sign), (x.high, sign)], LOOK, 1.2, 0.9)?;
        }
        for sums in [&chart.cusum.up, &down] {
            let line: Vec<_> = at.iter().copied().zip(sums.iter().copied()).collect();
            plot.line(&line, INK, 1.6, 0.9)?;
            for signal in &chart.cusum.signals {
                if let Some(&(x, sum)) = line.get(signal.at).filter(|(_, sum)| sum.abs() > limit) {
                    plot.mark(x, sum, Mark::Triangle, LOOK, 7.0)?;
                }
            }
        }
        Ok(())
    })
}
