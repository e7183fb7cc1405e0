//! What a person should be told of a season that is no row's fault alone.

use std::collections::{BTreeMap, BTreeSet};

use crate::season::account::{Remark, RowAccount};
use crate::season::ends::METHODS;
use crate::season::flags::Flags;
use crate::season::names::{guess, list, some};
use crate::season::table::SeasonTable;
use crate::season::{PAIR_WINDOW_MIN, Probe, Reference, Season, TEMP_HIGH_C};
use crate::units::Instant;

/// Most names that a remark lists.
const NAMES: usize = 6;
/// Highest temperature that may be one of a fermentation in degrees Fahrenheit.
const FAHRENHEIT_HIGH: f64 = 113.0;
/// Lowest temperature of a fermentation in degrees Fahrenheit, as the low end of a whole season.
const FAHRENHEIT_LOW: f64 = 45.0;
/// Half of the temperatures of a season lie below this, C.
const CELLAR_HIGH_C: f64 = 30.0;
/// Mean densities between which a probe floats in water and beer and leans.
const LIGHTEST_KG_M3: f64 = 300.0;
const HEAVIEST_KG_M3: f64 = 1100.0;
/// No float is as thin or short, mm.
const SMALLEST_MM: f64 = 20.0;

const CLOCK_JUMPED: &str = "the clock of a logger jumped, so times may be wrong";
const EXCHANGED: &str = "by their tilts, probes had each other's names in the log from then on, which was put right";
const OUTSIDE: &str = "readings of probes in water or in the air, or of another time than their batch, are left out";

/// Most readings that a median is taken of.
const MOST_READINGS: usize = 100_000;

/// Adds the remarks to the season's account.
pub(super) fn notice(season: &mut Season, temp_column: &str) {
    let Season { readings, references, batches, probes, .. } = &*season;
    let known = |used: Vec<&String>| unknown_ids(probes.iter().map(|p| &p.probe), used.into_iter(), "probe");
    let of_references = references.iter().filter_map(|reference| reference.probe.as_ref()).collect();
    let known_batches = |used: Vec<&String>| unknown_ids(batches.iter().map(|b| &b.batch), used.into_iter(), "batch");
    let batches_of_references = references.iter().filter_map(|r| r.batch.as_ref()).collect();
    let ids_of_probes = readings.probe_ids.iter().chain(batches.iter().flat_map(|batch| &batch.probes));
    let used = ids_of_probes.chain(references.iter().filter_map(|reference| reference.probe.as_ref()));
    let used = used.chain(readings.batch_ids.iter()).chain(references.iter().filter_map(|r| r.batch.as_ref()));
    let found = [
        (SeasonTable::Readings, like_formulas(used.chain(batches.iter().map(|of| &of.strain)))),
        (SeasonTable::References, baths_without_tilt(season)),
        (SeasonTable::References, misdated(season)),
        (SeasonTable::References, unknown_methods(season)),
        (SeasonTable::Probes, odd_densities(season)),
        (SeasonTable::Readings, swapped(season)),
        (SeasonTable::References, known(of_references)),
        (SeasonTable::Readings, known(readings.probe_ids.iter().collect())),
        (SeasonTable::References, known_batches(batches_of_references)),
        (SeasonTable::Readings, known_batches(readings.batch_ids.iter().collect())),
        (SeasonTable::Readings, flagged(season, Flags::CLOCK_JUMP, CLOCK_JUMPED)),
        (SeasonTable::Readings, flagged(season, Flags::EXCHANGED, EXCHANGED)),
        (SeasonTable::Readings, flagged(season, Flags::OUTSIDE_BATCH, OUTSIDE)),
        (SeasonTable::Readings, fahrenheit(season, temp_column)),
    ];
    for (table, text) in found {
        if let Some(text) = text {
            let file = file_of(&season.account, table);
            season.account.remarks.push(Remark { file, line: None, text });
        }
    }
}

/// The only file of a table, or the table's name.
fn file_of(account: &RowAccount, table: SeasonTable) -> String {
    let mut files = account.files.iter().filter(|file| file.table == table.name());
    match (files.next(), files.next()) {
        (Some(file), None) => file.file.clone(),
        _ => table.name().to_owned(),
    }
}

