//! Which readings go with which reference.

use std::collections::BTreeMap;

use crate::error::{Error, Result};
use crate::units::Instant;

use super::Season;
use super::table_rows::Reference;

/// The window that pairs a reference with readings unless another is set, minutes before and after.
pub const PAIR_WINDOW_MIN: f64 = 20.0;

/// A reference with one probe's readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Index into [`Season::references`].
    pub reference: usize,
    /// The probe.
    pub probe: String,
    /// The reference's own tilt, degrees; where it has one, `rows` is empty.
    pub own_tilt_deg: Option<f64>,
    /// Rows of [`Season::readings`], in order of time.
    pub rows: Vec<usize>,
}

impl Season {
    /// Pairs every reference with its own tilt, else with the readings of its probe (of a sample that names no probe:
    /// of every probe in its batch) within `window_min` minutes. A reading goes with the nearest reference only; two
    /// references of one instant share it. A reading that belongs to another batch than the sample is no match.
    /// References without any reading are left out. In order of reference, then probe.
    ///
    /// # Errors
    /// [`Error::Setting`] when the window is not a number from 0 up.
    pub fn pairs(&self, window_min: f64) -> Result<Vec<Pair>> {
        if !(window_min >= 0.0 && window_min.is_finite()) {
            let wanted = "a number of minutes from 0 up";
            return Err(Error::Setting { name: "pair_window_min", value: window_min.to_string(), wanted });
        }
        let window = (window_min * 60e6).round() as i64;
        let mut pairs: BTreeMap<(usize, &str), Pair> = BTreeMap::new();
        for (i, reference) in self.references.iter().enumerate() {
            if let (Some(probe), Some(tilt)) = (&reference.probe, reference.tilt_deg) {
                let own = Pair { reference: i, probe: probe.clone(), own_tilt_deg: Some(tilt), rows: Vec::new() };
                pairs.insert((i, probe), own);
            }
        }
        for probe in &self.readings.probe_ids {
            for (row, reference) in self.nearest(probe, window) {
                let pair = pairs.entry((reference, probe)).or_insert_with(|| Pair {
                    reference,
                    probe: probe.clone(),
                    own_tilt_deg: None,
                    rows: Vec::new(),
                });
                if pair.own_tilt_deg.is_none() {
                    pair.rows.push(row);
                }
            }
        }
        Ok(pairs.into_values().collect())
    }

    /// Rows of a probe with their nearest reference within the window, in order of row.
    fn nearest(&self, probe: &str, window: i64) -> Vec<(usize, usize)> {
        let mut best: BTreeMap<usize, (i64, Vec<usize>)> = BTreeMap::new();
        for (i, reference) in self.references.iter().enumerate() {
            if reference.probe.as_deref().is_some_and(|p| p != probe)
                || (reference.probe.is_none() && !reference.is_sample())
            {
                continue;
            }
            let from = Instant::from_micros(reference.at.micros().saturating_sub(window));
            let to = Instant::from_micros(reference.at.micros().saturating_add(window));
            let rows = self.readings.of_probe_between(probe, from, to);
            for (row, at) in self.readings.at.iter().enumerate().take(rows.end).skip(rows.start) {
                if !self.may_go_with(row, reference) {
                    continue;
                }
                let distance = (at.micros() - reference.at.micros()).abs();
                let entry = best.entry(row).or_insert((i64::MAX, Vec::new()));
                let same_instant =
                    || entry.1.first().and_then(|r| self.references.get(*r)).is_some_and(|r| r.at == reference.at);
                if distance < entry.0 {
                    *entry = (distance, vec![i]);
                } else if same_instant() {
                    entry.1.push(i);
                }
            }
        }
        best.into_iter().flat_map(|(row, (_, references))| references.into_iter().map(move |r| (row, r))).collect()
    }

    fn may_go_with(&self, row: usize, reference: &Reference) -> bool {
        let Some(sample_batch) = &reference.batch else { return true };
        match self.readings.get(row).and_then(|r| r.batch) {
            Some(batch) => batch == sample_batch,
            // A sample that names its probe vouches for the reading; one that names only the batch does not.
            None => reference.probe.is_some(),
        }
    }
}
