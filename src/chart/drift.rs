//! Pictures of drift.

use std::collections::BTreeMap;

use crate::drift::{Drift, DriftPair, PairKind, ProbeDrift, TrackPoint};
use crate::error::Result;
use crate::fit::Finding;

use super::axis::Axis;
use super::figure::Figure;
use super::forest::{ForestRow, forest};
use super::palette::{AHEAD, CURVE, INK, LOOK, Mark, REFERENCE};
use super::plot::{Frame, Plot};
use super::scales::Scales;
use super::svg::{Panel, WIDEST, panel};
use super::words::{percent, signed};

const WIDTH: u32 = 280;
const HEIGHT: u32 = 200;

impl Drift {
    pub(crate) fn chart_on(&self, scales: &Scales) -> Result<Figure> {
        let mut by_probe: BTreeMap<&str, Vec<&DriftPair>> = BTreeMap::new();
        // Probes beside each other have no known gravity to be drawn against.
        let pairs: Vec<&DriftPair> = self.pairs.iter().filter(|pair| pair.kind != PairKind::SameBeer).collect();
        for pair in &pairs {
            by_probe.entry(&pair.probe).or_default().push(pair);
        }
        let x = Axis::around(pairs.iter().map(|p| p.age_d).chain([0.0]), 10.0, 4, "days since first calibration");
        let ends = pairs.iter().flat_map(|p| [p.difference_sg - error(p), p.difference_sg + error(p)]);
        let y = Axis::around(ends.chain([0.0]), 0.004, 5, scales.difference("probe minus known, SG"));
        let panels = by_probe
            .iter()
            .map(|(probe, pairs)| self.probe_panel(probe, pairs, x.clone(), y.clone(), scales))
            .collect::<Result<Vec<_>>>()?;
        let alt = format!(
            "Probe minus known gravity over time for {} probes at {} references. {}",
            by_probe.len(),
            pairs.len(),
            self.in_words()
        );
        Ok(Figure::new("How true each probe stays", alt, panels).with_caption(format!(
            "Ochre squares: baths. Ring: samples of batches, and original gravities as stated. Cross: left out of the estimate. Bars: \
             one standard error of the reference and of the probe's own noise. Comparisons of two probes with each other have \
             no mark. Line and band: the estimated error at SG 1.020 with its interval. Upright \
             lines: sudden shifts, thin where an event is written down, thick and red where found in the data. Bars at the foot: \
             batches. Above: the slope through all of it with its standard error, {}.",
            scales.difference("SG per 30 days").unit
        )))
    }

    fn probe_panel(&self, probe: &str, pairs: &[&DriftPair], x: Axis, y: Axis, scales: &Scales) -> Result<Panel> {
        panel(WIDTH, HEIGHT, |paper| {
            let plot = Frame::new(probe, x, y).on(paper)?;
            plot.rule_y(0.0)?;
            batches(&plot, pairs)?;
            for (age_d, found) in self.shift_ages(probe, pairs) {
                let (low, high) = plot.y_range();
                let width = if found { 2.0 } else { 1.2 };
                plot.upright(age_d, low, high, if found { LOOK } else { INK }, width)?;
            }
            for pair in pairs {
                let (at, centre, se) = (pair.age_d, pair.difference_sg, error(pair));
                if pair.left_out.is_some() {
                    plot.mark(at, centre, Mark::Cross, INK, 6.0)?;
                    continue;
                }
                plot.upright(at, centre - se, centre + se, REFERENCE, 1.0)?;
                let mark = if pair.kind == PairKind::Bath { Mark::Square } else { Mark::Ring };
                plot.mark(at, centre, mark, REFERENCE, 7.0)?;
            }
            let slope = self.of_probe(probe);
            if let Some(drift) = slope {
                track(&plot, &drift.track)?;
            }
            plot.note(&slope.map_or_else(|| "no pairs used".to_owned(), |probe| slope_in_words(probe, scales)))
        })
    }

    /// Days since the first calibration of the probe's shifts; true for one that was found.
    fn shift_ages(&self, probe: &str, pairs: &[&DriftPair]) -> Vec<(f64, bool)> {
        let Some(calibrated) = pairs.first().map(|pair| pair.at.plus_days(-pair.age_d)) else { return Vec::new() };
        let of_probe = self.shifts.iter().filter(|shift| shift.probe == probe);
        of_probe.map(|shift| (shift.at.days_since(calibrated), shift.kind.is_found())).collect()
    }

