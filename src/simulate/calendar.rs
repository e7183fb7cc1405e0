//! When batches are pitched, cooled and packaged, and which probes float in them.

use crate::error::Result;
use crate::units::Instant;

use super::brew::{Brew, strains};
use super::fermentation::{Fermentation, REST_H, STUCK_SG, Traits};
use super::instruments::Instruments;
use super::settings::SimulateSettings;
use super::strain::YeastStrain;
use super::stream::Stream;
use super::truth::BatchEnd;

/// A batch on the calendar, fermented. Days count from the start of the season.
#[derive(Debug, Clone)]
pub(super) struct Planned {
    pub id: String,
    pub brew: Brew,
    pub pitched_day: f64,
    /// Traits of the curve that is never cooled.
    pub traits: Traits,
    /// Hour of cooling from pitching and set temperature, C, if it is to be cooled.
    pub cooling: Option<(f64, f64)>,
    /// Hour of packaging from pitching.
    pub ended_h: f64,
    /// What really happened, to packaging or to the end of the data.
    pub real: Fermentation,
    pub probes: Vec<usize>,
    /// Its vessel, from 1.
    pub vessel: usize,
}

/// The whole calendar, with what it is drawn from.
#[derive(Debug, Clone)]
pub(super) struct Calendar {
    pub settings: SimulateSettings,
    /// What its liquids are measured with.
    pub instruments: Instruments,
    pub start: Instant,
    /// Day on which the data end.
    pub end_day: f64,
    /// The batches in order of pitching.
    pub batches: Vec<Planned>,
}

/// Days a vessel is taken, roughly: for the pace at which few probes let batches start.
const TYPICAL_DAYS: f64 = 13.0;
/// Most days from pitching to packaging.
const LONGEST_DAYS: f64 = 28.0;
/// Days from the first baths to the first batch.
const FIRST_DAY: f64 = 2.0;

impl Calendar {
    /// Plans and ferments every batch.
    pub fn draw(settings: &SimulateSettings) -> Result<Self> {
        let mut calendar = Self {
            start: settings.start,
            settings: settings.clone(),
            instruments: Instruments::draw(settings.seed, settings.reference_scale),
            end_day: f64::INFINITY,
            batches: Vec::new(),
        };
        let gaps = settings.batches.saturating_sub(1).max(1) as f64;
        let pace = ((settings.span_days - FIRST_DAY - settings.tail_days) / gaps)
            .max(TYPICAL_DAYS / (0.7 * settings.probes as f64));
        let mut free_from = vec![0.0; settings.probes];
        let mut vessels: Vec<f64> = Vec::new();
        let mut due = FIRST_DAY;
        for (index, strain) in strain_order(settings).into_iter().enumerate() {
            let mut draw = Stream::new(settings.seed, "calendar", index);
            let soonest = free_from.iter().copied().fold(f64::INFINITY, f64::min);
            let day = calendar.next_hour(due.max(soonest + 0.2), draw.uniform(11.0, 18.0));
            let mut planned = calendar.plan(index, strain, day, &mut draw)?;
            planned.probes = take_probes(&mut draw, &mut free_from, day, day + planned.ended_h / 24.0 + 0.3);
            let ends = day + planned.ended_h / 24.0 + 0.5;
            planned.vessel = 1 + match vessels.iter().position(|&free| free <= day) {
                Some(vessel) => vessel,
                None => {
                    vessels.push(0.0);
                    vessels.len() - 1
                }
            };
            if let Some(free) = vessels.get_mut(planned.vessel - 1) {
                *free = ends;
            }
            calendar.batches.push(planned);
            due = due.max(day - 0.5) + pace * draw.uniform(0.35, 1.65);
        }
        let last = calendar.batches.last().map_or(0.0, |batch| batch.pitched_day);
        calendar.end_day = last + settings.tail_days;
        for planned in &mut calendar.batches {
            let until_h = planned.ended_h.min((calendar.end_day - planned.pitched_day) * 24.0);
            planned.real = planned.real.cooled(&planned.brew.yeast, &planned.brew.regime, planned.cooling, until_h);
        }
        Ok(calendar)
    }

