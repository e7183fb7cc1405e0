//! Pictures of the comparison of strains.

use crate::error::Result;
use crate::fit::Estimate;
use crate::kinetics::Trait;
use crate::strains::{MORE, Strains, Verdict};
use crate::units::HOURS_PER_DAY;

use super::axis::{Axis, evenly, shortened};
use super::figure::Figure;
use super::forest::{ForestRow, forest};
use super::palette::{AHEAD, CURVE, INK, LOOK, Mark};
use super::plot::{Frame, LabelSide};
use super::scales::Scales;
use super::svg::{Paper, WIDEST, panel};
use super::words::{percent, signed};

const WIDTH: u32 = 360;
/// Other strains beside the one of a panel, and names in a panel of all.
const MOST_OTHERS: usize = 20;

impl Strains {
    pub(crate) fn chart_on(&self, scales: &Scales) -> Result<Figure> {
        let mut panels = Vec::new();
        for which in self.traits.iter().map(|how| how.which) {
            let means: Vec<_> = self.means.iter().filter(|mean| mean.which == which).collect();
            let rows: Vec<ForestRow> = means
                .iter()
                .map(|mean| {
                    let name = format!("{} ({})", mean.strain, mean.n);
                    let beside = [(mean.raw, Mark::Ring), (mean.pooled.value(), Mark::Cross)];
                    ForestRow::new(&name, &mean.mean, CURVE, Mark::Disc).beside(beside)
                })
                .collect();
            panels.push(forest(which.title(), scales.of(which), &rows, &[], WIDTH)?);
        }
        let alt = "Mean of each trait per strain with its interval, and how many batches it rests on.";
        let level = self.level();
        let caption = format!(
            "In brackets: batches. Discs and bars: means at common conditions with {level} intervals, each for itself. Rings: \
             plain means of the batches. Crosses: the means, drawn towards that of all strains the more, the less sure they are."
        );
        Ok(Figure::new("The strains of the season", alt, panels).with_caption(caption))
    }

    /// Level of the intervals of the means, in words.
    fn level(&self) -> String {
        self.means.iter().find_map(|mean| mean.mean.estimate()).map_or_else(String::new, |e| percent(e.level))
    }

