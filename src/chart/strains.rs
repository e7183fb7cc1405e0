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
use super::svg::{WIDEST, panel};
use super::words::{percent, signed};

const WIDTH: u32 = 360;
/// Of a panel for a strain, and for a trait, px.
const SMALL: (u32, u32) = (157, 150);
const MIDDLE: (u32, u32) = (240, 150);
/// Steps of a drawn curve.
const STEPS: usize = 80;
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
        let curves = self.curves();
        let ends_h = curves.iter().flat_map(|curve| curve.times.last().map(|e| e.value));
        let x = Axis::linear(0.0, 1.15 * ends_h.fold(24.0, f64::max) / HOURS_PER_DAY, 3, "days");
        let highest = curves.iter().map(|curve| curve.terminal.upper);
        let y = Axis::around(highest.chain([0.0]), 0.1, 4, scales.of(Trait::Attenuation));
        let times = evenly(0.0, x.high * HOURS_PER_DAY, STEPS);
        let drawn: Vec<Vec<_>> =
            curves.iter().map(|curve| times.iter().map(|h| (h / HOURS_PER_DAY, curve.at(*h))).collect()).collect();
        let line = |of: &[(f64, Estimate)]| -> Vec<(f64, f64)> { of.iter().map(|(d, e)| (*d, e.value)).collect() };
        let panels = curves.iter().enumerate().map(|(i, curve)| {
            panel(SMALL.0, SMALL.1, |paper| {
                let plot = Frame::new(shortened(&curve.strain, 20), x.clone(), y.clone()).on(paper)?;
                for (_, other) in drawn.iter().enumerate().filter(|(j, _)| *j != i).take(MOST_OTHERS) {
                    plot.line(&line(other), INK, 0.8, 0.35)?;
                }
                let band: Vec<_> = drawn[i].iter().map(|(d, e)| (*d, e.lower, e.upper)).collect();
                plot.band(&band, CURVE, 0.25)?;
                plot.line(&line(&drawn[i]), CURVE, 2.0, 1.0)?;
                let marks = curve.times.iter().map(|e| (e.value / HOURS_PER_DAY, curve.at(e.value).value));
                plot.marks(marks, Mark::Disc, CURVE, 6.0).map(drop)
            })
        });
        let alt = "Attenuation over days from pitching at common conditions, one panel per strain.";
        let caption = format!(
            "Apparent attenuation over days from pitching, drawn through each strain's mean lag, half-way, nine tenths of the drop and \
             attenuation at common conditions. Discs: half-way, nine tenths, coming to rest. Band: {} at each moment. Thin \
             lines: the other strains. The traits were estimated one by one: the band takes times to be early or late \
             together, and apart from the attenuation.",
            self.level()
        );
        let title = "The strains' curves at common conditions";
        Ok(Figure::new(title, alt, panels.collect::<Result<_>>()?).with_caption(caption))
    }

    pub(crate) fn pair_of_traits_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let names = self.means.iter().filter(|mean| mean.which == Trait::T90H).map(|mean| mean.strain.as_str());
        let regions: Vec<_> = names.filter_map(|name| Some((name, self.region(name, STEPS)?))).collect();
        let title = "Attenuation beside nine tenths of the drop";
        let Some(correlation) = self.correlation.filter(|_| !regions.is_empty()) else {
            return Ok(Figure::new(title, "Too few batches give both traits.", Vec::new()));
        };
        let points = || regions.iter().flat_map(|(_, region)| region.iter().copied());
        let hours = scales.of(Trait::T90H).unit;
        let x = Axis::around(points().map(|(t, _)| t), 1.0, 4, format!("nine tenths of the drop, {hours}").as_str());
        let y = Axis::around(points().map(|(_, a)| a), 0.01, 5, scales.of(Trait::Attenuation));
        let drawn = panel(WIDEST, 300, |paper| {
            let plot = Frame::new("", x, Axis { title: "attenuation, %".to_owned(), ..y }).room_right(14).on(paper)?;
            for (_, region) in &regions {
                plot.shape(region, CURVE, 0.1)?;
                plot.line(region, CURVE, 1.6, 1.0)?;
            }
            for (name, _) in regions.iter().take(MOST_OTHERS) {
                let [t, a] = [Trait::T90H, Trait::Attenuation].map(|which| self.mean(name, which)?.mean.value());
                let (Some(t), Some(a)) = (t, a) else { continue };
                plot.mark(t, a, Mark::Disc, CURVE, 6.0)?;
                plot.label(t, a, LabelSide::Above, name, INK)?;
            }
            Ok(())
        })?;
        let caption = format!(
            "Discs: the strains' means at common conditions; edges: {} for both traits of a strain together. Among batches of one \
             strain the two correlate by {}.",
            percent(self.contrast_level),
            signed(correlation, 2, false)
        );
        Ok(Figure::new(title, "Mean attenuation of each strain against its mean time.", vec![drawn])
            .with_caption(caption))
    }

    pub(crate) fn power_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let mut panels = Vec::new();
        for which in self.traits.iter().map(|how| how.which) {
            let open = self.open().filter(|pair| pair.which == which);
            let mut open: Vec<_> = open.filter_map(|pair| Some((pair, pair.power?))).collect();
            // The one that is settled first is drawn last.
            open.sort_by(|(_, a), (_, b)| b.found[0].total_cmp(&a.found[0]));
            let Some((nearest, _)) = open.last() else { continue };
            let found = open.iter().flat_map(|(_, power)| power.found);
            let y = Axis::around(found.chain([0.0]), 0.0, 4, scales.difference_of(which));
            let most = MORE.last().map_or(1.0, |most| *most as f64);
            let x = Axis::linear(0.0, most, 4, "further batches of each");
            panels.push(panel(MIDDLE.0, MIDDLE.1, |paper| {
                let plot = Frame::new(which.title(), x, y).on(paper)?;
                plot.line(&[(0.0, nearest.margin), (most, nearest.margin)], LOOK, 1.2, 0.9)?;
                for (i, (_, power)) in open.iter().enumerate() {
                    let line: Vec<_> = MORE.iter().map(|more| *more as f64).zip(power.found).collect();
                    let last = i + 1 == open.len();
                    let (colour, width, alpha) = if last { (CURVE, 2.0, 1.0) } else { (INK, 0.8, 0.35) };
                    plot.line(&line, colour, width, alpha)?;
                }
                Ok(())
            })?);
        }
        let caption = "Each line is an open pair: the difference that is found four times in five, against how many further batches are \
                       brewed of each of the two. Blue: the pair nearest to settled. Level line: the difference that begins to matter.";
        let alt = "Differences that further batches would find, one panel per trait with an open pair.";
        Ok(Figure::new("What further batches would find", alt, panels).with_caption(caption))
    }

    pub(crate) fn contrast_chart_on(&self, scales: &Scales) -> Result<Figure> {
        let mut panels = Vec::new();
        let mut shown = 0;
        for which in self.traits.iter().map(|how| how.which) {
            let pairs: Vec<_> = self.contrasts.iter().filter(|pair| pair.which == which).collect();
            if pairs.is_empty() {
                continue;
            }
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
            shown += pairs.iter().filter(|p| p.difference.estimate().is_some_and(|e| e.lower * e.upper > 0.0)).count();
            let margin = pairs.first().map_or(0.0, |pair| pair.margin);
            panels.push(forest(which.title(), scales.difference_of(which), &rows, &[-margin, 0.0, margin], WIDTH)?);
        }
        let alt = format!(
            "Differences between strains, pair by pair and trait by trait: {shown} of {} intervals leave out zero.",
            self.contrasts.len()
        );
        Ok(Figure::new("Differences between strains", alt, panels).with_caption(format!(
            "Bars: {} intervals that hold for all pairs of one trait at once. Triangle: first above second. Diamond: \
             first below second. Square: equivalent, within the margins, the outer lines. Ring: open, which is not the same as \
             no difference.",
            percent(self.contrast_level)
        )))
    }
}
