//! When probes are due for calibration.

use crate::drift::{Drift, ProbeDrift, Recalibrate};
use crate::error::Result;

use super::axis::{Axis, hours};
use super::figure::Figure;
use super::palette::{CURVE, INK, LOOK, Mark};
use super::plot::Frame;
use super::scales::Scales;
use super::svg::{Panel, panel};
use super::words::{percent, written};

const WIDTH: u32 = 280;
const HEIGHT: u32 = 170;

impl Drift {
    pub(crate) fn limit_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let times = || self.probes.iter().flat_map(|probe| probe.out_of_limit.iter().map(|point| point.at));
        let (Some(from), Some(to)) = (times().min(), times().max()) else {
            return Ok(Figure::new("When probes are due for calibration", "No probe with a prediction.", Vec::new()));
        };
        let x = Axis::time(scales, from, to, 4);
        let probes = self.probes.iter().filter(|probe| !probe.out_of_limit.is_empty());
        let panels = probes.map(|probe| self.limit_panel(probe, &x, scales)).collect::<Result<Vec<_>>>()?;
        let words: Vec<String> =
            self.probes.iter().map(|probe| format!("{}: {}", probe.probe, self.calibrate_by(probe, scales))).collect();
        let caption = format!(
            "Line: probability that the probe is off by more than {} where the beers end, since its last calibration; it moves \
             with the drift and grows with what is not known. Level line: the {} that is allowed. Thin upright line: the last instant of \
             the season. Diamond: when a calibration is due. Due since: when the line last crossed what is allowed.",
            scales.limit(self.limit_sg),
            percent(self.limit_chance)
        );
        let title = "When probes are due for calibration";
        Ok(Figure::new(title, format!("Calibrate by: {}.", words.join("; ")), panels).with_caption(caption))
    }

    fn limit_panel(&self, probe: &ProbeDrift, x: &Axis, scales: &Scales) -> Result<Panel> {
        let y = Axis::linear(0.0, 1.06, 3, "probability of being out of limit");
        panel(WIDTH, HEIGHT, |paper| {
            let plot = Frame::new(&probe.probe, x.clone(), y).on(paper)?;
            plot.line(&[(x.low, self.limit_chance), (x.high, self.limit_chance)], LOOK, 1.2, 0.9)?;
            if let Some(now) = self.latest {
                plot.rule_x(hours(now))?;
            }
            let line: Vec<_> = probe.out_of_limit.iter().map(|point| (hours(point.at), point.p)).collect();
            plot.line(&line, CURVE, 1.8, 1.0)?;
            if let Recalibrate::By(at) = probe.recalibrate {
                plot.mark(hours(at), self.limit_chance, Mark::Diamond, INK, 9.0)?;
            }
            plot.note(&self.calibrate_by(probe, scales))
        })
    }

    /// When a probe is to be calibrated; of one that is due already, since when.
    fn calibrate_by(&self, probe: &ProbeDrift, scales: &Scales) -> String {
        match (self.due_since(probe), &probe.recalibrate) {
            (Some(since), _) => format!("due since {}", written(since, &scales.zone, "%-d %b")),
            (None, Recalibrate::By(at)) => format!("due {}", written(*at, &scales.zone, "%-d %b")),
            (None, other) => other.to_string(),
        }
    }
}
