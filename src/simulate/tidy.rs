//! The log in the order in which it arrives, and as a loaded season holds it.

use std::collections::BTreeSet;

use crate::season::{
    Flags, Readings, TEMP_HIGH_C, TEMP_LOW_C, TILT_HIGH_DEG, TILT_LOW_DEG, flag_frozen, restore_names,
};
use crate::units::Instant;

use super::calendar::Calendar;
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
pub(super) fn tidied(raw: &[LogRow], calendar: &Calendar, fleet: &[SimulatedProbe]) -> (Readings, GravityTruth) {
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
    let batch_ids = calendar.batches.iter().map(|batch| batch.id.clone()).collect();
    let mut readings = Readings { probe_ids, batch_ids, ..Readings::default() };
    for (probe, row, late) in kept {
        let mut flags = if late { Flags::LATE } else { Flags::NONE };
        if !(TILT_LOW_DEG..=TILT_HIGH_DEG).contains(&row.tilt_deg) {
            flags.insert(Flags::TILT_RANGE);
        }
        if !(TEMP_LOW_C..=TEMP_HIGH_C).contains(&row.temp_c) {
            flags.insert(Flags::TEMP_RANGE);
        }
        readings.at.push(row.at);
        readings.probe.push(probe);
        readings.tilt_deg.push(row.tilt_deg);
        readings.temp_c.push(row.temp_c);
        readings.batch.push(row.batch.map(|batch| batch as u32));
        readings.batch_given.push(row.labelled);
        readings.supply_v.push(row.supply_v.unwrap_or(f64::NAN));
        readings.flags.push(flags);
        gravity.sg.push(row.sg);
        gravity.density_kg_m3.push(row.density_kg_m3);
    }
    if let Some(order) = restore_names(&mut readings) {
        let moved = |column: &[Option<f64>]| order.iter().filter_map(|row| column.get(*row).copied()).collect();
        gravity = GravityTruth { sg: moved(&gravity.sg), density_kg_m3: moved(&gravity.density_kg_m3) };
    }
    flag_frozen(&mut readings);
    (readings, gravity)
}
