//! What a person should be told of a season that is no row's fault alone.

use std::collections::{BTreeMap, BTreeSet};

use crate::season::account::{Remark, RowAccount};
use crate::season::flags::Flags;
use crate::season::table::SeasonTable;
use crate::season::{PAIR_WINDOW_MIN, Season, TEMP_HIGH_C};
use crate::units::Instant;

/// Most names that a remark lists.
const NAMES: usize = 6;
/// Highest temperature that may be one of a fermentation in degrees Fahrenheit.
const FAHRENHEIT_HIGH: f64 = 113.0;

/// Adds the remarks to the season's account.
pub(super) fn notice(season: &mut Season) {
    let Season { readings, references, batches, probes, .. } = &*season;
    let of_references = references.iter().filter_map(|reference| reference.probe.as_ref());
    let of_batches = batches.iter().flat_map(|batch| &batch.probes);
    let used_probes = readings.probe_ids.iter().chain(of_references).chain(of_batches);
    let used_batches = readings.batch_ids.iter().chain(references.iter().filter_map(|r| r.batch.as_ref()));
    let found = [
        (SeasonTable::References, baths_without_tilt(season)),
        (SeasonTable::References, ids_alike(probes.iter().map(|p| &p.probe), used_probes, "probe")),
        (SeasonTable::References, ids_alike(batches.iter().map(|b| &b.batch), used_batches, "batch")),
        (SeasonTable::Readings, clock_jumps(season)),
        (SeasonTable::Readings, fahrenheit(season)),
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
        if let Some(probe) = reference.probe.as_ref().filter(|_| !reference.is_sample() && !paired.contains(&i)) {
            *by_day.entry((probe.clone(), day(reference.at))).or_default() += 1;
        }
    }
    let all: usize = by_day.values().sum();
    let names: Vec<String> = by_day.iter().map(|((probe, day), n)| format!("{probe} on {day} ({n})")).collect();
    let baths = if all == 1 { "1 bath".to_owned() } else { format!("{all} baths") };
    (all > 0).then(|| {
        format!(
            "{baths} without a tilt, as none is written down and the probe did not read within {PAIR_WINDOW_MIN:.0} min: {}",
            listed(&names)
        )
    })
}

/// Ids that no table knows but for capitals, spaces and signs.
fn ids_alike<'a>(
    known: impl Iterator<Item = &'a String>,
    used: impl Iterator<Item = &'a String>,
    what: &str,
) -> Option<String> {
    let (known, used): (BTreeSet<&String>, BTreeSet<&String>) = (known.collect(), used.collect());
    let plain =
        |id: &str| -> String { id.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect() };
    let names: Vec<String> = used
        .difference(&known)
        .filter_map(|id| {
            let meant = known.iter().find(|other| !plain(id).is_empty() && plain(other) == plain(id))?;
            Some(format!("`{id}`, which the table does not have, for `{meant}`"))
        })
        .collect();
    (!names.is_empty()).then(|| format!("a {what} may be written in two ways and is taken for two: {}", listed(&names)))
}

/// Where the clock of a logger jumped.
fn clock_jumps(season: &Season) -> Option<String> {
    let readings = &season.readings;
    let mut jumps: BTreeMap<(&str, Option<&str>), String> = BTreeMap::new();
    let flagged = readings.flags.iter().enumerate().filter(|(_, flags)| flags.intersects(Flags::CLOCK_JUMP));
    for (row, _) in flagged {
        if let Some(reading) = readings.get(row) {
            let place = jumps.entry((reading.probe, reading.batch));
            place.or_insert_with(|| day(reading.at));
        }
    }
    let names: Vec<String> = jumps
        .iter()
        .map(|((probe, batch), day)| match batch {
            Some(batch) => format!("{probe} in {batch} about {day}"),
            None => format!("{probe} about {day}"),
        })
        .collect();
    (!names.is_empty()).then(|| format!("the clock of a logger jumped, so that times may be wrong: {}", listed(&names)))
}

/// Temperatures that no cellar has and that every cellar has in the other unit.
fn fahrenheit(season: &Season) -> Option<String> {
    let temps = &season.readings.temp_c;
    let warm = temps.iter().filter(|temp| (TEMP_HIGH_C..=FAHRENHEIT_HIGH).contains(*temp)).count();
    (2 * warm > temps.len()).then(|| {
        let percent = (100.0 * warm as f64 / temps.len() as f64).floor();
        format!(
            "{percent} % of the temperatures lie above {TEMP_HIGH_C} \u{b0}C; if they are degrees Fahrenheit, say so in \
             season.toml: temp_c = {{ from = \"temp_c\", unit = \"degF\" }}"
        )
    })
}

fn day(at: Instant) -> String {
    at.to_string().chars().take(10).collect()
}

fn listed(names: &[String]) -> String {
    let shown = names.get(..NAMES).unwrap_or(names).join("; ");
    if names.len() > NAMES { format!("{shown} and {} more", names.len() - NAMES) } else { shown }
}