    pub(crate) fn fleet_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let mut probes: Vec<&ProbeDrift> = self.probes.iter().collect();
        let slope = |probe: &ProbeDrift| probe.drift_sg_per_30d.value().unwrap_or(f64::INFINITY);
        probes.sort_by(|a, b| slope(a).total_cmp(&slope(b)));
        let mut rows: Vec<ForestRow> = Vec::new();
        for probe in probes {
            rows.push(ForestRow::new(&probe.probe, &probe.drift_sg_per_30d, CURVE, Mark::Disc));
            if self.shifts.iter().any(|shift| shift.probe == probe.probe) {
                rows.push(ForestRow::new("between its shifts", &probe.gradual_sg_per_30d, AHEAD, Mark::Ring));
            }
        }
        for term in self.fleet.iter().filter(|term| term.term.starts_with("mean_drift")) {
            rows.push(ForestRow::new("mean of the fleet", &term.finding, INK, Mark::Diamond));
        }
        // Without an estimate there is nothing to see.
        let any = self.probes.iter().any(|probe| probe.drift_sg_per_30d.estimate().is_some());
        let unit = scales.difference("drift, SG per 30 days");
        let panels = if any { vec![forest("", unit, &rows, &[0.0], WIDEST)?] } else { Vec::new() };
        let caption = format!(
            "Disc: a probe, with its sudden shifts. Ring, below it: the same probe without them. Diamond: the mean over probes, \
             with shifts. Bars: {} intervals. A bar that crosses 0 does not show a drift; a wide one says that too little is known.",
            percent(self.level)
        );
        Ok(Figure::new("Drift of the fleet", self.in_words(), panels).with_caption(caption))
    }

    /// The probes by what their intervals say, in words.
    fn in_words(&self) -> String {
        let said = |keep: &dyn Fn(f64, f64) -> bool| -> Vec<&str> {
            let holds = |p: &&ProbeDrift| p.drift_sg_per_30d.estimate().is_some_and(|e| keep(e.lower, e.upper));
            self.probes.iter().filter(holds).map(|p| p.probe.as_str()).collect()
        };
        let list = |names: Vec<&str>| if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        format!(
            "Reading ever higher: {}; ever lower: {}; no drift shown: {}.",
            list(said(&|low, _| low > 0.0)),
            list(said(&|_, high| high < 0.0)),
            list(said(&|low, high| low <= 0.0 && high >= 0.0))
        )
    }
}

/// Short bars at the foot of the frame where a batch gave samples.
fn batches(plot: &Plot<'_, '_>, pairs: &[&DriftPair]) -> Result<()> {
    let mut spans: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for pair in pairs {
        if let Some(batch) = &pair.batch {
            let span = spans.entry(batch).or_insert((pair.age_d, pair.age_d));
            *span = (span.0.min(pair.age_d), span.1.max(pair.age_d));
        }
    }
    let (low, high) = plot.y_range();
    for (from, to) in spans.into_values() {
        plot.level(low + 0.015 * (high - low), from - 0.5, to + 0.5, AHEAD, 3.0)?;
    }
    Ok(())
}

/// The estimated error with its interval.
fn track(plot: &Plot<'_, '_>, points: &[TrackPoint]) -> Result<()> {
    let rows: Vec<_> = points.iter().map(|p| (p.age_d, p.lower, p.upper)).collect();
    plot.band(&rows, CURVE, 0.18)?;
    let line: Vec<_> = points.iter().map(|p| (p.age_d, p.error_sg)).collect();
    plot.line(&line, CURVE, 1.8, 1.0)
}

/// Standard error of a pair apart from what all pairs of the probe share.
fn error(pair: &DriftPair) -> f64 {
    pair.reference_sd.hypot(pair.own_se)
}

fn slope_in_words(probe: &ProbeDrift, scales: &Scales) -> String {
    let shown = scales.difference("SG");
    match &probe.drift_sg_per_30d {
        Finding::Estimated(e) => {
            let (e, n) = (shown.estimate(e), shown.decimals(4));
            format!("{} \u{b1} {:.n$} / 30 d", signed(e.value, n, true), e.se)
        }
        Finding::Fixed { value, .. } => format!("held at {value}"),
        Finding::NotEstimable { .. } => "slope not estimable".to_owned(),
    }
}