    /// Brews and ferments batch number `index`, pitched on `day`, without probes and vessel; `real` is still the curve that is
    /// never cooled.
    pub fn plan(&self, index: usize, strain: YeastStrain, day: f64, draw: &mut Stream) -> Result<Planned> {
        // Spring to summer: the room warms by some degrees over 200 days and cools again.
        let room_c = 17.0 - 2.5 * (std::f64::consts::TAU * (day + 20.0) / 400.0).cos() + draw.bounded_normal(0.7);
        let brew = Brew::draw(&self.settings, index, strain, self.hour_of_day(day), room_c)?;
        let warm = brew.ferment();
        let traits = warm.traits()?;
        let early = draw.chance(self.settings.early_cooling_share);
        let (hurry_h, patience_h) = (draw.uniform(3.0, 30.0), draw.uniform(20.0, 96.0));
        let cools = draw.chance(0.8);
        let cold_c = (2.0 * draw.uniform(2.0, 5.0)).round() / 2.0;
        let cold_h = draw.uniform(48.0, 168.0);
        let hour = draw.uniform(8.0, 17.0);
        let rest_h = if early { traits.finish_h - hurry_h } else { traits.finish_h + patience_h };
        let rest_h = rest_h.clamp(36.0, 24.0 * LONGEST_DAYS - cold_h - 24.0);
        let wanted = day + rest_h / 24.0;
        let acts_h = 24.0 * (self.next_hour(wanted, hour) - day);
        let cooling = (cools || early).then_some((acts_h, cold_c));
        let ended_h = if cooling.is_some() { acts_h + cold_h } else { acts_h + 36.0 };
        Ok(Planned {
            // Ids count on from an earlier season.
            id: format!("ti-{:03}", 401 + index),
            brew,
            pitched_day: day,
            traits,
            cooling,
            ended_h: 24.0 * (self.next_hour(day + ended_h / 24.0, 10.0) - day),
            real: warm,
            probes: Vec::new(),
            vessel: 0,
        })
    }

    /// Hour of the day, UTC.
    pub fn hour_of_day(&self, day: f64) -> f64 {
        (self.start.micros() as f64 / 3.6e9 + 24.0 * day).rem_euclid(24.0)
    }

    /// The first day not before `day` on which it is `hour` o'clock.
    pub fn next_hour(&self, day: f64, hour: f64) -> f64 {
        day + (hour - self.hour_of_day(day)).rem_euclid(24.0) / 24.0
    }

    /// The instant of a day, to the second.
    pub fn instant(&self, day: f64) -> Instant {
        let seconds = (day * 86_400.0).round();
        self.start.plus_hours(seconds / 3600.0)
    }

    /// True when the batch had not been packaged when the data end.
    pub fn is_running(&self, batch: &Planned) -> bool {
        batch.pitched_day + batch.ended_h / 24.0 > self.end_day
    }

    /// Batches that a probe floats in.
    pub fn of_probe(&self, probe: usize) -> impl Iterator<Item = &Planned> {
        self.batches.iter().filter(move |batch| batch.probes.contains(&probe))
    }

    /// True when a probe floats in no batch from `from` to `to`, days.
    pub fn is_idle(&self, probe: usize, from: f64, to: f64) -> bool {
        self.of_probe(probe).all(|batch| {
            let ends = batch.pitched_day + batch.ended_h / 24.0;
            ends + 0.1 < from || batch.pitched_day - 0.1 > to
        })
    }
}

impl Planned {
    /// Hours from pitching to the end of what happened.
    pub fn until_h(&self, calendar: &Calendar) -> f64 {
        self.ended_h.min((calendar.end_day - self.pitched_day) * 24.0)
    }

    /// How the batch ended.
    pub fn end(&self, calendar: &Calendar) -> BatchEnd {
        let rested_h = self.traits.finish_h + REST_H;
        if self.traits.terminal_sg - self.traits.limit_sg > STUCK_SG {
            BatchEnd::Stuck
        } else if self.cooling.is_some_and(|(at, _)| at < self.traits.finish_h && at < self.until_h(calendar)) {
            BatchEnd::CutByCooling
        } else if self.until_h(calendar) < rested_h.min(self.cooling.map_or(rested_h, |(at, _)| at)) {
            BatchEnd::CutByEnd
        } else {
            BatchEnd::Observed
        }
    }
}

/// The strain of each batch: every strain once in each round, in an order of that round.
fn strain_order(settings: &SimulateSettings) -> Vec<YeastStrain> {
    let all = strains(settings);
    let mut order = Vec::with_capacity(settings.batches);
    for round in 0..settings.batches.div_ceil(all.len().max(1)) {
        let mut draw = Stream::new(settings.seed, "strains", round);
        let mut left = all.to_vec();
        while !left.is_empty() && order.len() < settings.batches {
            order.push(left.remove(draw.below(left.len())));
        }
    }
    order
}

/// Takes the probe that has rested longest, now and then a second one where three more are free.
fn take_probes(draw: &mut Stream, free_from: &mut [f64], day: f64, until: f64) -> Vec<usize> {
    let mut free: Vec<usize> = (0..free_from.len()).filter(|&p| free_from.get(p).is_some_and(|&f| f <= day)).collect();
    free.sort_by(|a, b| free_from.get(*a).partial_cmp(&free_from.get(*b)).unwrap_or(std::cmp::Ordering::Equal));
    // The brewer picks among the two that have rested longest.
    if free.len() > 2 && draw.chance(0.4) {
        free.swap(0, 1);
    }
    let two = draw.chance(0.2) && free.len() >= 5;
    free.truncate(if two { 2 } else { 1 });
    free.sort_unstable();
    for &probe in &free {
        if let Some(from) = free_from.get_mut(probe) {
            *from = until;
        }
    }
    free
}
