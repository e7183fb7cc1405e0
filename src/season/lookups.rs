//! Questions to a whole season, and which readings go with which reference.

use std::collections::{BTreeMap, HashSet};

use crate::error::{Error, Result};
use crate::units::{Instant, MINUTES_PER_HOUR};

use super::ends::ReferenceUse;
use super::flags::Flags;
use super::table_rows::{Batch, Event, Probe, Reference};
use super::{Season, tidy};

impl Reference {
    /// True when it is to be used for nothing: its table says so, or its date lies outside its batch.
    pub fn is_ignored(&self) -> bool {
        self.use_as == Some(ReferenceUse::Ignore) || self.flags.intersects(Flags::OUTSIDE_BATCH)
    }
}

impl Event {
    /// Whether sugar was added to this batch.
    pub(crate) fn feeds(&self, batch: Option<&str>) -> bool {
        self.kind == "sugar_added" && self.batch.as_deref() == batch
    }
}

impl Season {
    /// The batch of that id.
    pub fn batch(&self, id: &str) -> Option<&Batch> {
        self.batches.iter().find(|b| b.batch == id)
    }

    /// The probe of that id.
    pub fn probe(&self, id: &str) -> Option<&Probe> {
        self.probes.iter().find(|p| p.probe == id)
    }

    /// The samples drawn from a batch, in order of time, but those to be ignored.
    pub fn samples_of<'a>(&'a self, batch: &'a str) -> impl Iterator<Item = &'a Reference> {
        self.references.iter().filter(move |r| r.batch.as_deref() == Some(batch) && !r.is_ignored())
    }

    /// The season's latest instant: of its readings (those whose clock jumped apart), its references (those to be ignored
    /// apart) and pitchings.
    pub fn latest(&self) -> Option<Instant> {
        let readings = self.read_at().map(|(at, _)| at);
        let references = self.used_references().map(|(_, reference)| reference.at);
        readings.chain(references).chain(self.batches.iter().map(|b| b.pitched_at)).max()
    }

    /// When sugar was added to a batch, hours from a moment.
    pub(crate) fn sugar_hours(&self, batch: Option<&str>, from: Instant) -> Vec<f64> {
        let added = self.events.iter().filter(|event| event.feeds(batch));
        added.map(|event| event.at.hours_since(from)).collect()
    }

    /// When there is a reading and of which batch, those apart whose clock jumped.
    pub(super) fn read_at(&self) -> impl Iterator<Item = (Instant, Option<u32>)> {
        let rows = self.readings.at.iter().zip(&self.readings.batch).zip(&self.readings.flags);
        rows.filter(|(_, flags)| !flags.intersects(Flags::CLOCK_JUMP)).map(|((at, batch), _)| (*at, *batch))
    }

