//! Readings of probes that something held, loaded or lifted in their batch.

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;
use std::sync::{Mutex, PoisonError};

use crate::gravity::{Edge, Episodes, TOLD_H, episodes, rises};
use crate::season::{Event, Season};

use super::plateau::NO_BEER;

assumed! {
    /// A probe that something moved by less goes on as it is.
    const LEAST_EDGE_DEG: f64 = 1.3, "degrees";
    /// A temperature that changes by less does not move a probe by as much.
    const EVEN_C: f64 = 2.0, "C";
}

/// Stays of probes in batches that were looked at before: as of most moments of a season a stay is the same.
#[derive(Debug, Default)]
pub(crate) struct KnownStays(Mutex<HashMap<(String, String), SeenStay>>);

/// A stay as it was looked at last with the most readings.
#[derive(Debug)]
struct SeenStay {
    read: Vec<[f64; 3]>,
    told: WrittenDown,
    spans: Vec<Range<usize>>,
}

/// What was written down of a stay, hours from its first reading.
#[derive(Debug, PartialEq)]
struct WrittenDown {
    sugar: Vec<f64>,
    /// Dry hops, which may lift probes while they are in.
    hops: Vec<f64>,
    /// What else may have moved the probe for good.
    events: Vec<f64>,
}

impl KnownStays {
    /// The readings of a season, by row, in which probes were held.
    pub(super) fn held(&self, season: &Season) -> BTreeSet<usize> {
        let readings = &season.readings;
        let mut held = BTreeSet::new();
        for probe in &readings.probe_ids {
            let usable = readings.of_probe(probe).filter_map(|row| Some((row, readings.get(row)?)));
            let usable: Vec<_> =
                usable.filter(|(_, read)| read.batch.is_some() && !read.flags.intersects(NO_BEER)).collect();
            for stay in usable.chunk_by(|(_, a), (_, b)| a.batch == b.batch) {
                let Some((_, first)) = stay.first() else { continue };
                let read = stay.iter().map(|(_, read)| [read.at.hours_since(first.at), read.tilt_deg, read.temp_c]);
                let is_mine = |e: &&Event| e.batch.as_deref() == first.batch || e.probe.as_ref() == Some(probe);
                let (hops, events): (Vec<&Event>, _) =
                    season.events.iter().filter(is_mine).partition(|event| event.kind == "dry_hop");
                let hours = |events: Vec<&Event>| events.iter().map(|e| e.at.hours_since(first.at)).collect();
                let sugar = season.sugar_hours(first.batch, first.at);
                let told = WrittenDown { sugar, hops: hours(hops), events: hours(events) };
                let name = (probe.clone(), first.batch.unwrap_or_default().to_owned());
                for span in self.spans(name, read.collect(), told) {
                    held.extend(stay.iter().take(span.end).skip(span.start).map(|(row, _)| *row));
                }
            }
        }
        held
    }

    fn spans(&self, name: (String, String), read: Vec<[f64; 3]>, told: WrittenDown) -> Vec<Range<usize>> {
        let bits = |read: &[f64; 3]| read.map(f64::to_bits);
        let stays = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let is_same = |stay: &&SeenStay| {
            stay.told == told && stay.read.len() == read.len() && stay.read.iter().map(bits).eq(read.iter().map(bits))
        };
        if let Some(known) = stays().get(&name).filter(is_same) {
            return known.spans.clone();
        }
        let spans = spans(&read, &told);
        let mut stays = stays();
        if stays.get(&name).is_none_or(|known| known.read.len() <= read.len()) {
            stays.insert(name, SeenStay { read, told, spans: spans.clone() });
        }
        spans
    }
}

/// The readings of a stay (hours, tilts, temperatures) in which the probe was held.
fn spans(read: &[[f64; 3]], told: &WrittenDown) -> Vec<Range<usize>> {
    let [hours, tilts] = [0, 1].map(|k| read.iter().map(|read| read[k]).collect::<Vec<f64>>());
    let Episodes { held: mut spans, lasting } = episodes(&hours, &tilts, &[], *LEAST_EDGE_DEG, &told.sugar, &told.hops);
    // A probe that jumped just before its batch ended may lean on the wall: only where it is read next tells.
    let doubtful = |edge: &Edge| {
        let at = hours.get(edge.at).copied()?;
        let is_told = told.events.iter().any(|event| (event - at).abs() < *TOLD_H);
        (!is_told).then_some(edge.at..hours.len())
    };
    spans.extend(lasting.iter().filter_map(doubtful));
    // Cold raises the tilt of a probe that floats freely.
    let is_even = |from: f64, to: f64| {
        let temp_c = |h: f64| read.get(hours.partition_point(|hours| *hours < h)).map(|read| read[2]);
        temp_c(from).zip(temp_c(to)).is_some_and(|(from, to)| (to - from).abs() < *EVEN_C)
    };
    spans.extend(rises(&hours, &tilts, *LEAST_EDGE_DEG, &spans, &told.sugar, is_even));
    spans
}
