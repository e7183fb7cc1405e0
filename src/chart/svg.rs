//! From plotters' SVG to ours: sub-pixel positions, the text's own colour, fewer bytes.

use plotters::coord::Shift;
use plotters::prelude::{DrawingArea, IntoDrawingArea, SVGBackend};

use crate::error::{Error, Result};

use super::palette::INK_TEXT;

/// Drawing units per px: plotters places marks on whole units only, so that a finer grid keeps curves smooth.
pub(super) const SCALE: u32 = 4;
/// Widest panel, px: what a phone of 360 px leaves beside its margins, so that words keep their size there.
pub(super) const WIDEST: u32 = 328;
/// The page's own face where it has one.
pub(super) const FONT: &str = "system-ui,sans-serif";

/// One drawing: the inside of an SVG document and its size.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Panel {
    /// SVG elements, without the root.
    pub(super) body: String,
    /// Width, px.
    pub(super) width: u32,
    /// Height, px.
    pub(super) height: u32,
    /// Units of `body` per px.
    pub(super) scale: u32,
}

impl Panel {
    /// The drawing units of the panel, as SVG wants them.
    pub(super) fn view_box(&self) -> String {
        format!("0 0 {} {}", self.width * self.scale, self.height * self.scale)
    }
}

/// The whole drawing area of one panel.
pub(super) type Paper<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// Draws one panel of `width` x `height` px with `draw`, which gets the paper in drawing units.
pub(super) fn panel(width: u32, height: u32, draw: impl FnOnce(&Paper<'_>) -> Result<()>) -> Result<Panel> {
    let mut text = String::new();
    {
        let paper = SVGBackend::with_string(&mut text, (width * SCALE, height * SCALE)).into_drawing_area();
        draw(&paper)?;
        paper.present().map_err(drawing)?;
    }
    Ok(Panel { body: finish(&text), width, height, scale: SCALE })
}

/// An error of the drawing backend as ours.
pub(super) fn drawing(why: impl std::fmt::Display) -> Error {
    Error::numeric("drawing a picture", why.to_string())
}

/// The elements inside the root, with ink as `currentColor` and without what is the default anyway.
///
/// Text of the user cannot be hit by these replacements: in it the quotation mark is written `&quot;`.
fn finish(svg: &str) -> String {
    let inside = svg.find('>').and_then(|start| svg.get(start + 1..)).unwrap_or(svg);
    let inside = inside.trim_end().strip_suffix("</svg>").unwrap_or(inside);
    let out = inside
        .replace(INK_TEXT, "\"currentColor\"")
        .replace(" opacity=\"1\"", "")
        .replace(" stroke=\"none\"", "")
        .replace(" font-family=\"sans-serif\"", "")
        .replace(" text-anchor=\"start\"", "")
        .replace(" \"/>", "\"/>")
        .replace(">\n<", "><")
        .replace("\n</text>", "</text>");
    joined(out.trim())
}

/// Discs of one look in a row as one path of dots: an eighth of the bytes, and one element for the browser instead of hundreds.
fn joined(svg: &str) -> String {
    const CIRCLE: &str = "<circle cx=\"";
    let mut pieces = svg.split(CIRCLE);
    let mut out = pieces.next().unwrap_or_default().to_owned();
    let mut open = "";
    for piece in pieces {
        let found = disc(piece);
        if !open.is_empty() && found.is_none_or(|(_, _, look, _)| look != open) {
            out.push_str("\"/>");
            open = "";
        }
        let Some((x, y, look, after)) = found else {
            out = out + CIRCLE + piece;
            continue;
        };
        if let Some((radius, colour)) = look.split_once('"').filter(|_| open.is_empty()) {
            let colour = colour.replace("fill=", "fill=\"none\" stroke-linecap=\"round\" stroke=");
            out += &format!("<path{colour} stroke-width=\"{}\" d=\"", 2.0 * radius.parse().unwrap_or(0.0));
        }
        out += &format!("M{x} {y}h0");
        open = if after.is_empty() { look } else { "" };
        if !after.is_empty() {
            out = out + "\"/>" + after;
        }
    }
    if open.is_empty() { out } else { out + "\"/>" }
}

/// Place and look of the disc that begins here, and what follows it; none for a ring.
fn disc(piece: &str) -> Option<(&str, &str, &str, &str)> {
    let (disc, after) = piece.split_once(" stroke-width=\"1\"/>")?;
    let (x, rest) = disc.split_once("\" cy=\"")?;
    let (y, look) = rest.split_once("\" r=\"")?;
    (!look.contains("\"none\"") && !look.contains('>')).then_some((x, y, look, after))
}

#[cfg(test)]
mod tests {
    use plotters::prelude::{Circle, Text};
    use plotters::style::Color;

    use super::super::palette::INK;
    use super::*;

    #[test]
    fn discs_in_a_row_are_one_path_and_rings_stay() {
        let made = panel(100, 50, |paper| {
            for x in [8, 12, 16] {
                paper.draw(&Circle::new((x, 8), 4, INK.mix(0.5).filled())).map_err(drawing)?;
            }
            paper.draw(&Circle::new((20, 8), 4, INK.stroke_width(2))).map_err(drawing)?;
            paper.draw(&Circle::new((24, 8), 5, INK.filled())).map_err(drawing)
        })
        .unwrap();
        assert!(made.body.contains("d=\"M8 8h0M12 8h0M16 8h0\"/>"), "{}", made.body);
        assert!(made.body.contains("stroke-width=\"8\"") && made.body.contains("opacity=\"0.5\""), "{}", made.body);
        assert_eq!(made.body.matches("<circle").count(), 1, "{}", made.body);
        assert!(made.body.ends_with("d=\"M24 8h0\"/>"), "{}", made.body);
    }

    #[test]
    fn ink_follows_the_page_and_words_of_the_user_are_kept() {
        let made = panel(100, 50, |paper| {
            paper.draw(&Circle::new((8, 8), 4, INK.filled())).map_err(drawing)?;
            let words = "a \"b\" opacity=\"1\" <c> \"#010203\"";
            paper.draw(&Text::new(words, (20, 20), ("sans-serif", 48))).map_err(drawing)
        })
        .unwrap();
        assert!(made.body.contains("stroke=\"currentColor\""), "{}", made.body);
        assert!(!made.body.contains("<svg") && !made.body.contains("</svg>"));
        assert!(
            made.body.contains("a &quot;b&quot; opacity=&quot;1&quot; &lt;c&gt; &quot;#010203&quot;</text>"),
            "{}",
            made.body
        );
    }
}
