//! One fermentation from pitching to rest, and its cold end.

use crate::error::{Error, Result};
use crate::liquid::{apparent_attenuation, extract_attenuation};

use super::regime::{Regime, RegimeChange, Vessel};
use super::wort::SimulatedWort;
use super::yeast::{State, Yeast};

/// Step of the integration and of the stored curve, h.
pub(super) const STEP_H: f64 = 0.2;
/// Longest time to rest, h.
const LONGEST_H: f64 = 90.0 * 24.0;
/// Within this of terminal, for this long: at rest.
pub(super) const REST_SG: f64 = 0.001;
pub(super) const REST_H: f64 = 48.0;
/// Stuck when this far above the limit.
pub(super) const STUCK_SG: f64 = 0.003;

/// What a vessel holds at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
struct VesselMoment {
    state: State,
    vessel: Vessel,
    set_c: f64,
    next_change: usize,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MadeChange {
    /// Hours from pitching.
    pub hours: f64,
    pub change: RegimeChange,
}

/// The curve of a fermentation on steps of [`STEP_H`] from pitching.
#[derive(Debug, Clone)]
pub(super) struct Fermentation {
    pub wort: SimulatedWort,
    pub made: Vec<MadeChange>,
    moments: Vec<VesselMoment>,
    sg: Vec<f64>,
}

/// What a curve amounts to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Traits {
    pub original_sg: f64,
    pub terminal_sg: f64,
    pub limit_sg: f64,
    pub finish_h: f64,
    pub lag_h: f64,
    pub mid_h: f64,
    pub t90_h: f64,
    pub max_rate_sg_per_day: f64,
    pub attenuation: f64,
    pub attenuation_extract: f64,
    pub abv_percent: f64,
}

fn advance(
    wort: &SimulatedWort,
    yeast: &Yeast,
    regime: &Regime,
    moment: &VesselMoment,
    hours: f64,
    made: &mut Vec<MadeChange>,
) -> VesselMoment {
    let mut now = *moment;
    let progress = now.state.fermented / wort.fermentable();
    if let Some((trigger, change)) = regime.changes.get(now.next_change)
        && regime.acts(*trigger, hours, progress)
    {
        now.next_change += 1;
        made.push(MadeChange { hours, change: *change });
        match change {
            RegimeChange::Set(temp_c) => now.set_c = *temp_c,
            RegimeChange::DryHop(potential) => now.state.hop += potential,
        }
    }
    let (state, heat_kj) = yeast.step(&now.state, now.vessel.temp_c, STEP_H);
    now.vessel = now.vessel.step(regime, now.set_c, STEP_H, hours, heat_kj);
    now.state = state;
    now
}

impl Fermentation {
    /// Runs a batch to rest without cooling it: until SG falls by less than 0.000005 in 48 h.
    ///
    /// The remaining fall is then below 0.00005, as settled yeast dies.
    pub fn to_rest(wort: SimulatedWort, yeast: &Yeast, regime: &Regime, pitched_g_per_100g: f64) -> Self {
        let start = VesselMoment {
            state: State::pitched(wort.sugars, pitched_g_per_100g),
            vessel: Vessel::at(regime.pitch_temp_c),
            set_c: regime.set_temp_c,
            next_change: 0,
        };
        let mut run = Self { sg: vec![wort.sg(0.0)], moments: vec![start], made: Vec::new(), wort };
        let back = (REST_H / STEP_H) as usize;
        let mut last = start;
        for i in 0..(LONGEST_H / STEP_H) as usize {
            last = advance(&run.wort, yeast, regime, &last, i as f64 * STEP_H, &mut run.made);
            run.sg.push(run.wort.sg(last.state.fermented));
            run.moments.push(last);
            // A change still to come waits no longer than 21 days: the brewer gives up on it.
            let waits = last.next_change < regime.changes.len() && run.end_h() < 21.0 * 24.0;
            let fell = run.sg.len().checked_sub(back + 1).and_then(|then| run.sg.get(then)).zip(run.sg.last());
            if run.end_h() > 120.0 && !waits && fell.is_some_and(|(then, now)| then - now < 5e-6) {
                break;
            }
        }
        run
    }