/// Baths and checks that show nothing of their probe, as it did not read then and no tilt is written down.
fn baths_without_tilt(season: &Season) -> Option<String> {
    let paired: BTreeSet<usize> = season.pairs(PAIR_WINDOW_MIN).ok()?.into_iter().map(|pair| pair.reference).collect();
    let mut by_day: BTreeMap<(String, String), usize> = BTreeMap::new();
    for (i, reference) in season.references.iter().enumerate() {
        let is_bath = !reference.is_sample() && !paired.contains(&i) && !is_misdated(reference);
        if let Some(probe) = reference.probe.as_ref().filter(|_| is_bath) {
            *by_day.entry((probe.clone(), day(reference.at))).or_default() += 1;
        }
    }
    let all: usize = by_day.values().sum();
    let names: Vec<String> = by_day.iter().map(|((probe, day), n)| format!("{probe} on {day} ({n})")).collect();
    let baths = if all == 1 { "1 bath".to_owned() } else { format!("{all} baths") };
    let why = format!("None is written down, and the probe did not read within {PAIR_WINDOW_MIN:.0} min");
    (all > 0).then(|| format!("{baths} without a tilt: {}. {why}", some(&names, NAMES)))
}

fn is_misdated(reference: &Reference) -> bool {
    reference.flags.intersects(Flags::OUTSIDE_BATCH)
}

/// Samples of another time than their batch, and baths of another time than the log.
fn misdated(season: &Season) -> Option<String> {
    let late = season.references.iter().filter(|reference| is_misdated(reference));
    let name = |reference: &Reference| {
        let of = reference.batch.as_ref().or(reference.probe.as_ref())?;
        Some(format!("{of} of {} (SG {:.4})", day(reference.at), reference.sg))
    };
    let names: Vec<String> = late.filter_map(name).collect();
    (!names.is_empty()).then(|| {
        format!(
            "entries dated before the pitching or after the end of their batch, or long after all else, are left out: {}",
            some(&names, NAMES)
        )
    })
}

/// Ids that a spreadsheet which opens a table of the report would compute.
fn like_formulas<'a>(ids: impl Iterator<Item = &'a String>) -> Option<String> {
    let ids: BTreeSet<&String> = ids.filter(|id| id.starts_with(['=', '+', '-', '@'])).collect();
    let names: Vec<String> = ids.iter().map(|id| format!("`{id}`")).collect();
    (!names.is_empty()).then(|| format!("a spreadsheet takes these for formulas: {}", some(&names, NAMES)))
}

/// Ids that their own table does not have, with those that differ in capitals, spaces and signs alone, or in letters that look
/// like digits.
fn unknown_ids<'a>(
    known: impl Iterator<Item = &'a String>,
    used: impl Iterator<Item = &'a String>,
    what: &str,
) -> Option<String> {
    let (known, used): (BTreeSet<&String>, BTreeSet<&String>) = (known.collect(), used.collect());
    let plain = |id: &str| -> String {
        let letters = id.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase);
        letters.map(|c| if matches!(c, 'l' | 'i') { '1' } else { c }).map(|c| if c == 'o' { '0' } else { c }).collect()
    };
    let name = |id: &&String| match known.iter().find(|other| !plain(id).is_empty() && plain(other) == plain(id)) {
        Some(meant) => format!("`{id}` (did you mean `{meant}`?)"),
        None => format!("`{id}`"),
    };
    let names: Vec<String> = used.difference(&known).map(name).collect();
    (!known.is_empty() && !names.is_empty())
        .then(|| format!("a {what} that its own table does not have: {}", some(&names, NAMES)))
}

/// Where readings have a reason, by probe and batch with the day of the first.
fn flagged(season: &Season, reason: Flags, text: &str) -> Option<String> {
    let readings = &season.readings;
    let mut places: BTreeMap<(&str, Option<&str>), String> = BTreeMap::new();
    let flagged = readings.flags.iter().enumerate().filter(|(_, flags)| flags.intersects(reason));
    for (row, _) in flagged {
        if let Some(reading) = readings.get(row) {
            let place = places.entry((reading.probe, reading.batch));
            place.or_insert_with(|| day(reading.at));
        }
    }
    let names: Vec<String> = places
        .iter()
        .map(|((probe, batch), day)| match batch {
            Some(batch) => format!("{probe} in {batch} about {day}"),
            None => format!("{probe} about {day}"),
        })
        .collect();
    (!names.is_empty()).then(|| format!("{text}: {}", some(&names, NAMES)))
}

/// Methods that have no meaning, where the error of a gravity hangs on them.
fn unknown_methods(season: &Season) -> Option<String> {
    let mut unknown: BTreeMap<&str, usize> = BTreeMap::new();
    for reference in season.references.iter().filter(|reference| reference.sg_sd.is_none()) {
        if let Some(method) = reference.method.as_deref().filter(|method| !METHODS.contains(method)) {
            *unknown.entry(method).or_default() += 1;
        }
    }
    let one = |(method, rows): (&&str, &usize)| {
        let near = guess(method, &METHODS).map_or_else(String::new, |near| format!(", did you mean `{near}`?"));
        format!("`{method}` ({rows} {}{near})", if *rows == 1 { "row" } else { "rows" })
    };
    let names: Vec<String> = unknown.iter().map(one).collect();
    (!names.is_empty()).then(|| {
        format!(
            "a method that is not known: {}. Its gravities get the largest error of all. Wanted: one of {}",
            some(&names, NAMES),
            list(&METHODS)
        )
    })
}

