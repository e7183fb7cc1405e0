//! The log of every probe in every batch, and what goes wrong with logs.

use crate::error::Result;
use crate::liquid::water_density_kg_m3;
use crate::units::Instant;

use super::body::Surroundings;
use super::calendar::{Calendar, Planned};
use super::episode::{Episode, episodes, load};
use super::fleet::SimulatedProbe;
use super::sensor::{SensorState, rounded};
use super::settings::SimulateSettings;
use super::stream::Stream;
use super::trouble::{Trouble, TroubleTruth};

/// One row of a log with its truth.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LogRow {
    pub at: Instant,
    /// Index of the probe.
    pub probe: usize,
    pub tilt_deg: f64,
    pub temp_c: f64,
    /// Index of the batch it belongs to.
    pub batch: Option<usize>,
    /// Whether the log names the batch.
    pub labelled: bool,
    pub supply_v: Option<f64>,
    /// True SG of the liquid, if the probe is in one.
    pub sg: Option<f64>,
    /// Its true density.
    pub density_kg_m3: Option<f64>,
    /// Hours by which the row came late into the file.
    pub arrives_late_h: f64,
}

impl LogRow {
    /// What a sensor shows of a probe in no batch and no liquid, rounded as it does.
    pub fn new(at: Instant, probe: usize, tilt_deg: f64, temp_c: f64) -> Self {
        let (tilt_deg, temp_c) = (rounded(tilt_deg, 0.01), rounded(temp_c, 0.1));
        let (batch, labelled, supply_v, sg, density_kg_m3) = (None, false, None, None, None);
        Self { at, probe, tilt_deg, temp_c, batch, labelled, supply_v, sg, density_kg_m3, arrives_late_h: 0.0 }
    }
}

/// Rows of all probes in all batches.
pub(super) fn log(
    calendar: &Calendar,
    fleet: &[SimulatedProbe],
    troubles: &mut Vec<TroubleTruth>,
) -> Result<Vec<LogRow>> {
    let (settings, mut rows) = (&calendar.settings, Vec::new());
    for (index, batch) in calendar.batches.iter().enumerate() {
        let labelled = Stream::new(settings.seed, "labels", index).chance(0.6);
        for &probe in &batch.probes {
            if let Some(unit) = fleet.get(probe) {
                // One stream for each pair of batch and probe.
                let mut draw = Stream::new(settings.seed, &format!("log of {}", batch.id), probe);
                let first = rows.len();
                let until_h = batch.until_h(calendar);
                let episodes = episodes(settings, batch, probe, until_h);
                float_in(calendar, (index, batch), (probe, unit), &episodes, &mut draw, &mut rows)?;
                for row in rows.iter_mut().skip(first) {
                    row.labelled = labelled && row.batch.is_some();
                }
                let of = |trouble, from_h: f64, to_h: f64| TroubleTruth {
                    trouble,
                    probe: Some(unit.row.probe.clone()),
                    batch: Some(batch.id.clone()),
                    from: calendar.instant(batch.pitched_day + from_h / 24.0),
                    to: calendar.instant(batch.pitched_day + to_h / 24.0),
                    off_sg: None,
                };
                if let Some(mut draw) = settings.befalls(Trouble::OutOfBeer, 1000 * index + probe, 0.14)
                    && let Some(own) = rows.get_mut(first..)
                    && let Some((from_h, to_h)) = take_out(&mut draw, unit, batch.pitched_day, own)?
                {
                    troubles.push(of(Trouble::OutOfBeer, from_h, to_h));
                }
                troubles.extend(episodes.iter().map(|e| of(e.trouble, e.from_h, e.to_h)));
                if let Some(mut draw) = settings.befalls(Trouble::ClockJump, 1000 * index + probe, 0.06) {
                    let from_h = until_h * draw.uniform(0.2, 0.8);
                    let by_h = draw.uniform(1.0, 12.0) * if draw.chance(0.5) { 1.0 } else { -1.0 };
                    let from = calendar.instant(batch.pitched_day + from_h / 24.0);
                    for row in rows.iter_mut().skip(first).filter(|row| row.at >= from) {
                        row.at = row.at.plus_hours(by_h);
                    }
                    troubles.push(of(Trouble::ClockJump, from_h, until_h));
                }
            }
        }
    }
    swap_names(calendar, fleet, &mut rows, troubles);
    Ok(rows)
}

