//! From settings to a season with its truth.

use crate::error::Result;
use crate::season::{Batch, Event, PlanStep, RowAccount, Season};

use super::bench::{Benched, bench};
use super::brew::{Brew, strains};
use super::calendar::{Calendar, Planned};
use super::fleet::SimulatedProbe;
use super::log::{LogRow, log, spoil};
use super::regime::RegimeChange;
use super::samples::{limit_sg, original_sg, samples, wrong_original};
use super::settings::SimulateSettings;
use super::stream::Stream;
use super::tidy::{arrival_order, tidied};
use super::trouble::{Trouble, TroubleTruth};
use super::true_values::{self, FleetTruth};
use super::truth::{StrainTruth, Truth};

impl SimulateSettings {
    /// Simulates the season.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] for a setting out of its range. Otherwise none is expected: every liquid stays within the
    /// formulas of [`crate::liquid`].
    ///
    /// ```
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// let made = SimulateSettings { batches: 1, probes: 1, span_days: 20.0, reading_minutes: 240.0, ..Default::default() }.run()?;
    /// assert_eq!(made.season.batches[0].batch, made.truth.batches[0].batch);
    /// # Ok(())
    /// # }
    /// ```
    pub fn run(&self) -> Result<Simulated> {
        self.check()?;
        let calendar = Calendar::draw(self)?;
        let fleet = (0..self.probes).map(|i| SimulatedProbe::draw(self, i, &calendar)).collect::<Result<Vec<_>>>()?;
        let mut benched = bench(&calendar, &fleet)?;
        let mut references = std::mem::take(&mut benched.references);
        let mut troubles = std::mem::take(&mut benched.troubles);
        references.extend(samples(&calendar, &mut troubles)?);
        references.sort_by_key(|reference| reference.at);
        for (index, batch) in calendar.batches.iter().enumerate() {
            let at = calendar.instant(batch.pitched_day);
            let of = |trouble, off_sg| TroubleTruth {
                batch: Some(batch.id.clone()),
                ..TroubleTruth::entry(trouble, at, off_sg)
            };
            let off_sg = wrong_original(self, index);
            if off_sg != 0.0 && original_sg(&calendar, index, batch).is_some() {
                troubles.push(of(Trouble::WrongOriginal, off_sg));
            }
            let late_d = pitched_late_d(self, index);
            if late_d > 0.0 {
                let to = at.plus_days(late_d);
                troubles.push(TroubleTruth { to, off_sg: None, ..of(Trouble::LatePitching, 0.0) });
            }
        }
        let mut rows = log(&calendar, &fleet, &mut troubles)?;
        rows.append(&mut benched.rows);
        rows.sort_by_key(|row| (row.probe, row.at));
        if self.defects {
            rows = spoil(&calendar, rows);
        }
        let end = calendar.instant(calendar.end_day);
        rows.retain(|row| row.at <= end);
        references.retain(|reference| reference.at <= end);
        let raw = arrival_order(rows);
        let mut probes: Vec<_> = fleet.iter().map(|unit| unit.row.clone()).collect();
        probes.sort_by(|a, b| a.probe.cmp(&b.probe));
        let mut events = events(&calendar, &fleet, &benched);
        events.retain(|event| event.at <= end);
        let batch = |(i, batch)| batch_row(&calendar, &fleet, i, batch);
        let mut batches: Vec<Batch> = calendar.batches.iter().enumerate().map(batch).collect();
        let (readings, gravity) = tidied(&raw, &fleet, &mut batches, &events, &references);
        let (plan, account) = (plan(&calendar), RowAccount::default());
        let season = Season { readings, batches, probes, events, plan, account, references };
        let fleet_truth = FleetTruth {
            calendar: &calendar,
            fleet: &fleet,
            sessions: &benched.sessions,
            references: &season.references,
        };
        let truth = Truth {
            batches: calendar.batches.iter().map(|batch| true_values::batch(&calendar, batch)).collect(),
            probes: fleet_truth.probes()?,
            shifts: fleet_truth.shifts()?,
            errors: fleet_truth.errors()?,
            curves: fleet_truth.curves()?,
            strains: self.strain_truths()?,
            gravity,
            troubles,
        };
        Ok(Simulated::new(season, truth, raw, &fleet))
    }

    /// The strains and what each makes of one wort.
    fn strain_truths(&self) -> Result<Vec<StrainTruth>> {
        strains(self)
            .iter()
            .map(|&strain| Ok(true_values::strain(strain, &Brew::standard(strain)?.ferment().traits()?)))
            .collect()
    }
}

/// By how many days the pitching of a batch is written down late.
fn pitched_late_d(settings: &SimulateSettings, index: usize) -> f64 {
    if settings.befalls(Trouble::LatePitching, index, 0.04).is_some() { 1.0 } else { 0.0 }
}

