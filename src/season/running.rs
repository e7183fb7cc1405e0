//! Which batches run at the end of the data, and of which nobody has written down the end.

use std::collections::HashMap;

use crate::units::Instant;

use super::flags::Flags;
use super::table_rows::Batch;
use super::{RUNNING_DAYS, Season};

/// A batch without an end from which nothing comes any more.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOpen {
    /// The batch.
    pub batch: String,
    /// When its last data came, or when it was pitched where there are none.
    pub last_at: Instant,
    /// The last of its probes that went into another batch, if all of them did.
    pub moved: Option<MovedProbe>,
}

/// A probe that has since been in another batch.
#[derive(Debug, Clone, PartialEq)]
pub struct MovedProbe {
    /// The probe.
    pub probe: String,
    /// The other batch.
    pub batch: String,
    /// Its first reading there.
    pub at: Instant,
}

impl Season {
    /// The batches without an end that have data within 7 days of [`Season::latest`], but those of [`Season::left_open`].
    #[doc = example!(season "println!(\"{} batches run\", season.running().len());")]
    pub fn running(&self) -> Vec<&Batch> {
        let left: Vec<String> = self.left_open().into_iter().map(|left| left.batch).collect();
        self.batches.iter().filter(|b| b.ended_at.is_none() && !left.contains(&b.batch)).collect()
    }

    /// The batches without an end that seem to be over: nothing has come from them within 7 days of [`Season::latest`], or
    /// all their probes have gone into other batches and no sample was drawn since.
    #[doc = example!(season "println!(\"{} ends are missing\", season.left_open().len());")]
    pub fn left_open(&self) -> Vec<LeftOpen> {
        let Some(latest) = self.latest() else { return Vec::new() };
        let readings = self.read_at();
        let readings =
            readings.filter_map(|(at, batch)| Some((at, self.readings.batch_ids.get(batch? as usize)?.as_str())));
        let samples = self.references.iter().filter(|r| !r.is_ignored());
        let samples = samples.filter_map(|r| Some((r.at, r.batch.as_deref()?)));
        let mut last: HashMap<&str, Instant> = HashMap::new();
        for (at, batch) in readings.chain(samples) {
            let last = last.entry(batch).or_insert(at);
            *last = at.max(*last);
        }
        let mut moved = self.moved();
        let left_open = |b: &Batch| {
            let last_at = last.get(b.batch.as_str()).copied().unwrap_or(b.pitched_at);
            let moved = moved.remove(b.batch.as_str()).flatten().filter(|moved| last_at <= moved.at);
            let is_over = moved.is_some() || latest.days_since(last_at) > RUNNING_DAYS;
            is_over.then(|| LeftOpen { batch: b.batch.clone(), last_at, moved })
        };
        self.batches.iter().filter(|b| b.ended_at.is_none()).filter_map(left_open).collect()
    }

    /// For each batch with readings the last probe that left it; none where a probe has not.
    fn moved(&self) -> HashMap<&str, Option<MovedProbe>> {
        let readings = &self.readings;
        let unusable = Flags::NO_BEER.with(Flags::CLOCK_JUMP);
        let mut moved: HashMap<&str, Option<MovedProbe>> = HashMap::new();
        for probe in &readings.probe_ids {
            // By batch, the first reading of the next one after the probe's last stay.
            let mut next: HashMap<&str, Option<MovedProbe>> = HashMap::new();
            let mut here: Option<&str> = None;
            for row in readings.of_probe(probe) {
                let Some(reading) = readings.get(row).filter(|reading| !reading.flags.intersects(unusable)) else {
                    continue;
                };
                let Some(batch) = reading.batch.filter(|batch| here != Some(*batch)) else { continue };
                if let Some(before) = here {
                    let to = MovedProbe { probe: probe.clone(), batch: batch.to_owned(), at: reading.at };
                    next.insert(before, Some(to));
                }
                next.insert(batch, None);
                here = Some(batch);
            }
            for (batch, to) in next {
                let later = |a: MovedProbe, b: MovedProbe| if a.at > b.at { a } else { b };
                let all = match (moved.remove(batch), to) {
                    (None, to) => to,
                    (Some(before), to) => before.zip(to).map(|(before, to)| later(before, to)),
                };
                moved.insert(batch, all);
            }
        }
        moved
    }
}