/// Probes that would sink or fly: a length in centimetres, a mass mistyped.
fn odd_densities(season: &Season) -> Option<String> {
    let odd = |probe: &Probe| {
        let (mass_g, diameter, length) = (probe.total_mass_g?, probe.diameter_mm?, probe.length_mm?);
        // Of the cylinder around it, which is a little larger than the float.
        let density = |d: f64, l: f64| mass_g / (std::f64::consts::FRAC_PI_4 * d * d * l) * 1e6;
        let is_float = |density: &f64| (LIGHTEST_KG_M3..=HEAVIEST_KG_M3).contains(density);
        let found = Some(density(diameter, length)).filter(|found| !is_float(found))?;
        let (wide, long) = (format!("diameter_mm {diameter}"), format!("length_mm {length}"));
        let both = format!("{wide} and {long}");
        let slips = [(wide, diameter, 10.0, 1.0), (long, length, 1.0, 10.0), (both, diameter, 10.0, 10.0)];
        let is_meant = |value: f64, d: f64, l: f64| value < SMALLEST_MM && is_float(&density(diameter * d, length * l));
        let slip = slips.into_iter().find(|(_, value, d, l)| is_meant(*value, *d, *l));
        let slip = slip.map_or_else(String::new, |(what, ..)| format!(", {what}: centimetres?"));
        Some(format!("{} ({found:.0} kg/m3{slip})", probe.probe))
    };
    let names: Vec<String> = season.probes.iter().filter_map(odd).collect();
    (!names.is_empty()).then(|| {
        format!(
            "mass and size give a mean density that no floating probe has: {}. Wanted: {LIGHTEST_KG_M3} to {HEAVIEST_KG_M3} kg/m3",
            some(&names, NAMES)
        )
    })
}

/// A temperature that rocks as a tilt does, and a tilt that is as steady as a temperature.
fn swapped(season: &Season) -> Option<String> {
    let finite = |values: &[f64]| -> Vec<f64> {
        let thinned = values.iter().step_by(values.len() / MOST_READINGS + 1);
        thinned.copied().filter(|value| value.is_finite()).collect()
    };
    let at = |values: &mut [f64], share: f64| {
        let place = (share * values.len() as f64) as usize;
        (place < values.len()).then(|| *values.select_nth_unstable_by(place, f64::total_cmp).1)
    };
    let mut tilts = finite(&season.readings.tilt_deg);
    let tilt = at(&mut tilts, 0.5).filter(|tilt| *tilt < CELLAR_HIGH_C)?;
    let mut temps = finite(&season.readings.temp_c);
    at(&mut temps, 0.5).filter(|temp| *temp > tilt)?;
    let (low, high) = (at(&mut temps, 0.05)?, at(&mut temps, 0.95)?);
    // A float rocks from reading to reading, and the warmth of a vessel does not; over weeks both move.
    let rocks = |values: &[f64]| {
        let mut steps: Vec<f64> = finite(values).array_windows().map(|[a, b]| (b - a).abs()).collect();
        at(&mut steps, 0.5)
    };
    let is_swapped = rocks(&season.readings.temp_c)? > 1.5 * rocks(&season.readings.tilt_deg)?;
    (is_swapped && low < FAHRENHEIT_LOW).then(|| {
        format!(
            "tilt and temperature may have changed places. Half of the tilts lie below {tilt:.0}, and the temperature moves from {low:.0} to \
             {high:.0}. If so, map each to the other's column in season.toml"
        )
    })
}

/// Temperatures that no cellar has and that every cellar has in the other unit.
fn fahrenheit(season: &Season, column: &str) -> Option<String> {
    let temps = &season.readings.temp_c;
    let warm = temps.iter().filter(|temp| (TEMP_HIGH_C..=FAHRENHEIT_HIGH).contains(*temp)).count();
    (2 * warm > temps.len()).then(|| {
        let percent = (100.0 * warm as f64 / temps.len() as f64).floor();
        format!(
            "{percent} % of the temperatures lie above {TEMP_HIGH_C} \u{b0}C. If they are degrees Fahrenheit, say so in \
             season.toml: temp_c = {{ from = \"{column}\", unit = \"degF\" }}"
        )
    })
}

fn day(at: Instant) -> String {
    at.to_string().chars().take(10).collect()
}
