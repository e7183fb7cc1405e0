//! Forecasts of the past beside what came.

use crate::error::Result;
use crate::forecast::{Backtest, BacktestRow};

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{CURVE, INK, LOOK, Mark};
use super::plot::Frame;
use super::svg::{Panel, WIDEST, panel};
use super::words::percent;

const WIDTH: u32 = 260;

/// One forecast against what was observed, hours: (5 %, 50 %, 95 %) minus observed.
struct Miss {
    low: f64,
    mid: f64,
    high: f64,
    covered: bool,
}

impl Backtest {
    /// One panel per stage: the intervals of all past batches, measured from the finish that was observed.
    #[doc = example!(no_run "study.backtest()?.chart()?;")]
    pub fn chart(&self) -> Result<Figure> {
        let mut stages: Vec<f64> = self.rows.iter().map(|row| row.stage).collect();
        stages.sort_by(f64::total_cmp);
        stages.dedup_by(|a, b| a.total_cmp(b).is_eq());
        let by_stage: Vec<(f64, Vec<Miss>)> = stages
            .iter()
            .map(|stage| {
                let of_stage = self.rows.iter().filter(|row| row.stage.total_cmp(stage).is_eq());
                let mut misses: Vec<Miss> = of_stage.filter_map(miss).collect();
                misses.sort_by(|a, b| a.mid.total_cmp(&b.mid));
                (*stage, misses)
            })
            .collect();
        let all = || by_stage.iter().flat_map(|(_, misses)| misses);
        let x =
            Axis::around(all().flat_map(|m| [m.low, m.high]).chain([0.0]), 24.0, 4, "hours after the observed finish");
        let most = by_stage.iter().map(|(_, misses)| misses.len()).max().unwrap_or(0);
        let panels = by_stage
            .iter()
            .filter(|(_, misses)| !misses.is_empty())
            .map(|(stage, misses)| stage_panel(*stage, misses, x.clone(), most))
            .collect::<Result<Vec<_>>>()?;
        let (n, hit) = (all().count(), all().filter(|m| m.covered).count());
        let alt = format!(
            "Of {n} forecasts of past batches {hit} held the observed finish in their {} interval.",
            percent(self.level)
        );
        Ok(Figure::new("How the forecasts did", alt, panels).with_caption(
            "One line per past batch, sorted: the interval of the forecast, counted from the finish seen later (0). Dot: \
             its middle. Red with a cross: the interval missed. Batches that were cooled or ended before they came to \
             rest are not shown.",
        ))
    }
}

impl Backtest {
    /// How many forecasts held the finish, stage by stage, with the exact interval of that share.
    #[doc = example!(no_run "study.backtest()?.coverage_chart()?;")]
    pub fn coverage_chart(&self) -> Result<Figure> {
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

fn miss(row: &BacktestRow) -> Option<Miss> {
    let (observed, q) = (row.finish_observed?, row.forecast.finish?);
    let from = |at: crate::units::Instant| at.hours_since(observed);
    Some(Miss { low: from(q.p05), mid: from(q.p50), high: from(q.p95), covered: row.covered? })
}

fn stage_panel(stage: f64, misses: &[Miss], x: Axis, most: usize) -> Result<Panel> {
    let hit = misses.iter().filter(|m| m.covered).count();
    let title = format!("At {} of the drop", percent(stage));
    panel(WIDTH, 84 + 7 * most as u32, |paper| {
        let rows = Axis { low: -(most as f64), high: 0.5, ticks: Vec::new(), title: String::new(), grid: false };
        let plot =
            Frame::new(title, x, Axis { title: format!("{hit} of {} covered", misses.len()), ..rows }).on(paper)?;
        plot.rule_x(0.0)?;
        for (i, m) in misses.iter().enumerate() {
            let y = -(i as f64);
            let colour = if m.covered { CURVE } else { LOOK };
            plot.level(y, m.low, m.high, colour, 1.6)?;
            if m.covered {
                plot.mark(m.mid, y, Mark::Disc, INK, 3.5)?;
            } else {
                plot.mark(m.mid, y, Mark::Cross, LOOK, 6.0)?;
            }
        }
        Ok(())
    })
}
