//! Which batch a reading belongs to when its file does not say.

use std::ops::Range;

use crate::season::RUNNING_DAYS;
use crate::season::readings::Readings;
use crate::season::table_rows::{Batch, Reference};
use crate::units::Instant;

/// A bath takes up its probe's readings this long before and after it, h: 20 minutes, as pairing does.
pub(super) const BATH_H: f64 = 1.0 / 3.0;

/// A time in a batch, with the batch's index among the readings' batch ids.
#[derive(Debug, Clone, Copy)]
struct BatchSpan {
    from: Instant,
    /// Last instant; none while open.
    to: Option<Instant>,
    batch: u32,
}

impl BatchSpan {
    fn holds(&self, at: Instant) -> bool {
        self.from <= at && self.to.is_none_or(|to| at <= to)
    }
}

/// Fills the batch of every reading whose file did not name it, anew each time.
///
/// A reading belongs to the batch that names its probe and whose time holds it, from pitching to its end or that
/// probe's next pitching, whichever is first. Where that finds none and there are batches that name no probe, it
/// belongs to what the same probe's labelled readings or samples around it say (both neighbours alike, or only one
/// of them possible and within 7 days), else to the only batch without named probes that was then running, unless
/// the probe was in a bath. Otherwise it belongs to none.
pub(crate) fn fill_batches(readings: &mut Readings, batches: &[Batch], references: &[Reference]) {
    let span =
        |b: &'_ Batch| Some(BatchSpan { from: b.pitched_at, to: b.ended_at, batch: readings.batch_index(&b.batch)? });
    let spans: Vec<(BatchSpan, &Vec<String>)> = batches.iter().filter_map(|b| Some((span(b)?, &b.probes))).collect();
    let open: Vec<BatchSpan> = spans.iter().filter(|(_, probes)| probes.is_empty()).map(|(span, _)| *span).collect();
    for probe in readings.probe_ids.clone() {
        let rows = readings.of_probe(&probe);
        let named = spans.iter().filter(|(_, ids)| ids.contains(&probe)).map(|(span, _)| *span);
        let named = cut_at_next(named.collect());
        let known = (!open.is_empty()).then(|| Around::new(readings, rows.clone(), &probe, references, &spans));
        let Readings { at, batch, batch_given, .. } = readings;
        let columns = at.iter().zip(batch).zip(batch_given).take(rows.end).skip(rows.start);
        for ((at, batch), _) in columns.filter(|(_, given)| !**given) {
            let by_name = named.iter().find(|span| span.holds(*at)).map(|span| span.batch);
            *batch = by_name.or_else(|| known.as_ref()?.batch(*at, &open));
        }
    }
}

/// Each span cut where the next begins; spans that begin together are ambiguous and hold nothing.
fn cut_at_next(mut spans: Vec<BatchSpan>) -> Vec<BatchSpan> {
    spans.sort_by_key(|s| s.from);
    let starts: Vec<Instant> = spans.iter().map(|s| s.from).collect();
    let alone = |from: Instant| starts.iter().filter(|s| **s == from).count() == 1;
    spans
        .iter()
        .filter(|s| alone(s.from))
        .map(|s| {
            let next = starts.iter().find(|start| **start > s.from).map(|n| Instant::from_micros(n.micros() - 1));
            let to = match (s.to, next) {
                (Some(end), Some(next)) => Some(end.min(next)),
                (end, next) => end.or(next),
            };
            BatchSpan { to, ..*s }
        })
        .collect()
}

/// What is known of one probe's whereabouts: its labelled readings and samples, and its baths.
struct Around<'a> {
    labels: Vec<(Instant, u32)>,
    baths: Vec<Instant>,
    spans: &'a [(BatchSpan, &'a Vec<String>)],
}

impl<'a> Around<'a> {
    fn new(
        readings: &Readings,
        rows: Range<usize>,
        probe: &str,
        references: &[Reference],
        spans: &'a [(BatchSpan, &'a Vec<String>)],
    ) -> Self {
        let columns = readings.at.iter().zip(&readings.batch).zip(&readings.batch_given);
        let given = columns.take(rows.end).skip(rows.start).filter(|(_, given)| **given);
        let mut labels: Vec<(Instant, u32)> = given.filter_map(|((at, batch), _)| Some((*at, (*batch)?))).collect();
        let mut baths = Vec::new();
        for reference in references.iter().filter(|r| r.probe.as_deref() == Some(probe)) {
            match &reference.batch {
                Some(batch) => labels.extend(readings.batch_index(batch).map(|b| (reference.at, b))),
                None => baths.push(reference.at),
            }
        }
        labels.sort_unstable();
        baths.sort_unstable();
        Self { labels, baths, spans }
    }

    fn batch(&self, at: Instant, open: &[BatchSpan]) -> Option<u32> {
        if self.in_bath(at) {
            return None;
        }
        self.by_labels(at).or_else(|| {
            let mut running = open.iter().filter(|span| span.holds(at));
            match (running.next(), running.next()) {
                (Some(only), None) => Some(only.batch),
                _ => None,
            }
        })
    }

    fn in_bath(&self, at: Instant) -> bool {
        let next = self.baths.partition_point(|b| *b < at);
        let near =
            |i: Option<usize>| i.and_then(|i| self.baths.get(i)).is_some_and(|b| at.hours_since(*b).abs() <= BATH_H);
        near(Some(next)) || near(next.checked_sub(1))
    }

    /// A batch that is not in the table has no known times, so nothing speaks against it.
    fn holds(&self, batch: u32, at: Instant) -> bool {
        self.spans.iter().find(|(s, _)| s.batch == batch).is_none_or(|(s, _)| s.holds(at))
    }

    fn by_labels(&self, at: Instant) -> Option<u32> {
        let next = self.labels.partition_point(|(t, _)| *t < at);
        let before = next.checked_sub(1).and_then(|i| self.labels.get(i));
        let after = self.labels.get(next);
        if let (Some((_, before)), Some((_, after))) = (before, after)
            && before == after
        {
            return Some(*before).filter(|b| self.holds(*b, at));
        }
        let near = |label: Option<&(Instant, u32)>| {
            let (t, batch) = *label?;
            (at.days_since(t).abs() <= RUNNING_DAYS && self.holds(batch, at)).then_some(batch)
        };
        match (near(before), near(after)) {
            (Some(batch), None) | (None, Some(batch)) => Some(batch),
            _ => None,
        }
    }
}