    /// What was known at `moment`: readings and events up to it, references whose value was known by then, batches
    /// pitched by then. An end that lies ahead is unknown again, and what only later rows told (the batch of an
    /// unlabelled reading, a sensor that froze) is found anew. The account stays that of the files.
    #[doc = example!(season "let until = season.as_of(season.batches[0].pitched_at.plus_days(1.0));\nassert!(until.readings.len() < season.readings.len());")]
    #[must_use]
    pub fn as_of(&self, moment: Instant) -> Self {
        let rows = self.readings.at.iter().enumerate().filter(|(_, at)| **at <= moment);
        let rows: Vec<usize> = rows.map(|(row, _)| row).collect();
        let mut readings = self.readings.clone();
        readings.reorder(&rows);
        let mut season = Self {
            readings,
            references: self.references.iter().filter(|r| r.at.max(r.known()) <= moment).cloned().collect(),
            batches: self.batches.iter().filter(|b| b.pitched_at <= moment).cloned().collect(),
            probes: self.probes.iter().filter(|p| p.built_on.is_none_or(|at| at <= moment)).cloned().collect(),
            events: self.events.iter().filter(|e| e.at <= moment).cloned().collect(),
            plan: self.plan.clone(),
            account: self.account.clone(),
        };
        for batch in &mut season.batches {
            batch.ended_at = batch.ended_at.filter(|end| *end <= moment);
        }
        let before = season.readings.batch.clone();
        tidy::fill_batches(&mut season.readings, &season.batches, &season.references);
        // What is no longer known told of stays that reach it, or an event near them, and of those that gave or took readings.
        let reach = moment.plus_hours(-*tidy::LONGEST_H);
        let ahead = self.readings.at.iter().zip(&self.readings.probe).zip(&self.readings.batch);
        let ahead = ahead.filter(|((at, _), _)| **at > reach).map(|((_, probe), batch)| (probe, batch));
        let now = season.readings.probe.iter().zip(&season.readings.batch);
        let moved = now.zip(&before).filter(|((_, batch), before)| batch != before);
        let moved = moved.flat_map(|((probe, batch), before)| [(probe, batch), (probe, before)]);
        let mut changed: HashSet<tidy::StayIndex> = HashSet::new();
        let mut last = None;
        for stay in ahead.chain(moved).filter_map(|(probe, batch)| Some((*probe, (*batch)?))) {
            if last.replace(stay) != Some(stay) {
                changed.insert(stay);
            }
        }
        let Self { readings, batches, events, references, .. } = &mut season;
        tidy::flag_out_of_beer(readings, batches, (events, references), |of| changed.contains(of));
        tidy::flag_frozen(&mut season.readings);
        season
    }
}

/// The window that pairs a reference with readings unless another is set, minutes before and after.
pub(crate) const PAIR_WINDOW_MIN: f64 = 20.0;

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
    /// References without any reading, and those to be ignored, are left out. In order of reference, then probe.
    ///
    /// # Errors
    /// [`Error::Setting`] when the window is not a number from 0 up.
    #[doc = example!(season "println!(\"{} references with a probe\", season.pairs(20.0)?.len());")]
    pub fn pairs(&self, window_min: f64) -> Result<Vec<Pair>> {
        if !(window_min >= 0.0 && window_min.is_finite()) {
            let wanted = "a number of minutes from 0 up";
            return Err(Error::setting("pair_window_min", window_min, wanted));
        }
        let window_h = window_min / MINUTES_PER_HOUR;
        let pair = |reference, probe: &str, own_tilt_deg| Pair {
            reference,
            probe: probe.to_owned(),
            own_tilt_deg,
            rows: Vec::new(),
        };
        let mut pairs: BTreeMap<(usize, &str), Pair> = BTreeMap::new();
        for (i, reference) in self.used_references() {
            if let (Some(probe), Some(tilt)) = (&reference.probe, reference.tilt_deg) {
                pairs.insert((i, probe), pair(i, probe, Some(tilt)));
            }
        }
        for probe in &self.readings.probe_ids {
            for (row, reference) in self.nearest(probe, window_h) {
                let pair = pairs.entry((reference, probe)).or_insert_with(|| pair(reference, probe, None));
                if pair.own_tilt_deg.is_none() {
                    pair.rows.push(row);
                }
            }
        }
        Ok(pairs.into_values().collect())
    }

    fn used_references(&self) -> impl Iterator<Item = (usize, &Reference)> {
        self.references.iter().enumerate().filter(|(_, reference)| !reference.is_ignored())
    }

    /// Rows of a probe with their nearest reference within the window, in order of row.
    fn nearest(&self, probe: &str, window_h: f64) -> Vec<(usize, usize)> {
        let mut best: BTreeMap<usize, (i64, Vec<usize>)> = BTreeMap::new();
        for (i, reference) in self.used_references() {
            if !reference.probe.as_ref().map_or(reference.is_sample(), |own| own == probe) {
                continue;
            }
            let (from, to) = reference.at.around(window_h);
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
