//! Sudden shifts of each probe: those of known events with their size, and those that are found.

use crate::fit::Finding;

use super::average::{Averaged, METHOD};
use super::fleet::missing;
use super::model::Model;
use super::part::{Part, Step};
use super::result::{Shift, ShiftKind};
use super::scan::{Candidate, scan};
use super::settings::DriftSettings;

/// Most shifts that are sought on one probe.
const MOST_A_PROBE: usize = 3;
/// Fewer pairs than this show no shift.
const PAIRS_NEEDED: usize = 4;
/// The method of shifts that were found.
const FOUND: &str = "likelihood-ratio scan, calibrated by simulation";

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
                    Step { at: part.instant(c.months), months: c.months, sd: self.change_sd_sg, event: None }
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
            p_probe: Some(found.p_probe),
            p_fleet: Some(found.p_fleet),
        }
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
                    p_probe: None,
                    p_fleet: None,
                });
            }
        }
        shifts
    }
}
