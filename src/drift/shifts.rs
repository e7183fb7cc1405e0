//! Sudden shifts of each probe: those of known events with their size, and those that are found.

use crate::fit::Finding;

use super::average::{Averaged, METHOD};
use super::fleet::missing;
use super::mixture::Mixture;
use super::model::Model;
use super::part::{Part, Step, gravity_doubt, shows};
use super::readings::Read;
use super::result::{Shift, ShiftKind};
use super::scan::{Candidate, scan};
use super::settings::DriftSettings;

/// Most shifts that are sought on one probe.
const MOST_A_PROBE: usize = 3;
/// Fewer pairs than this show no shift.
const PAIRS_NEEDED: usize = 4;
/// The methods of shifts that were found.
const FOUND: &str = "likelihood-ratio scan, calibrated by simulation";
const READ: &str = "jump in a state-space model of the readings, calibrated by resampling";
/// Share of a shift inside a batch that may have gone with the next cleaning, SD. From memory, no source.
const GONE_SHARE: f64 = 0.5;

impl DriftSettings {
    /// The model with the shifts that are found in it, and these.
    ///
    /// One round finds at most one shift a probe; what it finds goes into the model like a known event, and the probes
    /// with one are searched again.
    pub(super) fn find_shifts(&self, model: &Model) -> (Model, Vec<Shift>) {
        let mut model = model.clone();
        let mut shifts = Vec::new();
        let mut searched: Vec<bool> = model.probes.iter().map(|part| part.n() >= PAIRS_NEEDED).collect();
        for _ in 0..MOST_A_PROBE {
            if !searched.contains(&true) || self.shift_alarm <= 0.0 {
                break;
            }
            let candidates = scan(&model, self.change_sd_sg, self.level);
            for (p, (candidate, open)) in candidates.into_iter().zip(&mut searched).enumerate() {
                let found = candidate.filter(|c| *open && c.p_probe <= self.shift_alarm);
                let step = found.as_ref().zip(model.probes.get(p)).map(|(c, part)| {
                    shifts.push(self.shift(part, c));
                    let (at, months) = (part.instant(c.months), c.months);
                    Step { at, months, mean: 0.0, sd: self.change_sd_sg, event: None }
                });
                *open = step.is_some();
                if let Some(step) = step {
                    model = model.with_step(p, step);
                }
            }
        }
        (model, shifts)
    }

    fn shift(&self, part: &Part, found: &Candidate) -> Shift {
        Shift {
            probe: part.probe.clone(),
            at: part.instant(found.months),
            earliest: part.instant(found.between.0),
            latest: part.instant(found.between.1),
            shift_sg: found.size.estimate(self.level, FOUND).map_or_else(missing, Finding::Estimated),
            kind: ShiftKind::Found,
            batch: None,
            p_probe: Some(found.p_probe),
            p_fleet: Some(found.p_fleet),
            around: Vec::new(),
        }
    }

    /// The model with the shifts that the readings of batches show, and these.
    ///
    /// The pairs then say how much of each has lasted: it is given the size that the readings show, give or take half of it.
    pub(super) fn read_shifts(&self, model: &Model, read: Vec<Read>) -> (Model, Vec<Shift>) {
        let mut model = model.clone();
        let mut shifts = Vec::with_capacity(read.len());
        for found in read {
            let size = at_drift_sg(&found);
            let (mean, sd) = (size.mean(), size.sd());
            let place = model.probes.iter().enumerate().find(|(_, part)| part.probe == found.probe);
            if let Some((p, part)) = place {
                let months = part.months_at(found.at);
                let sd = sd.hypot(GONE_SHARE * mean);
                model = model.with_step(p, Step { at: found.at, months, mean, sd, event: None });
            }
            shifts.push(Shift {
                probe: found.probe,
                at: found.at,
                earliest: found.between.0,
                latest: found.between.1,
                shift_sg: size.estimate(self.level, READ).map_or_else(missing, Finding::Estimated),
                kind: ShiftKind::Read,
                batch: Some(found.batch),
                p_probe: Some(found.p_probe),
                p_fleet: Some(found.p_fleet),
                around: found.around,
            });
        }
        (model, shifts)
    }

    /// The shifts of known events, each at its date.
    pub(super) fn known_shifts(&self, averaged: &Averaged) -> Vec<Shift> {
        let mut shifts = Vec::new();
        for (p, part) in averaged.model.probes.iter().enumerate() {
            for step in &part.steps {
                let Some(event) = &step.event else { continue };
                let shift_sg = if part.rows.iter().any(|row| step.at_age(row.months).abs() > 0.0) {
                    let size = averaged.mixture(p, |_| part.step_target(step));
                    size.estimate(self.level, METHOD).map_or_else(missing, Finding::Estimated)
                } else {
                    Finding::missing("no reference after it")
                };
                shifts.push(Shift {
                    probe: part.probe.clone(),
                    at: step.at,
                    earliest: step.at,
                    latest: step.at,
                    shift_sg,
                    kind: ShiftKind::Known(event.clone()),
                    batch: None,
                    p_probe: None,
                    p_fleet: None,
                    around: Vec::new(),
                });
            }
        }
        shifts
    }
}

/// The size at SG 1.020 of a shift that was read at another gravity, with the doubt about how it changes with gravity.
fn at_drift_sg(found: &Read) -> Mixture {
    let (shows, doubt) = (shows(found.sg), gravity_doubt(found.sg));
    let part = |&(weight, mean, sd): &(f64, f64, f64)| (weight, mean / shows, (sd / shows).hypot(doubt * mean));
    Mixture(found.size.0.iter().map(part).collect())
}