fn batch_row(calendar: &Calendar, fleet: &[SimulatedProbe], index: usize, batch: &Planned) -> Batch {
    let original = original_sg(calendar, index, batch);
    let limit = limit_sg(&calendar.settings, index, batch);
    let brew = &batch.brew;
    let ended = batch.pitched_day + batch.ended_h / 24.0;
    // What a brewer leaves out of the book differs from batch to batch.
    let mut draw = Stream::new(calendar.settings.seed, "book", index);
    let mut written = |share: f64| draw.chance(share);
    Batch {
        batch: batch.id.clone(),
        strain: brew.strain.name.to_owned(),
        pitched_at: calendar.instant(batch.pitched_day + pitched_late_d(&calendar.settings, index)),
        probes: batch.probes.iter().filter_map(|&p| fleet.get(p)).map(|unit| unit.row.probe.clone()).collect(),
        vessel: Some(format!("vessel {}", batch.vessel)),
        wort: Some(brew.recipe.to_owned()),
        original_sg: original.map(|(sg, _)| sg),
        original_sg_sd: original.map(|(_, sd)| sd),
        limit_sg: limit.map(|(sg, _)| sg),
        limit_sg_sd: limit.map(|(_, sd)| sd),
        mash_temp_c: written(0.9).then(|| (2.0 * brew.mash_temp_c).round() / 2.0),
        pitch_mcells_ml_p: written(0.7).then(|| (20.0 * brew.pitch_rate).round() / 20.0),
        yeast_lot: Some(format!("lot {}", brew.lot)),
        generation: Some(brew.generation as f64),
        set_temp_c: Some(brew.regime.set_temp_c),
        volume_l: Some(brew.volume_l),
        ended_at: (!calendar.is_running(batch)).then(|| calendar.instant(ended)),
        note: None,
    }
}

fn event(calendar: &Calendar, day: f64, kind: &str) -> Event {
    Event::new(calendar.instant(day), kind)
}

/// Everything that is written down, in order of time.
fn events(calendar: &Calendar, fleet: &[SimulatedProbe], benched: &Benched) -> Vec<Event> {
    let mut events = benched.events.clone();
    for unit in fleet {
        let probe = Some(unit.row.probe.clone());
        let mut cell_g = unit.row.cell_mass_g;
        for shift in &unit.ageing.shifts {
            cell_g = cell_g.map(|mass| (10.0 * (mass + shift.cell_g)).round() / 10.0);
            if shift.recorded {
                let cell_mass_g = cell_g.filter(|_| shift.kind == "cell_swap");
                events.push(Event { probe: probe.clone(), cell_mass_g, ..event(calendar, shift.day, shift.kind) });
            }
        }
    }
    for batch in &calendar.batches {
        let id = Some(batch.id.clone());
        let at = |hours: f64| batch.pitched_day + hours / 24.0;
        for made in &batch.real.made {
            let (kind, value) = match made.change {
                RegimeChange::Set(temp_c) => ("warmed", Some(temp_c)),
                RegimeChange::DryHop(_) => ("dry_hop", None),
            };
            events.push(Event { batch: id.clone(), value, ..event(calendar, at(made.hours), kind) });
        }
        if let Some((hours, temp_c)) = batch.cooling.filter(|(hours, _)| *hours < batch.until_h(calendar)) {
            events.push(Event { batch: id.clone(), value: Some(temp_c), ..event(calendar, at(hours), "cold_crash") });
        }
        if !calendar.is_running(batch) {
            events.push(Event { batch: id.clone(), ..event(calendar, at(batch.ended_h), "packaged") });
            for unit in batch.probes.iter().filter_map(|&p| fleet.get(p)) {
                let probe = Some(unit.row.probe.clone());
                events.push(Event { probe, ..event(calendar, at(batch.ended_h + 0.5), "cleaned") });
            }
        }
    }
    events.sort_by_key(|event| event.at);
    events
}

/// The cooling that is planned for batches still running.
fn plan(calendar: &Calendar) -> Vec<PlanStep> {
    let ahead = |batch: &Planned| {
        let (hours, temp_c) = batch.cooling?;
        let day = batch.pitched_day + hours / 24.0;
        (day > calendar.end_day).then(|| PlanStep { batch: batch.id.clone(), at: calendar.instant(day), temp_c })
    };
    let mut plan: Vec<PlanStep> = calendar.batches.iter().filter_map(ahead).collect();
    plan.sort_by(|a, b| (&a.batch, a.at).cmp(&(&b.batch, b.at)));
    plan
}

/// A simulated season with its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    /// The season as a user would have it after loading.
    pub season: Season,
    /// What is true.
    pub truth: Truth,
    /// The log as it came in, with rows twice and late.
    pub(super) raw: Vec<LogRow>,
    /// Ids that the log's rows point to.
    pub(super) probe_ids: Vec<String>,
}

impl Simulated {
    pub(super) fn new(season: Season, truth: Truth, raw: Vec<LogRow>, fleet: &[SimulatedProbe]) -> Self {
        Self { season, truth, raw, probe_ids: fleet.iter().map(|unit| unit.row.probe.clone()).collect() }
    }
}