/// Two batches that run at the same time, each with one probe: in the log their probes have each other's names, from the start of
/// the later one or from a moment some days after it.
fn swap_names(calendar: &Calendar, fleet: &[SimulatedProbe], rows: &mut [LogRow], troubles: &mut Vec<TroubleTruth>) {
    let mut taken = Vec::new();
    for (i, one) in calendar.batches.iter().enumerate() {
        let befalls = calendar.settings.befalls(Trouble::SwappedProbes, i, 0.06);
        let Some(mut draw) = befalls.filter(|_| !taken.contains(&i)) else { continue };
        let ends = one.pitched_day + one.until_h(calendar) / 24.0;
        let with = calendar
            .batches
            .iter()
            .enumerate()
            .skip(i + 1)
            .find(|(j, other)| !taken.contains(j) && other.probes.len() == 1 && other.pitched_day + 4.0 < ends);
        let (Some((j, other)), [a]) = (with, one.probes.as_slice()) else { continue };
        let Some(&b) = other.probes.first() else { continue };
        taken.extend([i, j]);
        let later_d = if draw.chance(0.5) { draw.uniform(0.5, 3.0) } else { 0.0 };
        let (from, to) = (calendar.instant(other.pitched_day + later_d), calendar.instant(ends));
        for row in rows.iter_mut().filter(|row| (from..to).contains(&row.at)) {
            (row.probe, row.batch) = match row.batch {
                Some(batch) if batch == i => (b, Some(j)),
                Some(batch) if batch == j => (*a, Some(i)),
                _ => continue,
            };
        }
        for (batch, probe) in [(one, b), (other, *a)] {
            let probe = fleet.get(probe).map(|unit| unit.row.probe.clone());
            let batch = Some(batch.id.clone());
            troubles.push(TroubleTruth { trouble: Trouble::SwappedProbes, probe, batch, from, to, off_sg: None });
        }
    }
}

/// Has some rows of a probe in a batch show rinsing water or the bench. The first and the last hour of that.
fn take_out(draw: &mut Stream, unit: &SimulatedProbe, day: f64, rows: &mut [LogRow]) -> Result<Option<(f64, f64)>> {
    let (Some(first), Some(last)) = (rows.first().map(|row| row.at), rows.last().map(|row| row.at)) else {
        return Ok(None);
    };
    let whole_h = last.hours_since(first);
    let (from_h, to_h, is_air) = if draw.chance(0.6) {
        (0.0, draw.uniform(1.0, 20.0), draw.chance(0.4))
    } else {
        (whole_h - draw.uniform(0.1, 6.0), whole_h, true)
    };
    let still = Surroundings::bath_at_20_c(water_density_kg_m3(20.0)?);
    let in_water = unit.body.tilt_deg(&unit.ageing.total(day), &still, 30.0) + unit.sensor.zero_deg;
    let lying = draw.uniform(80.0, 88.0);
    for row in rows.iter_mut().filter(|row| (from_h..=to_h).contains(&row.at.hours_since(first))) {
        let tilt = if is_air { lying } else { in_water };
        row.tilt_deg = rounded(tilt + draw.normal(if is_air { 0.3 } else { 0.05 }), 0.01);
        row.temp_c = rounded(20.0 + draw.normal(0.2), 0.1);
        (row.sg, row.density_kg_m3) = (None, None);
    }
    Ok(Some((from_h, to_h.min(whole_h))))
}

fn float_in(
    calendar: &Calendar,
    (batch_index, batch): (usize, &Planned),
    (probe, unit): (usize, &SimulatedProbe),
    episodes: &[Episode],
    draw: &mut Stream,
    rows: &mut Vec<LogRow>,
) -> Result<()> {
    let (settings, sensor, beer) = (&calendar.settings, &unit.sensor, &batch.real);
    let until_h = batch.until_h(calendar);
    // Most probes go in with the yeast, some when somebody remembers.
    let mut hours = if draw.chance(0.1) { draw.uniform(1.0, 9.0) } else { draw.uniform(0.03, 0.25) };
    let step_h = settings.reading_minutes / 60.0;
    let pull_n_m = 0.045 * draw.uniform(0.3, 0.9);
    let cell_v = draw.uniform(3.85, 4.15);
    let mut now = SensorState::fresh(draw);
    let mut thermometer_c = 20.0;
    let mut guess = 40.0;
    let mut last_h = hours - step_h;
    while hours < until_h {
        let waited_h = hours - last_h;
        last_h = hours;
        let rate = beer.rate_at(hours);
        now.step(draw, sensor, waited_h, rate);
        let temp_c = beer.temp_at(hours);
        thermometer_c = temp_c + (thermometer_c - temp_c) * (-waited_h / sensor.temp_lag_h).exp();
        let day = batch.pitched_day + hours / 24.0;
        let load = load(episodes, hours);
        let change = unit.ageing.total(day).plus(load.change);
        let density_kg_m3 = beer.wort.density_kg_m3(beer.fermented_at(hours), temp_c)?;
        let around = Surroundings {
            density_kg_m3,
            temp_c,
            pull_n_m,
            gas_ml: now.gas_ml + load.gas_ml,
            foam_g: now.foam_g + load.foam_g,
        };
        guess = unit.body.tilt_deg(&change, &around, guess);
        let tilt = guess
            + sensor.zero_deg
            + change.zero_deg
            + load.lean_deg
            + sensor.zero_deg_per_k * (temp_c - 20.0)
            + now.noise_deg(draw, sensor, rate, settings.defects && settings.bubble_scale > 0.0);
        let shown_c = sensor.temperature(thermometer_c) + 0.1 * sensor.white_deg * draw.normal(1.0);
        rows.push(LogRow {
            batch: Some(batch_index),
            supply_v: Some(rounded(cell_v - 0.02 * hours / 24.0 - 0.002 * (20.0 - temp_c), 0.01)),
            sg: Some(beer.sg_at(hours)),
            density_kg_m3: Some(density_kg_m3),
            ..LogRow::new(calendar.instant(day), probe, tilt, shown_c)
        });
        hours += step_h * (1.0 + 0.002 * draw.uniform(-1.0, 1.0));
    }
    if settings.defects && !calendar.is_running(batch) {
        clean(calendar, batch.pitched_day + until_h / 24.0, probe, step_h, draw, rows);
    }
    Ok(())
}

