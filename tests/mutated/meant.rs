//! Changes that somebody may make and mean: dates, swaps, kinds, units, decimal commas, errors of nobody's instrument.

use heelwort::Instant;
use heelwort::season::Event;
use rand::RngExt;
use rand::rngs::SmallRng;
use rand::seq::IndexedRandom;

use super::changes::{Table, edit};
use super::seasons::Files;

/// Shifts, hours: the clock of another zone, days, years, centuries.
const SHIFTS_H: [f64; 10] = [0.2, 1.0, -5.5, 12.0, 24.0, -240.0, 24.0 * 31.0, 8766.0, -87_660.0, 876_600.0];
const SDS: [&str; 10] = ["1e300", "1e155", "1e-9", "1e-5", "0.2", "0", "-1", "inf", "1e-300", "0.19"];

/// All kinds of events, and one that is none.
fn kinds() -> Vec<&'static str> {
    [Event::KINDS, &["Dry hop"]].concat()
}

fn shifted(cell: &str, hours: f64) -> String {
    Instant::parse(cell).map_or(cell.to_owned(), |at| at.plus_hours(hours).to_string())
}

/// The ids that stand in a column of a table.
fn ids(files: &Files, name: &str, column: &str) -> Vec<String> {
    let Some(table) = files.get(name).map(|bytes| Table::parse(bytes)) else { return Vec::new() };
    let Some(column) = table.column(column) else { return Vec::new() };
    table.rows.iter().filter_map(|row| row.get(column).filter(|id| !id.is_empty()).cloned()).collect()
}

/// Sets a column of some rows, and makes it where it is not there.
fn set(
    table: &mut Table,
    column: &str,
    share: f64,
    rng: &mut SmallRng,
    mut value: impl FnMut(&mut SmallRng) -> String,
) {
    let at = table.column(column).unwrap_or_else(|| {
        table.header.push(column.to_owned());
        table.rows.iter_mut().for_each(|row| row.push(String::new()));
        table.header.len() - 1
    });
    table.map(at, |cell| if rng.random_bool(share) { value(rng) } else { cell.to_owned() });
}

/// Makes one change.
pub fn change(files: &mut Files, rng: &mut SmallRng) {
    let names: Vec<String> =
        files.keys().filter(|name| name.ends_with(".csv") && !name.starts_with('.')).cloned().collect();
    let Some(name) = names.choose(rng).cloned() else { return };
    let shift = *SHIFTS_H.choose(rng).unwrap();
    let any = |rng: &mut SmallRng, of: &[&str]| (*of.choose(rng).unwrap()).to_owned();
    match rng.random_range(0..19) {
        0 => edit(files, &name, |table| {
            (0..table.header.len()).for_each(|column| table.map(column, |cell| shifted(cell, shift)))
        }),
        1 => edit(files, &name, |table| {
            let column = rng.random_range(0..table.header.len().max(1));
            table.map(column, |cell| if rng.random_bool(0.3) { shifted(cell, shift) } else { cell.to_owned() });
        }),
        2 => exchange(files, &name, rng),
        3 => edit(files, "events.csv", |table| set(table, "kind", 0.5, rng, |rng| any(rng, &kinds()))),
        4 => units(files, rng),
        5 => edit(files, &name, |table| {
            let decimal =
                |cell: &str| if cell.parse::<f64>().is_ok() { cell.replace('.', ",") } else { cell.to_owned() };
            (0..table.header.len()).for_each(|column| table.map(column, decimal));
        }),
        6 => edit(files, "references.csv", |table| set(table, "sg_sd", 0.4, rng, |rng| any(rng, &SDS))),
        7 => edit(files, "batches.csv", |table| {
            let column = any(rng, &["original_sg_sd", "limit_sg_sd"]);
            set(table, &column, 0.8, rng, |rng| any(rng, &SDS));
        }),
        8 => acts_within_an_hour(files, rng),
        9 => baths(files, rng),
        10 => edit(files, "readings.csv", |table| {
            let tilt = rng.random_range(0.0..100.0);
            set(table, "tilt_deg", [0.1, 1.0][rng.random_range(0..2)], rng, |_| format!("{tilt:.2}"));
        }),
        11 => edit(files, "references.csv", |table| {
            let sg = any(rng, &["0.95", "1.2", "1.0", "1.05", "1.0001"]);
            set(table, "sg", [0.1, 0.5, 1.0][rng.random_range(0..3)], rng, |_| sg.clone());
        }),
        12 => edit(files, &name, |table| {
            let value = any(rng, &["-273.15", "-300", "100", "1e6", "0", "20"]);
            set(table, "temp_c", [0.05, 1.0][rng.random_range(0..2)], rng, |_| value.clone());
        }),
        13 => edit(files, "batches.csv", |table| {
            let column = any(
                rng,
                &[
                    "original_sg",
                    "limit_sg",
                    "volume_l",
                    "pitch_mcells_ml_p",
                    "generation",
                    "set_temp_c",
                    "mash_temp_c",
                ],
            );
            set(table, &column, 0.8, rng, |rng| {
                any(rng, &["0.95", "1", "1.0001", "1.03", "1.2", "0", "-5", "1e9", "1e-9", "65"])
            });
        }),
        14 => edit(files, "probes.csv", |table| {
            let column =
                any(rng, &["total_mass_g", "cell_mass_g", "diameter_mm", "length_mm", "bottom", "top", "shell"]);
            set(table, &column, 0.8, rng, |rng| {
                any(rng, &["0", "-1", "1e-9", "1e9", "28", "flat", "hemisphere", "pet", "1000"])
            });
        }),
        15 => edit(files, "references.csv", |table| {
            set(table, "use_as", 0.5, rng, |rng| any(rng, &["calibrate", "check", "both", "ignore"]));
        }),
        16 => edit(files, "references.csv", |table| {
            let raw = any(rng, &["raw_sg", "raw_brix"]);
            set(table, &raw, 0.5, rng, |rng| any(rng, &["1.031", "0", "12.5", "80", "100", "-3"]));
            set(table, "sg", 0.5, rng, |_| String::new());
        }),
        17 => edit(files, "plan.csv", |table| {
            let row = table.rows.first().cloned().unwrap_or_default();
            table.rows.extend((0..60).map(|i| row.iter().map(|cell| shifted(cell, f64::from(i) * 0.3)).collect()));
            set(table, "temp_c", 0.5, rng, |rng| any(rng, &["-300", "0", "4", "25", "60", "1e9"]));
        }),
        _ => batches_beside_each_other(files, rng),
    }
}

