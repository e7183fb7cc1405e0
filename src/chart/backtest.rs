//! Forecasts of the past beside what came.

use crate::error::Result;
use crate::forecast::Backtest;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{CURVE, INK, Mark};
use super::plot::Frame;
use super::svg::{WIDEST, panel};
use super::words::percent;

impl Backtest {
    /// How many forecasts held the finish, stage by stage, with the exact interval of that share.
    #[doc = example!(no_run "study.backtest()?.chart()?;")]
    pub fn chart(&self) -> Result<Figure> {
        let stages: Vec<_> = self.coverage()?.into_iter().filter(|stage| stage.n > 0).collect();
        if stages.is_empty() {
            return Ok(Figure::new("", "No forecast of the past has an outcome.", Vec::new()));
        }
        let names: Vec<String> = stages
            .iter()
            .map(|stage| match stage.stage {
                Some(share) => format!("at {} of the drop ({})", percent(share), stage.n),
                None => format!("all together ({})", stage.n),
            })
            .collect();
        let lowest = stages.iter().map(|stage| 100.0 * stage.lower).fold(100.0 * self.level, f64::min);
        let drawn = panel(WIDEST, 62 + 24 * stages.len() as u32, |paper| {
            let x = Axis::linear((lowest - 4.0).max(0.0), 101.0, 4, "finishes held, %");
            let plot = Frame::new("", x, Axis::names(&names)).room_right(14).on(paper)?;
            plot.rule_x(100.0 * self.level)?;
            for (i, stage) in stages.iter().enumerate() {
                let y = -(i as f64);
                let colour = if stage.stage.is_some() { CURVE } else { INK };
                plot.level(y, 100.0 * stage.lower, 100.0 * stage.upper, colour, 2.2)?;
                let mark = if stage.stage.is_some() { Mark::Disc } else { Mark::Diamond };
                plot.mark(100.0 * stage.covered as f64 / stage.n as f64, y, mark, colour, 8.0)?;
            }
            Ok(())
        })?;
        let alt =
            format!("Share of past forecasts that held the finish, stage by stage, beside {}.", percent(self.level));
        Ok(Figure::new("Do the intervals keep their promise?", alt, vec![drawn]).with_caption(format!(
            "Upright line: the {} that were promised. Bars: exact 95 % intervals of the share, as if forecasts of one \
             batch were independent, which they are not quite. In brackets: forecasts with an outcome.",
            percent(self.level)
        )))
    }
}