    /// The same batch cooled to `set_c` from `cooled_h` on, until `until_h`; without cooling if `cooled_h` is none.
    pub fn cooled(&self, yeast: &Yeast, regime: &Regime, cooled_h: Option<(f64, f64)>, until_h: f64) -> Self {
        let cut = cooled_h.map_or(until_h, |(at, _)| at.min(until_h));
        let keep = ((cut / STEP_H).round() as usize + 1).clamp(1, self.moments.len());
        let mut run = Self {
            wort: self.wort.clone(),
            made: self.made.iter().filter(|made| made.hours < cut).copied().collect(),
            moments: self.moments.iter().take(keep).copied().collect(),
            sg: self.sg.iter().take(keep).copied().collect(),
        };
        let Some(mut last) = run.moments.last().copied() else { return run };
        let mut regime = regime.clone();
        if let Some((_, set_c)) = cooled_h.filter(|(at, _)| *at < until_h) {
            last.set_c = set_c;
            regime.changes.truncate(last.next_change);
        }
        for i in keep - 1..(until_h / STEP_H).ceil() as usize {
            last = advance(&run.wort, yeast, &regime, &last, i as f64 * STEP_H, &mut run.made);
            run.sg.push(run.wort.sg(last.state.fermented));
            run.moments.push(last);
        }
        run
    }

    /// Hours from pitching to the last stored step.
    pub fn end_h(&self) -> f64 {
        (self.sg.len() - 1) as f64 * STEP_H
    }

    fn between(&self, hours: f64, value: impl Fn(usize) -> f64) -> f64 {
        let place = (hours / STEP_H).clamp(0.0, (self.sg.len() - 1) as f64);
        let left = (place as usize).min(self.sg.len().saturating_sub(2));
        let right = (left + 1).min(self.sg.len() - 1);
        value(left) + (place - left as f64) * (value(right) - value(left))
    }

    fn moment<T: Default>(&self, i: usize, of: impl Fn(&VesselMoment) -> T) -> T {
        self.moments.get(i).map(of).unwrap_or_default()
    }

    /// SG at an hour from pitching.
    pub fn sg_at(&self, hours: f64) -> f64 {
        self.between(hours, |i| self.sg.get(i).copied().unwrap_or(1.0))
    }

    /// Sugar fermented at an hour, g per 100 g of wort.
    pub fn fermented_at(&self, hours: f64) -> f64 {
        self.between(hours, |i| self.moment(i, |m| m.state.fermented))
    }

    /// Temperature at an hour, C.
    pub fn temp_at(&self, hours: f64) -> f64 {
        self.between(hours, |i| self.moment(i, |m| m.vessel.temp_c))
    }

    /// Rate of fall at an hour, SG per day: over one hour.
    pub fn rate_at(&self, hours: f64) -> f64 {
        let (from, to) = ((hours - 0.5).max(0.0), (hours + 0.5).min(self.end_h()));
        if to > from { (self.sg_at(from) - self.sg_at(to)) / (to - from) * 24.0 } else { 0.0 }
    }

    fn first_below(&self, sg: f64) -> f64 {
        let at = self.sg.partition_point(|&now| now > sg);
        let (Some(&above), Some(&below)) = (self.sg.get(at.saturating_sub(1)), self.sg.get(at)) else {
            return self.end_h();
        };
        if at == 0 { 0.0 } else { (at as f64 - (sg - below) / (above - below)) * STEP_H }
    }

    /// Traits of a curve that was run to rest.
    ///
    /// SG never rises in this process, so it stays within 0.001 of terminal from the first time it is so near.
    pub fn traits(&self) -> Result<Traits> {
        let (Some(&original_sg), Some(&terminal_sg)) = (self.sg.first(), self.sg.last()) else {
            return Err(Error::numeric("a fermentation", "an empty curve"));
        };
        let drop = original_sg - terminal_sg;
        let steepest = self
            .sg
            .windows(2)
            .enumerate()
            .filter_map(|(i, pair)| Some((i, pair.first()? - pair.get(1)?)))
            .fold((0, 0.0), |best, next| if next.1 > best.1 { next } else { best });
        let (at, fall) = (steepest.0 as f64 + 0.5, steepest.1);
        let here = self.sg_at(at * STEP_H);
        let limit_sg = self.wort.sg(self.wort.fermentable());
        let fermented = self.moments.last().map_or(0.0, |m| m.state.fermented);
        Ok(Traits {
            original_sg,
            terminal_sg,
            limit_sg,
            finish_h: self.first_below(terminal_sg + REST_SG),
            lag_h: if fall > 0.0 { (at - (original_sg - here) / fall) * STEP_H } else { f64::INFINITY },
            mid_h: self.first_below(original_sg - 0.5 * drop),
            t90_h: self.first_below(original_sg - 0.9 * drop),
            max_rate_sg_per_day: fall / STEP_H * 24.0,
            attenuation: apparent_attenuation(original_sg, terminal_sg)?,
            attenuation_extract: extract_attenuation(original_sg, terminal_sg)?,
            abv_percent: self.wort.abv_percent(fermented)?,
        })
    }
}

#[cfg(test)]
#[path = "../../tests/inside/fermentation.rs"]
mod tests;
