//! Shifts of known events.

use crate::fit::Finding;

use crate::drift::model::{Averaged, METHOD};
use crate::drift::results::{Shift, ShiftKind};
use crate::drift::settings::DriftSettings;

impl DriftSettings {
    /// The shifts of known events, each at its date.
    pub(in crate::drift) fn known_shifts(&self, averaged: &Averaged) -> Vec<Shift> {
        let mut shifts = Vec::new();
        for (p, part) in averaged.model.probes.iter().enumerate() {
            for step in &part.steps {
                let Some(event) = &step.event else { continue };
                let shift_sg = if part.rows.iter().any(|row| step.at_age(row.months).abs() > 0.0) {
                    averaged.mixture(p, |_| part.step_target(step)).estimate(self.common.level, METHOD).into()
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
                    or_probes: Vec::new(),
                    p_probe: None,
                    p_fleet: None,
                });
            }
        }
        shifts
    }
}
