//! The tables `[study]` and `[report]` of `season.toml`.

use std::path::Path;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use toml::de::{DeTable, DeValue};

use crate::error::{Error, Result};
use crate::season::{list, meant, place_in, season_toml};

use super::report_settings::ReportSettings;
use super::settings::Settings;

/// What of `season.toml` does not concern how its tables are read.
#[derive(Default, Serialize, Deserialize)]
struct File {
    #[serde(default)]
    study: Settings,
    #[serde(default)]
    report: ReportSettings,
}

impl Settings {
    /// The settings that `season.toml` in a season's folder states below `[study]`; the default for what it does not state,
    /// and for a season of one file.
    ///
    /// # Errors
    /// [`Error::Input`] with the line for a setting that is unknown or of the wrong kind, with a guess at its name;
    /// [`Error::Usage`] for a value out of range; [`Error::Io`].
    pub fn of_folder(dir: impl AsRef<Path>) -> Result<Self> {
        Self::from_season_toml(&season_toml(dir.as_ref())?)
    }

    /// The same from the text of a `season.toml`.
    ///
    /// # Errors
    /// As [`Settings::of_folder`].
    pub fn from_season_toml(text: &str) -> Result<Self> {
        let settings = file(text)?.study;
        settings.check()?;
        Ok(settings)
    }
}

impl ReportSettings {
    /// What `season.toml` in a season's folder states below `[report]`, with the season's `time_zone` where none is stated
    /// there; the default for a season of one file.
    ///
    /// # Errors
    /// As [`Settings::of_folder`].
    pub fn of_folder(dir: impl AsRef<Path>) -> Result<Self> {
        Self::from_season_toml(&season_toml(dir.as_ref())?)
    }

    /// The same from the text of a `season.toml`.
    ///
    /// # Errors
    /// As [`Settings::of_folder`].
    pub fn from_season_toml(text: &str) -> Result<Self> {
        let mut settings = file(text)?.report;
        let season = DeTable::parse(text).ok();
        let season = season.as_ref().and_then(|file| file.get_ref().get("time_zone")?.get_ref().as_str());
        // That of the season is refused where the season is read.
        settings.zone()?;
        settings.time_zone = settings.time_zone.or_else(|| season.map(str::to_owned));
        Ok(settings)
    }
}

/// These tables of the file; the default for what it does not state.
fn file(text: &str) -> Result<File> {
    let at = |start: usize| place_in(text, start);
    let refuse = |error: toml::de::Error| {
        let found = error.message().lines().next().unwrap_or_default().to_owned();
        Error::input(at(error.span().map_or(0, |span| span.start)), found, "TOML as the README shows it")
    };
    let document = DeTable::parse(text).map_err(refuse)?;
    let known = serde_json::to_value(File::default()).map_err(|e| Error::frame("settings", e))?;
    let stated = || {
        let tables = ["study", "report"].into_iter();
        tables.filter_map(|name| Some((name, document.get_ref().get(name)?.get_ref(), known.get(name)?)))
    };
    if let Some((start, name, known)) = stated().find_map(|(name, table, known)| unknown(name, table, known)) {
        let near = meant(name.rsplit('.').next().unwrap_or(&name), &known);
        let wanted = format!("one of {}", list(&known));
        return Err(Error::input(at(start), format!("the setting `{name}`"), wanted).with_hint(near));
    }
    toml::from_str(text).map_err(|error| {
        let span = error.span().map_or(0, |span| span.start);
        let name = stated().find_map(|(name, table, _)| name_at(name, table, span));
        let name = name.unwrap_or_else(|| "study".to_owned());
        // serde says what it found and what it expected.
        let said = error.message().trim_start_matches("unknown variant ").trim_start_matches("invalid type: ");
        let (found, wanted) = said.split_once(", expected ").unwrap_or((said, "another value"));
        Error::input(at(span), found, format!("{} for `{name}`", wanted.replace("f64", "a number")))
    })
}

/// The first setting of a table that the tree does not have: its place, its whole name, and the names that there are.
fn unknown<'k>(path: &str, value: &DeValue<'_>, known: &'k Value) -> Option<(usize, String, Vec<&'k String>)> {
    let (DeValue::Table(table), Value::Object(known)) = (value, known) else { return None };
    table.iter().find_map(|(key, value)| {
        let path = format!("{path}.{}", key.get_ref());
        match known.get(key.get_ref().as_ref()) {
            Some(below) => unknown(&path, value.get_ref(), below),
            None => Some((key.span().start, path, known.keys().collect())),
        }
    })
}

/// The whole name of the setting whose value stands at a place of the text.
fn name_at(path: &str, value: &DeValue<'_>, start: usize) -> Option<String> {
    let DeValue::Table(table) = value else { return None };
    table.iter().find_map(|(key, value)| {
        let path = format!("{path}.{}", key.get_ref());
        let here = value.span().contains(&start) || key.span().contains(&start);
        // A table under a header of its own stands beyond the span of that header.
        name_at(&path, value.get_ref(), start).or_else(|| here.then_some(path))
    })
}

#[cfg(test)]
#[path = "../../tests/inside/season_toml.rs"]
mod tests;