    pub(crate) fn curve_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let value = |strain: &str, which| self.mean(strain, which).and_then(|mean| mean.mean.value());
        let ends_h = self.means.iter().filter(|mean| mean.which.is_time()).filter_map(|mean| mean.mean.value());
        let to_d = 1.1 * ends_h.fold(24.0, f64::max) / HOURS_PER_DAY;
        let days = evenly(0.0, to_d, 80);
        let at = |strain: &str, day: f64| self.attenuation_at(strain, HOURS_PER_DAY * day);
        let curves = self.means.iter().filter(|mean| mean.which == Trait::Attenuation).filter_map(|mean| {
            let points = days.iter().map(|day| Some((*day, at(&mean.strain, *day)?)));
            Some((&mean.strain, points.collect::<Option<Vec<_>>>()?))
        });
        let curves: Vec<_> = curves.collect();
        let highest = curves.iter().flat_map(|(_, points)| points.iter().map(|(_, e)| e.upper));
        let y = Axis::around(highest.chain([0.0]), 0.1, 4, scales.of(Trait::Attenuation));
        let panels = curves.iter().map(|(strain, points)| {
            let line = |of: &[(f64, Estimate)]| of.iter().map(|(day, e)| (*day, e.value)).collect::<Vec<_>>();
            panel(157, 170, |paper| {
                let x = Axis::linear(0.0, to_d, 3, "days");
                let plot = Frame::new(shortened(strain, 20), x, y.clone()).on(paper)?;
                for (_, other) in curves.iter().filter(|(other, _)| other != strain).take(MOST_OTHERS) {
                    plot.line(&line(other), INK, 0.8, 0.35)?;
                }
                plot.band(&points.iter().map(|(day, e)| (*day, e.lower, e.upper)).collect::<Vec<_>>(), CURVE, 0.3)?;
                plot.line(&line(points), CURVE, 1.6, 1.0)?;
                let times =
                    [Trait::MidH, Trait::T90H, Trait::FinishH].into_iter().filter_map(|which| value(strain, which));
                let marks = times.map(|h| h / HOURS_PER_DAY).filter_map(|day| Some((day, at(strain, day)?.value)));
                plot.marks(marks, Mark::Disc, CURVE, 5.0).map(drop)
            })
        });
        let caption = format!(
            "Apparent attenuation over days from pitching at common conditions, drawn through each strain's mean lag, half-way, nine \
             tenths of the drop and attenuation. Discs: half-way, nine tenths, coming to rest. Band: {} at each moment. The traits were \
             estimated one by one: it takes times to be early or late together, and apart from the attenuation. Thin lines: \
             the other strains.",
            self.level()
        );
        let panels = panels.collect::<Result<_>>()?;
        Ok(Figure::new("The strains' curves", "Attenuation of each strain over time.", panels).with_caption(caption))
    }

    pub(crate) fn pair_of_traits_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let times = self.means.iter().filter(|mean| mean.which == Trait::T90H);
        let regions: Vec<_> = times.filter_map(|time| Some((&time.strain, self.region(&time.strain)?))).collect();
        let points = || regions.iter().flat_map(|(_, region)| region);
        let hours = format!("nine tenths of the drop, {}", scales.of(Trait::T90H).unit);
        let x = Axis::around(points().map(|(t, _)| *t), 1.0, 4, hours.as_str());
        let y = Axis::around(points().map(|(_, a)| *a), 0.01, 5, scales.of(Trait::Attenuation));
        let draw = |paper: &Paper<'_>| {
            let plot = Frame::new("", x, Axis { title: "attenuation, %".to_owned(), ..y }).room_right(14).on(paper)?;
            for (strain, region) in &regions {
                plot.shape(region, CURVE, 0.1)?;
                plot.line(region, CURVE, 1.6, 1.0)?;
                let value = |which| self.mean(strain, which).and_then(|mean| mean.mean.value()).unwrap_or(f64::NAN);
                plot.mark(value(Trait::T90H), value(Trait::Attenuation), Mark::Disc, CURVE, 6.0)?;
                plot.label(value(Trait::T90H), value(Trait::Attenuation), LabelSide::Above, strain, INK)?;
            }
            Ok(())
        };
        let drawn = if regions.is_empty() { Vec::new() } else { vec![panel(WIDEST, 300, draw)?] };
        let caption = format!(
            "Discs: means at common conditions. Edges: {} for both traits of a strain at once. Among batches of one strain they \
             correlate by {}.",
            percent(self.contrast_level),
            signed(self.correlation.unwrap_or(0.0), 2, false)
        );
        Ok(Figure::new("Attenuation beside nine tenths of the drop", "Means of both traits.", drawn)
            .with_caption(caption))
    }

    pub(crate) fn power_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let more = MORE.map(|more| more as f64);
        let mut panels = Vec::new();
        for which in self.traits.iter().map(|how| how.which) {
            let open = self.open().filter(|pair| pair.which == which);
            let open: Vec<_> = open.filter_map(|pair| Some((pair.margin, pair.power?.found))).collect();
            let Some((margin, _)) = open.first() else { continue };
            let y = Axis::around(open.iter().flat_map(|o| o.1).chain([0.0]), 0.0, 4, scales.difference_of(which));
            let x = Axis::linear(0.0, more[MORE.len() - 1], 4, "further batches of each");
            panels.push(panel(240, 150, |paper| {
                let plot = Frame::new(shortened(which.title(), 31), x, y).on(paper)?;
                plot.line(&more.map(|more| (more, *margin)), LOOK, 1.2, 0.9)?;
                let lines = open.iter().map(|(_, found)| more.into_iter().zip(*found).collect::<Vec<_>>());
                lines.into_iter().try_for_each(|line| plot.line(&line, CURVE, 1.2, 0.7))
            })?);
        }
        let caption = "Each curve is an open pair: the difference that is found four times in five, against the further batches brewed of \
                       each of the two. Level line: the difference that begins to matter.";
        Ok(Figure::new("What further batches would find", "Differences over further batches.", panels)
            .with_caption(caption))
    }

    pub(crate) fn contrast_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let mut panels = Vec::new();
        for which in self.traits.iter().map(|how| how.which) {
            let pairs: Vec<_> = self.contrasts.iter().filter(|pair| pair.which == which).collect();
            let Some(margin) = pairs.first().map(|pair| pair.margin) else { continue };
            let rows: Vec<ForestRow> = pairs
                .iter()
                .map(|pair| {
                    let (colour, mark) = match pair.difference.estimate() {
                        Some(e) if e.lower > 0.0 => (AHEAD, Mark::Triangle),
                        Some(e) if e.upper < 0.0 => (CURVE, Mark::Diamond),
                        _ if pair.verdict == Some(Verdict::Equivalent) => (INK, Mark::Square),
                        _ => (INK, Mark::Ring),
                    };
                    ForestRow::new(&format!("{} \u{2212} {}", pair.a, pair.b), &pair.difference, colour, mark)
                })
                .collect();
            panels.push(forest(which.title(), scales.difference_of(which), &rows, &[-margin, 0.0, margin], WIDTH)?);
        }
        let alt = "Differences between strains, pair by pair and trait by trait.";
        Ok(Figure::new("Differences between strains", alt, panels).with_caption(format!(
            "Bars: {} intervals that hold for all pairs of one trait at once. Triangle: first above second. Diamond: \
             first below second. Square: equivalent, within the margins, the outer lines. Ring: open, which is not the same as \
             no difference.",
            percent(self.contrast_level)
        )))
    }
}
