//! The log in the order in which it arrives, and as a loaded season holds it.

use std::collections::BTreeSet;

use crate::season::{Batch, Event, Flags, Readings, Reference, flag_readings, move_late_pitchings};
use crate::units::Instant;

use super::fleet::SimulatedProbe;
use super::log::LogRow;
use super::truth::GravityTruth;

/// Rows by the time they come in.
pub(super) fn arrival_order(mut rows: Vec<LogRow>) -> Vec<LogRow> {
    rows.sort_by_key(|row| (row.at.plus_hours(row.arrives_late_h), row.at, row.probe));
    rows
}

/// The readings as loading the log gives them: exact duplicates left out, rows in order of probe and time with reasons, and
/// true gravity beside them.
pub(super) fn tidied(
    raw: &[LogRow],
    fleet: &[SimulatedProbe],
    batches: &mut [Batch],
    events: &[Event],
    references: &[Reference],
) -> (Readings, GravityTruth) {
    let mut probe_ids: Vec<String> = fleet.iter().map(|unit| unit.row.probe.clone()).collect();
    probe_ids.sort();
    let place: Vec<u32> =
        fleet.iter().map(|unit| probe_ids.partition_point(|id| *id < unit.row.probe) as u32).collect();
    let mut latest: Vec<Option<Instant>> = vec![None; fleet.len()];
    let mut seen = BTreeSet::new();
    let mut kept: Vec<(u32, &LogRow, bool)> = Vec::with_capacity(raw.len());
    for row in raw {
        let (Some(&probe), Some(last)) = (place.get(row.probe), latest.get_mut(row.probe)) else { continue };
        let late = last.is_some_and(|last| row.at < last);
        *last = Some(last.map_or(row.at, |last| last.max(row.at)));
        if seen.insert((row.probe, row.at, row.tilt_deg.to_bits(), row.temp_c.to_bits())) {
            kept.push((probe, row, late));
        }
    }
    kept.sort_by_key(|(probe, row, _)| (*probe, row.at));
    let mut gravity = GravityTruth::default();
    // Batch ids count up, so that their order is that of their index.
    let batch_ids = batches.iter().map(|batch| batch.batch.clone()).collect();
    let mut readings = Readings { probe_ids, batch_ids, ..Readings::default() };
    for (probe, row, late) in kept {
        readings.at.push(row.at);
        readings.probe.push(probe);
        readings.tilt_deg.push(row.tilt_deg);
        readings.temp_c.push(row.temp_c);
        readings.batch.push(row.batch.map(|batch| batch as u32));
        readings.batch_given.push(row.labelled);
        readings.supply_v.push(row.supply_v.unwrap_or(f64::NAN));
        readings.flags.push(if late { Flags::LATE } else { Flags::NONE });
        gravity.sg.push(row.sg);
        gravity.density_kg_m3.push(row.density_kg_m3);
    }
    move_late_pitchings(&readings, batches);
    if let Some(order) = flag_readings(&mut readings, batches, events, references) {
        let moved = |column: &[Option<f64>]| order.iter().filter_map(|row| column.get(*row).copied()).collect();
        gravity = GravityTruth { sg: moved(&gravity.sg), density_kg_m3: moved(&gravity.density_kg_m3) };
    }
    (readings, gravity)
}
