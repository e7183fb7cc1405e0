//! The picture of planned baths.

use crate::calibration::{BathPlan, Plan, gravities};
use crate::error::Result;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{CURVE, INK, Mark, REFERENCE};
use super::plot::{Frame, LabelSide};
use super::scales::Scales;
use super::svg::{Panel, WIDEST, panel};

const HEIGHT: u32 = 230;

impl BathPlan {
    pub(crate) fn chart_on(&self, scales: &Scales) -> Result<Figure> {
        let Some(taken) = self.recommended() else {
            return Ok(Figure::new("The next baths", "No plan could be made.", Vec::new()));
        };
        let panels = vec![self.places(scales)?, gain(&self.plans, scales)?, self.errors(taken, scales)?];
        let alt = format!(
            "Planned baths for SG {:.3} to {:.3}. With {} baths: {}.",
            self.range_sg.0,
            self.range_sg.1,
            taken.n,
            gravities(taken)
        );
        Ok(Figure::new("The next baths", alt, panels).with_caption(format!(
            "Planned for {}: the least mean variance over the shaded range of gravities, which the beers use. \
             Squares: baths; a number above counts repeats, each mixed apart. Blue: planned baths; ochre rings and broken \
             line: as many in even steps. Errors are of the curve alone, the mean over the probes.",
            match self.probes.as_slice() {
                [probe] => probe.clone(),
                probes => format!("{} probes together", probes.len()),
            }
        )))
    }

    /// Where the baths lie, one row for each number of baths.
    fn places(&self, scales: &Scales) -> Result<Panel> {
        let plans = &self.plans;
        let names: Vec<String> = plans.iter().map(|plan| format!("{} baths", plan.n)).collect();
        let sgs = plans.iter().flat_map(|plan| plan.baths.iter().map(|bath| bath.sg));
        let x = Axis::around(sgs.chain([self.range_sg.0, self.range_sg.1]), 0.02, 5, scales.gravity("SG of the bath"));
        panel(WIDEST, HEIGHT, |paper| {
            let plot = Frame::new("where they lie", x, Axis::names(&names)).room_right(14).on(paper)?;
            let (low, high) = (-(plans.len() as f64), 1.0);
            plot.band(&[(self.range_sg.0, low, high), (self.range_sg.1, low, high)], CURVE, 0.12)?;
            for (i, plan) in plans.iter().enumerate() {
                let y = -(i as f64) - 0.12;
                let sgs: Vec<f64> = plan.baths.iter().map(|bath| bath.sg).collect();
                for same in sgs.chunk_by(|a, b| (a - b).abs() < 1e-9) {
                    let Some(&sg) = same.first() else { continue };
                    plot.mark(sg, y, Mark::Square, CURVE, 8.0)?;
                    if same.len() > 1 {
                        plot.label(sg, y, LabelSide::Above, &format!("{}\u{d7}", same.len()), INK)?;
                    }
                }
            }
            Ok(())
        })
    }

    /// The standard error over the range.
    fn errors(&self, plan: &Plan, scales: &Scales) -> Result<Panel> {
        let over = |se: &[f64]| self.range_points_sg.iter().copied().zip(se.iter().copied()).collect::<Vec<_>>();
        let sgs = plan.baths.iter().map(|bath| bath.sg);
        let x = Axis::around(sgs.clone().chain(self.range_points_sg.iter().copied()), 0.02, 5, scales.gravity("SG"));
        let all = plan.se_sg.iter().chain(&plan.even_se_sg).copied();
        let y = Axis::around(all.chain([0.0]), 0.0002, 4, scales.difference("standard error, SG"));
        panel(WIDEST, HEIGHT, |paper| {
            let plot = Frame::new(format!("error with {} baths", plan.n), x, y).room_right(14).on(paper)?;
            let (low, high) = (0.0, f64::MAX);
            plot.band(&[(self.range_sg.0, low, high), (self.range_sg.1, low, high)], CURVE, 0.08)?;
            plot.line(&over(&plan.se_sg), CURVE, 2.2, 1.0)?;
            for pair in over(&plan.even_se_sg).chunks(2) {
                plot.line(pair, REFERENCE, 2.0, 1.0)?;
            }
            for sg in sgs {
                plot.mark(sg, 0.0, Mark::Square, CURVE, 7.0)?;
            }
            Ok(())
        })
    }
}

/// The mean standard error by the number of baths.
fn gain(plans: &[Plan], scales: &Scales) -> Result<Panel> {
    let means = plans.iter().flat_map(|plan| [Some(plan.mean_se_sg()), plan.even_mean_se_sg()]).flatten();
    let y = Axis::around(means.chain([0.0]), 0.0002, 4, scales.difference("mean standard error, SG"));
    let (fewest, most) = (plans.first().map_or(2, |p| p.n), plans.last().map_or(8, |p| p.n));
    let ticks = plans.iter().map(|plan| (plan.n as f64, plan.n.to_string())).collect();
    let x = Axis {
        low: fewest as f64 - 0.5,
        high: most as f64 + 0.5,
        ticks,
        title: "number of baths".to_owned(),
        grid: false,
    };
    panel(WIDEST, HEIGHT, |paper| {
        let plot = Frame::new("what each more gains", x, y).room_right(14).on(paper)?;
        for plan in plans {
            let n = plan.n as f64;
            if let Some(se) = plan.even_mean_se_sg() {
                plot.mark(n, se, Mark::Ring, REFERENCE, 9.0)?;
            }
            plot.mark(n, plan.mean_se_sg(), Mark::Disc, CURVE, 7.0)?;
        }
        Ok(())
    })
}
