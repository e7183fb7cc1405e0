//! What became of the rows, table by table.

use std::collections::BTreeMap;

use plotters::style::text_anchor::{HPos, VPos};

use crate::error::Result;
use crate::season::RowAccount;

use super::axis::Axis;
use super::figure::Figure;
use super::palette::{CURVE, INK, LOOK, REFERENCE};
use super::plot::Frame;
use super::svg::panel;

impl RowAccount {
    /// The shares of kept, flagged and rejected rows per table, with their counts.
    ///
    /// # Errors
    /// [`crate::Error::Numeric`] when drawing fails.
    pub fn chart(&self) -> Result<Figure> {
        let mut tables: BTreeMap<&str, [usize; 4]> = BTreeMap::new();
        for file in &self.files {
            let sums = tables.entry(&file.table).or_default();
            for (sum, count) in sums.iter_mut().zip([file.read, file.kept, file.flagged, file.rejected]) {
                *sum += count;
            }
        }
        let names: Vec<&str> = tables.keys().copied().collect();
        let rows = names.len() as u32;
        let drawn = panel(440, 66 + rows * 40, |paper| {
            let x = Axis::linear(0.0, 100.0, 4, "share of the rows read, %");
            let plot = Frame::new("", x, Axis::names(&names)).room_right(16).on(paper)?;
            for (i, [read, kept, flagged, rejected]) in tables.values().enumerate() {
                let y = -(i as f64);
                let share = |count: usize| 100.0 * count as f64 / (*read).max(1) as f64;
                let (a, b, c) = (share(*kept), share(kept + flagged), share(kept + flagged + rejected));
                plot.bar(y - 0.14, 0.0, a, 11.0, CURVE, 0.9)?;
                plot.bar(y - 0.14, a, b, 11.0, REFERENCE, 1.0)?;
                plot.bar(y - 0.14, b, c, 11.0, LOOK, 1.0)?;
                let text = format!("{kept} kept, {flagged} flagged, {rejected} rejected");
                let (px, py) = plot.px(0.0, y + 0.3);
                plot.words(&text, (px + 1.0, py), 11.0, false, INK, (HPos::Left, VPos::Center))?;
            }
            Ok(())
        })?;
        let sum = |i: usize| tables.values().filter_map(|sums| sums.get(i)).sum::<usize>();
        let alt = format!("Rows per table: {} read, {} kept, {} flagged, {} rejected.", sum(0), sum(1), sum(2), sum(3));
        Ok(Figure::new("What became of every row", alt, vec![drawn])
            .with_caption("Blue: kept. Ochre: kept with a reason to look twice. Red, at the end: rejected."))
    }
}
