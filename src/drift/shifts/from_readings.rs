//! Shifts that readings show, as terms of the model.

use crate::fit::Finding;

use crate::drift::model::{FleetModel, GravityShape, NormalMixture, ShiftTerm};
use crate::drift::results::{Shift, ShiftKind, not_estimated};
use crate::drift::settings::DriftSettings;

use super::in_readings::ReadShift;

/// The method as it stands in the tables.
const READ: &str = "jump in a state-space model of the readings, calibrated by resampling";
/// Share of a shift inside a batch that may have gone with the next cleaning, SD. From memory, no source.
const GONE_SHARE: f64 = 0.5;

impl DriftSettings {
    /// The model with the shifts that the readings of batches show, and these.
    ///
    /// The pairs then say how much of each has lasted: it is given the size that the readings show, give or take half of it.
    pub(in crate::drift) fn read_shifts(&self, model: &FleetModel, read: Vec<ReadShift>) -> (FleetModel, Vec<Shift>) {
        let mut model = model.clone();
        let mut shifts = Vec::with_capacity(read.len());
        for found in read {
            let place = model.probes.iter().enumerate().find(|(_, part)| part.probe == found.probe);
            let size = at_drift_sg(&found, &place.map(|(_, part)| part.shape.clone()).unwrap_or_default());
            let (mean, sd) = (size.mean(), size.sd());
            if let Some((p, part)) = place {
                let months = part.months_at(found.at);
                let sd = sd.hypot(GONE_SHARE * mean);
                model = model.with_step(p, ShiftTerm { at: found.at, months, mean, sd, event: None });
            }
            shifts.push(Shift {
                probe: found.probe,
                at: found.at,
                earliest: found.between.0,
                latest: found.between.1,
                shift_sg: size.estimate(self.common.level, READ).map_or_else(not_estimated, Finding::Estimated),
                kind: ShiftKind::Read,
                batch: Some(found.batch),
                or_probes: Vec::new(),
                p_probe: Some(found.p_probe),
                p_fleet: Some(found.p_fleet),
                around: found.around,
            });
        }
        (model, shifts)
    }
}

/// The size at SG 1.020 of a shift that was read at another gravity, with the doubt about how it changes with gravity.
fn at_drift_sg(found: &ReadShift, shape: &GravityShape) -> NormalMixture {
    let (shows, doubt) = shape.shown(found.sg);
    let part = |&(weight, mean, sd): &(f64, f64, f64)| (weight, mean / shows, (sd / shows).hypot(doubt * mean));
    NormalMixture(found.size.0.iter().map(part).collect())
}
