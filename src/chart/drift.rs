//! Pictures of drift.

use std::collections::BTreeMap;

use crate::drift::{Drift, DriftPair, PairKind, ProbeDrift};
use crate::error::Result;
use crate::fit::{Estimate, Finding};

use super::axis::Axis;
use super::figure::{Figure, Panel};
use super::forest::{Row, forest};
use super::palette::{CURVE, INK, Mark, REFERENCE};
use super::plot::{Frame, Plot};
use super::svg::panel;
use super::words::signed;

const WIDTH: u32 = 280;
const HEIGHT: u32 = 200;

impl Drift {
    /// Every probe against every reference, one panel per probe on the same scales: probe minus known gravity over the
    /// days since its first calibration.
    ///
    /// # Errors
    /// [`crate::Error::Numeric`] when drawing fails.
    pub fn chart(&self) -> Result<Figure> {
        let mut by_probe: BTreeMap<&str, Vec<&DriftPair>> = BTreeMap::new();
        for pair in &self.pairs {
            by_probe.entry(&pair.probe).or_default().push(pair);
        }
        let x = Axis::around(self.pairs.iter().map(|p| p.age_d).chain([0.0]), 10.0, 4, "days since first calibration");
        let ends = self.pairs.iter().flat_map(|p| [p.difference_sg - error(p), p.difference_sg + error(p)]);
        let y = Axis::around(ends.chain([0.0]), 0.004, 5, "probe minus known, SG");
        let panels = by_probe
            .iter()
            .map(|(probe, pairs)| self.probe_panel(probe, pairs, x.clone(), y.clone()))
            .collect::<Result<Vec<_>>>()?;
        let alt = format!(
            "Probe minus known gravity over time for {} probes at {} references. {}",
            by_probe.len(),
            self.pairs.len(),
            self.in_words()
        );
        Ok(Figure::new("How true each probe stays", alt, panels).with_caption(
            "Ochre squares: baths. Ring: samples of batches. Cross: left out of the estimate. Bars: one standard error of \
             the reference and of the probe's own noise. Line and fan: the estimated slope and its interval, drawn through \
             the middle of the pairs. Above: the slope with its standard error, SG per 30 days.",
        ))
    }

    fn probe_panel(&self, probe: &str, pairs: &[&DriftPair], x: Axis, y: Axis) -> Result<Panel> {
        panel(WIDTH, HEIGHT, |paper| {
            let plot = Frame::new(probe, x, y).on(paper)?;
            plot.rule_y(0.0)?;
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
            if let Some(e) = slope.and_then(|s| s.drift_sg_per_30d.estimate()) {
                fan(&plot, pairs, e)?;
            }
            plot.note(&slope.map_or_else(|| "no pairs used".to_owned(), slope_in_words))
        })
    }

    /// The drift of each probe and of the fleet, with their intervals.
    ///
    /// # Errors
    /// [`crate::Error::Numeric`] when drawing fails.
    pub fn fleet_chart(&self) -> Result<Figure> {
        let mut rows: Vec<Row> = self
            .probes
            .iter()
            .map(|probe| Row::new(&probe.probe, &probe.drift_sg_per_30d, CURVE, Mark::Disc))
            .collect();
        for term in self.fleet.iter().filter(|term| term.term.starts_with("mean_drift")) {
            rows.push(Row::new("mean of the fleet", &term.finding, INK, Mark::Diamond));
        }
        let drawn = forest("", "drift, SG per 30 days", &rows, &[0.0], 380)?;
        let caption = format!(
            "Bars: {:.0} % intervals. A bar that crosses 0 does not show a drift; a wide one says that too little is known.",
            100.0 * self.level
        );
        Ok(Figure::new("Drift of the fleet", self.in_words(), vec![drawn]).with_caption(caption))
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

/// The slope with its interval as lines through the weighted middle of the pairs that were used; pairs of one day share
/// one weight, as a calibration's many baths are one look at the probe.
fn fan(plot: &Plot<'_, '_>, pairs: &[&DriftPair], slope: &Estimate) -> Result<()> {
    let used: Vec<(f64, f64, f64)> = pairs
        .iter()
        .filter(|pair| pair.left_out.is_none())
        .map(|pair| {
            let same_day = |other: &&&DriftPair| other.left_out.is_none() && (other.age_d - pair.age_d).abs() < 0.5;
            let of_day = pairs.iter().filter(same_day).count().max(1) as f64;
            (pair.age_d, pair.difference_sg, error(pair).max(1e-6).powi(-2) / of_day)
        })
        .collect();
    let total: f64 = used.iter().map(|(.., w)| w).sum();
    let (age, level) = used.iter().fold((0.0, 0.0), |(a, l), (x, y, w)| (a + x * w / total, l + y * w / total));
    let (from, to) = used.iter().fold((0.0f64, 0.0f64), |(low, high), (x, ..)| (low.min(*x), high.max(*x)));
    let at = |x: f64, per_30d: f64| level + per_30d * (x - age) / 30.0;
    let rows: Vec<_> = (0..=20)
        .map(|i| from + (to - from) * f64::from(i) / 20.0)
        .map(|x| {
            let ends = (at(x, slope.lower), at(x, slope.upper));
            (x, ends.0.min(ends.1), ends.0.max(ends.1))
        })
        .collect();
    plot.band(&rows, CURVE, 0.18)?;
    plot.line(&[(from, at(from, slope.value)), (to, at(to, slope.value))], CURVE, 1.8, 1.0)
}

/// Standard error of a pair apart from what all pairs of the probe share.
fn error(pair: &DriftPair) -> f64 {
    pair.reference_sd.hypot(pair.own_se)
}

fn slope_in_words(probe: &ProbeDrift) -> String {
    match &probe.drift_sg_per_30d {
        Finding::Estimated(e) => format!("{} \u{b1} {:.4} / 30 d", signed(e.value, 4, true), e.se),
        Finding::Fixed { value, .. } => format!("held at {value}"),
        Finding::NotEstimable { .. } => "slope not estimable".to_owned(),
    }
}
