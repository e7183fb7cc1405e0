//! Of which kind drift is.

use plotters::style::text_anchor::{HPos, VPos};

use crate::drift::{Drift, DriftKind, KindVerdict};
use crate::error::Result;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{AHEAD, CURVE, INK, Mark};
use super::plot::{Frame, Plot};
use super::svg::{WIDEST, panel};

const HEIGHT: u32 = 300;
/// Size of the letters of labels, px, and a guess at their mean width.
const LETTER: (f64, f64) = (11.0, 6.4);

impl Drift {
    /// Every probe by the change of its size (relative K) and of its tilt's zero, with standard errors.
    #[doc = example!(study "study.drift()?.kinds_chart()?;")]
    pub fn kinds_chart(&self) -> Result<Figure> {
        const TITLE: &str = "Two kinds of drift";
        // What has moved: the size in %, the zero in degrees, each with its standard error.
        let rows: Vec<(&DriftKind, [f64; 2], [f64; 2])> = self
            .kinds
            .iter()
            .filter_map(|k| Some((k, k.relative_k_per_30d.estimate()?, k.zero_deg_per_30d.estimate()?)))
            .map(|(kind, k, zero)| (kind, [100.0 * k.value, 100.0 * k.se], [zero.value, zero.se]))
            .collect();
        if rows.is_empty() {
            return Ok(Figure::new(TITLE, "No probe's drift can be split into kinds.", Vec::new()));
        }
        let ends = |[value, se]: [f64; 2]| [value - se, value + se, 0.0];
        let title = "proportional: relative change of K, % per 30 days";
        let x = Axis::around(rows.iter().flat_map(|(_, k, _)| ends(*k)), 0.05, 5, title);
        let title = "sideways: change of the tilt's zero, \u{b0} per 30 days";
        let y = Axis::around(rows.iter().flat_map(|(.., zero)| ends(*zero)), 0.2, 5, title);
        let drawn = panel(WIDEST, HEIGHT, |paper| {
            let plot = Frame::new("", x, y).room_right(14).on(paper)?;
            plot.rule_x(0.0)?;
            plot.rule_y(0.0)?;
            let (mut taken, mut bars) = (Vec::new(), Vec::new());
            for &(kind, [k, k_se], [zero, zero_se]) in &rows {
                let (colour, mark) = match kind.verdict {
                    KindVerdict::Proportional => (CURVE, Mark::Square),
                    KindVerdict::Sideways => (AHEAD, Mark::Triangle),
                    KindVerdict::CannotTell => (INK, Mark::Ring),
                };
                plot.level(zero, k - k_se, k + k_se, colour, 1.2)?;
                plot.upright(k, zero - zero_se, zero + zero_se, colour, 1.2)?;
                plot.mark(k, zero, mark, colour, 8.0)?;
                let (x, y) = plot.px(k, zero);
                let ((left, low), (right, high)) =
                    (plot.px(k - k_se, zero - zero_se), plot.px(k + k_se, zero + zero_se));
                taken.push([x - 5.0, y - 5.0, x + 5.0, y + 5.0]);
                bars.extend([[left, y - 1.0, right, y + 1.0], [x - 1.0, high, x + 1.0, low]]);
            }
            // Names come last and keep clear of all bars, or where there is no such place of all marks and names.
            for (kind, [k, _], [zero, _]) in &rows {
                let at = plot.px(*k, *zero);
                if !name(&plot, at, &kind.probe, &mut taken, &bars)? {
                    name(&plot, at, &kind.probe, &mut taken, &[])?;
                }
            }
            Ok(())
        })?;
        let words: Vec<String> = self.kinds.iter().map(|k| format!("{}: {}", k.probe, k.verdict)).collect();
        Ok(Figure::new(TITLE, words.join("; "), vec![drawn]).with_caption(
            "Marks with bars: estimate and standard error. Square: proportional, something of mass, height or shell. Triangle: \
             sideways, the sensor's zero or mass across the axis. Ring: the references do not tell, as both \
             kinds look alike but for 0.001 SG or so between water and a strong bath.",
        ))
    }
}

/// Writes a name beside a point where it covers nothing; false where there is no such place.
fn name(
    plot: &Plot<'_, '_>,
    (px, py): (f64, f64),
    text: &str,
    taken: &mut Vec<[f64; 4]>,
    bars: &[[f64; 4]],
) -> Result<bool> {
    let (left, top, right, bottom) = plot.frame_px();
    let (high, wide) = (LETTER.0, text.chars().count() as f64 * LETTER.1);
    let sides = |up: f64| [(px + 8.0, py + up), (px - 8.0 - wide, py + up)];
    for (from, middle) in [-9.0, 9.0, -20.0, 20.0, -32.0, 32.0].into_iter().flat_map(sides) {
        let own = [from, middle - high / 2.0, from + wide, middle + high / 2.0];
        let clear = |other: &[f64; 4]| own[2] < other[0] || other[2] < own[0] || own[3] < other[1] || other[3] < own[1];
        let free = taken.iter().chain(bars).all(clear);
        if free && own[0] >= left && own[2] <= right + 12.0 && own[1] >= top && own[3] <= bottom {
            taken.push(own);
            plot.words(text, (from, middle), LETTER.0, false, INK, (HPos::Left, VPos::Center))?;
            return Ok(true);
        }
    }
    Ok(false)
}
