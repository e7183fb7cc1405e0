//! Pictures of the comparison of strains.

use crate::error::Result;
use crate::strains::{Strains, Verdict};

use super::figure::Figure;
use super::forest::{ForestRow, forest};
use super::palette::{AHEAD, CURVE, INK, Mark};
use super::scales::Scales;
use super::words::percent;

const WIDTH: u32 = 360;

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
        let level =
            self.means.iter().find_map(|mean| mean.mean.estimate()).map_or_else(String::new, |e| percent(e.level));
        let caption = format!(
            "In brackets: batches. Discs and bars: means at common conditions with {level} intervals, each for itself. Rings: \
             plain means of the batches. Crosses: the means, drawn towards that of all strains the more, the less sure they are."
        );
        Ok(Figure::new("The strains of the season", alt, panels).with_caption(caption))
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