/// A few readings of a probe that is pulled, washed warm and laid on its side.
fn clean(calendar: &Calendar, day: f64, probe: usize, step_h: f64, draw: &mut Stream, rows: &mut Vec<LogRow>) {
    for i in 1..=1 + draw.below(4) {
        let warm = i == 1 || draw.chance(0.5);
        let at = calendar.instant(day + (0.05 + step_h * i as f64) / 24.0);
        let tilt_deg = draw.uniform(82.0, 128.0);
        let temp_c = if warm { draw.uniform(38.0, 62.0) } else { draw.uniform(19.0, 26.0) };
        rows.push(LogRow::new(at, probe, tilt_deg, temp_c));
    }
}

/// Loses, repeats, delays and freezes rows. `rows` must be in order of time for each probe.
///
/// The receiver of all probes fails about once in 40 days for 0.5 to 10 h; one probe in three freezes once for 3 to 12 h; 0.5 %
/// of single rows are lost, 0.2 % come twice, and about once in 25 days a probe sends some hours of rows late.
pub(super) fn spoil(calendar: &Calendar, rows: Vec<LogRow>) -> Vec<LogRow> {
    let SimulateSettings { seed, probes, .. } = calendar.settings;
    let spells = |draw: &mut Stream, count: f64, first: f64, (least_h, most_h): (f64, f64)| -> Vec<(f64, f64)> {
        let spell = |_| {
            let from = draw.uniform(first, calendar.end_day);
            (from, from + draw.uniform(least_h, most_h) / 24.0)
        };
        (0..count as usize).map(spell).collect()
    };
    let down = spells(&mut Stream::new(seed, "receiver", 0), (calendar.end_day / 40.0).ceil(), 0.5, (0.5, 10.0));
    let day_of = |at: Instant| at.days_since(calendar.start);
    let mut kept: Vec<LogRow> = Vec::with_capacity(rows.len());
    for probe in 0..probes {
        let mut draw = Stream::new(seed, "defects", probe);
        let of_probe = |draw: &mut Stream, every_d: f64, hours: (f64, f64)| {
            let count = (calendar.end_day / every_d + draw.uniform(0.0, 1.0)).floor();
            spells(draw, count, 2.0, hours)
        };
        let frozen = of_probe(&mut draw, 400.0, (3.0, 12.0));
        let late = of_probe(&mut draw, 25.0, (1.0, 6.0));
        let within = |spells: &[(f64, f64)], day: f64| spells.iter().find(|(a, b)| (*a..*b).contains(&day)).copied();
        let mut held: Option<(f64, f64, Option<usize>)> = None;
        for row in rows.iter().filter(|row| row.probe == probe) {
            let day = day_of(row.at);
            let lost = draw.chance(0.005);
            let twice = draw.chance(0.002);
            if within(&down, day).is_some() || lost {
                continue;
            }
            let mut row = row.clone();
            if within(&frozen, day).is_some() && row.batch.is_some() {
                let (tilt, temp, _) = *held.get_or_insert((row.tilt_deg, row.temp_c, row.batch));
                (row.tilt_deg, row.temp_c) = (tilt, temp);
            } else {
                held = None;
            }
            if let Some((from, until)) = within(&late, day) {
                // The probe sends newer rows first and the kept ones when it finds the time.
                row.arrives_late_h = (until - day + 1.5 * (until - from)) * 24.0;
            }
            if twice {
                kept.push(LogRow { arrives_late_h: row.arrives_late_h + 0.02, ..row.clone() });
            }
            kept.push(row);
        }
    }
    kept
}