/// Two ids exchanged in one table, or one put in place of the other.
fn exchange(files: &mut Files, name: &str, rng: &mut SmallRng) {
    let (table, column) = [("probes.csv", "probe"), ("batches.csv", "batch")][rng.random_range(0..2)];
    let ids = ids(files, table, column);
    let (Some(one), Some(other), both) = (ids.choose(rng), ids.choose(rng), rng.random::<bool>()) else { return };
    let exchanged = |cell: &str| match cell {
        cell if cell == one => other.clone(),
        cell if both && cell == other => one.clone(),
        cell => cell.to_owned(),
    };
    edit(files, name, |table| (0..table.header.len()).for_each(|column| table.map(column, exchanged)));
}

/// A table in other units, with the map that says so, or without.
fn units(files: &mut Files, rng: &mut SmallRng) {
    let (name, column, unit, factor, plus) = [
        ("readings", "temp_c", "degF", 1.8, 32.0),
        ("readings", "temp_c", "K", 1.0, 273.15),
        ("readings", "tilt_deg", "rad", 0.017_453_292_519_943_295, 0.0),
        ("references", "sg", "kg/m3", 998.2, 0.0),
        ("references", "sg", "plato", 250.0, -250.0),
        ("references", "temp_c", "degF", 1.8, 32.0),
    ][rng.random_range(0..6)];
    edit(files, &format!("{name}.csv"), |table| {
        let Some(column) = table.column(column) else { return };
        table.map(column, |cell| {
            cell.parse::<f64>().map_or(cell.to_owned(), |number| (number * factor + plus).to_string())
        });
    });
    if rng.random_bool(0.8) {
        let decimal = [",", "."][rng.random_range(0..2)];
        let map = format!(
            "[[files]]\nmatch = \"{name}.*\"\ntable = \"{name}\"\ndecimal = \"{decimal}\"\ncolumns = {{ {column} = {{ from = \"{column}\", unit = \
             \"{unit}\" }} }}\n"
        );
        files.insert("season.toml".to_owned(), map.into_bytes());
    }
}

/// Acts on the same batches and probes within the hour of what happened already, and about the pitching.
fn acts_within_an_hour(files: &mut Files, rng: &mut SmallRng) {
    let (batches, probes) = (ids(files, "batches.csv", "batch"), ids(files, "probes.csv", "probe"));
    let mut times = ids(files, "events.csv", "at");
    times.extend(ids(files, "batches.csv", "pitched_at"));
    times.extend(ids(files, "references.csv", "at"));
    let Some(at) = times.choose(rng).cloned() else { return };
    edit(files, "events.csv", |table| {
        for _ in 0..rng.random_range(1..6) {
            let minutes = rng.random_range(-59..60);
            let kind = (*kinds().choose(rng).unwrap()).to_owned();
            let (batch, probe) = (batches.choose(rng).cloned(), probes.choose(rng).cloned());
            let (batch, probe) = if rng.random() { (batch, None) } else { (None, probe) };
            let cell = |name: &String| match name.as_str() {
                "at" => shifted(&at, f64::from(minutes) / 60.0),
                "kind" => kind.clone(),
                "batch" => batch.clone().unwrap_or_default(),
                "probe" => probe.clone().unwrap_or_default(),
                _ => String::new(),
            };
            let row = table.header.iter().map(cell).collect();
            table.rows.push(row);
        }
    });
}

/// No baths but these, or many more of them.
fn baths(files: &mut Files, rng: &mut SmallRng) {
    let more = rng.random_range(0..40);
    let step_h = [0.01, 0.5, 24.0, 240.0][rng.random_range(0..4)];
    edit(files, "references.csv", |table| {
        let Some(batch) = table.column("batch") else { return };
        let bath: Vec<Vec<String>> = table
            .rows
            .iter()
            .filter(|row| row.get(batch).is_some_and(String::is_empty))
            .take(rng.random_range(0..6))
            .cloned()
            .collect();
        if rng.random() {
            table.rows.retain(|row| row.get(batch).is_none_or(|batch| !batch.is_empty()));
        }
        for i in 0..more {
            table
                .rows
                .extend(bath.iter().map(|row| row.iter().map(|cell| shifted(cell, f64::from(i) * step_h)).collect()));
        }
    });
}

/// The first batch again under other names, some hours later.
fn batches_beside_each_other(files: &mut Files, rng: &mut SmallRng) {
    let hours = [0.0, 0.1, 24.0, -30.0][rng.random_range(0..4)];
    edit(files, "batches.csv", |table| {
        let Some(first) = table.rows.first().cloned() else { return };
        for i in 1..rng.random_range(2..8) {
            let mut row: Vec<String> = first.iter().map(|cell| shifted(cell, hours * f64::from(i))).collect();
            if let Some(id) = row.first_mut() {
                *id = format!("{id}-{i}");
            }
            table.rows.push(row);
        }
    });
}
