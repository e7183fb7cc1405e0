//! Questions to a whole season.

use std::collections::HashMap;

use crate::units::Instant;

use super::flags::Flags;
use super::readings::Readings;
use super::table_rows::{Batch, Probe, Reference};
use super::{RUNNING_DAYS, Season, tidy};

impl Season {
    /// The batch of that id.
    pub fn batch(&self, id: &str) -> Option<&Batch> {
        self.batches.iter().find(|b| b.batch == id)
    }

    /// The probe of that id.
    pub fn probe(&self, id: &str) -> Option<&Probe> {
        self.probes.iter().find(|p| p.probe == id)
    }

    /// The samples drawn from a batch, in order of time.
    pub fn samples_of<'a>(&'a self, batch: &'a str) -> impl Iterator<Item = &'a Reference> {
        self.references.iter().filter(move |r| r.batch.as_deref() == Some(batch))
    }

    /// The season's latest instant: of its readings (those whose clock jumped apart), its references and pitchings.
    pub fn latest(&self) -> Option<Instant> {
        let readings = self.readings.at.iter().zip(&self.readings.flags);
        let readings = readings.filter(|(_, flags)| !flags.intersects(Flags::CLOCK_JUMP)).map(|(at, _)| *at);
        let references = self.references.iter().map(|r| r.at);
        readings.chain(references).chain(self.batches.iter().map(|b| b.pitched_at)).max()
    }

    /// The batches without an end that have data within 7 days of [`Season::latest`].
    pub fn running(&self) -> Vec<&Batch> {
        let Some(latest) = self.latest() else { return Vec::new() };
        let rows = self.readings.at.iter().zip(&self.readings.batch).zip(&self.readings.flags);
        let readings = rows
            .filter(|(_, flags)| !flags.intersects(Flags::CLOCK_JUMP))
            .filter_map(|((at, batch), _)| Some((*at, self.readings.batch_ids.get((*batch)? as usize)?.as_str())));
        let samples = self.references.iter().filter_map(|r| Some((r.at, r.batch.as_deref()?)));
        let mut last: HashMap<&str, Instant> = HashMap::new();
        for (at, batch) in readings.chain(samples) {
            let last = last.entry(batch).or_insert(at);
            *last = at.max(*last);
        }
        let is_running = |b: &&Batch| {
            let last = last.get(b.batch.as_str()).copied().unwrap_or(b.pitched_at);
            b.ended_at.is_none() && latest.days_since(last) <= RUNNING_DAYS
        };
        self.batches.iter().filter(is_running).collect()
    }

    /// What was known at `moment`: readings and events up to it, references whose value was known by then, batches
    /// pitched by then. An end that lies ahead is unknown again, and what only later rows told (the batch of an
    /// unlabelled reading, a sensor that froze) is found anew. The account stays that of the files.
    #[must_use]
    pub fn as_of(&self, moment: Instant) -> Self {
        let rows = self.readings.at.iter().enumerate().filter(|(_, at)| **at <= moment);
        let rows: Vec<usize> = rows.map(|(row, _)| row).collect();
        let mut season = Self {
            readings: self.readings.pick(&rows),
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
        tidy::fill_batches(&mut season.readings, &season.batches, &season.references);
        tidy::flag_frozen(&mut season.readings);
        season
    }
}

impl Readings {
    /// The readings of those rows, which must rise.
    pub fn pick(&self, rows: &[usize]) -> Self {
        fn column<T: Clone>(column: &[T], rows: &[usize]) -> Vec<T> {
            rows.iter().filter_map(|row| column.get(*row).cloned()).collect()
        }
        Self {
            probe_ids: self.probe_ids.clone(),
            batch_ids: self.batch_ids.clone(),
            at: column(&self.at, rows),
            probe: column(&self.probe, rows),
            tilt_deg: column(&self.tilt_deg, rows),
            temp_c: column(&self.temp_c, rows),
            batch: column(&self.batch, rows),
            batch_given: column(&self.batch_given, rows),
            supply_v: column(&self.supply_v, rows),
            flags: column(&self.flags, rows),
        }
    }
}
