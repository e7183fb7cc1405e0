//! The table `[study]` of `season.toml`.

use std::path::Path;

use serde::Deserialize;
use serde_json::Value;
use toml::de::{DeTable, DeValue};

use crate::error::{Error, Place, Result};
use crate::season::{SEASON_TOML, guess, list};

use super::settings::Settings;

/// What of `season.toml` concerns the study.
#[derive(Deserialize)]
struct File {
    #[serde(default)]
    study: Settings,
}

impl Settings {
    /// The settings that `season.toml` in a season's folder states below `[study]`; the default for what it does not state,
    /// and for a season of one file.
    ///
    /// # Errors
    /// [`Error::Input`] with the line for a setting that is unknown or of the wrong kind, with a guess at its name;
    /// [`Error::Usage`] for a value out of range; [`Error::Io`].
    ///
    /// ```
    /// use heelwort::study::Settings;
    /// # fn main() -> heelwort::Result<()> {
    /// let settings = Settings::of_folder("datasets/tern-island")?;
    /// assert_eq!(settings.level, 0.90);
    /// # Ok(())
    /// # }
    /// ```
    pub fn of_folder(dir: impl AsRef<Path>) -> Result<Self> {
        let path = dir.as_ref().join(SEASON_TOML);
        match std::fs::read_to_string(&path) {
            Ok(text) => Self::from_season_toml(&text),
            // A season may be one file, below which nothing can lie.
            Err(e) if matches!(e.kind(), std::io::ErrorKind::NotFound | std::io::ErrorKind::NotADirectory) => {
                Ok(Self::default())
            }
            Err(e) => Err(Error::io("reading", &path, e)),
        }
    }

    /// The same from the text of a `season.toml`.
    ///
    /// # Errors
    /// As [`Settings::of_folder`].
    pub fn from_season_toml(text: &str) -> Result<Self> {
        let at = |start: usize| {
            let line = text.bytes().take(start).filter(|b| *b == b'\n').count() as u64 + 1;
            Place::file(SEASON_TOML).line(line)
        };
        let refuse = |error: toml::de::Error| {
            let found = error.message().lines().next().unwrap_or_default().to_owned();
            Error::input(at(error.span().map_or(0, |span| span.start)), found, "TOML as the README shows it")
        };
        let document = DeTable::parse(text).map_err(refuse)?;
        let Some(study) = document.get_ref().get("study") else { return Ok(Self::default()) };
        let known = serde_json::to_value(Self::default()).map_err(|e| Error::frame("settings", e))?;
        if let DeValue::Table(table) = study.get_ref()
            && let Some(unknown) = unknown("study", table, &known)
        {
            let error = Error::input(at(unknown.start), format!("the setting `{}`", unknown.name), unknown.wanted);
            return Err(unknown
                .near
                .map(|near| format!("did you mean `{near}`?"))
                .into_iter()
                .fold(error, Error::with_hint));
        }
        let file: File = toml::from_str(text).map_err(|error| {
            let span = error.span().map_or(0, |span| span.start);
            let name = name_at("study", study.get_ref(), span).unwrap_or_else(|| "study".to_owned());
            Error::input(at(span), error.message().to_owned(), format!("a value that `{name}` may have"))
        })?;
        file.study.check()?;
        Ok(file.study)
    }
}

/// A setting that is not in the tree.
struct Unknown {
    name: String,
    start: usize,
    wanted: String,
    near: Option<String>,
}

/// The first setting of a table that the tree does not have.
fn unknown(path: &str, table: &DeTable<'_>, known: &Value) -> Option<Unknown> {
    let known = known.as_object()?;
    table.iter().find_map(|(key, value)| {
        let name = key.get_ref().as_ref();
        let path = format!("{path}.{name}");
        match (known.get(name), value.get_ref()) {
            (Some(below), DeValue::Table(table)) => unknown(&path, table, below),
            (Some(_), _) => None,
            (None, _) => {
                let names: Vec<&str> = known.keys().map(String::as_str).collect();
                let near = guess(name, &names).map(str::to_owned);
                Some(Unknown { name: path, start: key.span().start, wanted: format!("one of {}", list(&names)), near })
            }
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
mod tests {
    use super::*;

    #[test]
    fn settings_are_read_beside_the_rest_of_the_file() {
        let text = "time_zone = \"UTC\"\n[study]\nlevel = 0.95\n[study.drift]\nlimit_sg = 0.003\nbootstrap = 0\n";
        let settings = Settings::from_season_toml(text).unwrap();
        assert_eq!((settings.level, settings.drift.limit_sg), (0.95, 0.003));
        assert_eq!(Settings::from_season_toml("").unwrap(), Settings::default());
    }

    #[test]
    fn what_is_wrong_is_said_with_name_line_and_guess() {
        for (text, parts) in [
            (
                "[study.drift]\nshfit_alarm = 0.1\n",
                &["season.toml, line 2", "`study.drift.shfit_alarm`", "did you mean `shift_alarm`?"][..],
            ),
            ("[study.drfit]\nlimit_sg = 1\n", &["line 1", "`study.drfit`", "did you mean `drift`?"]),
            ("[study]\nlevel = \"high\"\n", &["line 2", "`study.level`", "high"]),
            ("[study.kinetics]\ncurves = [\"smoth\"]\n", &["line 2", "`study.kinetics.curves`", "smoth", "`smooth`"]),
            ("[study.forecast]\ndraws = 1000.5\n", &["line 2", "`study.forecast.draws`"]),
            ("[study.drift]\nshift_alarm = 7\n", &["`study.drift.shift_alarm` is 7; wanted 0 to 0.5"]),
            ("[study]\nlevel = 90\n", &["`study.level` is 90; wanted 0.5 to 0.9999"]),
            ("study = 3\n", &["line 1", "`study`"]),
        ] {
            let message = Settings::from_season_toml(text).unwrap_err().to_string();
            for part in parts {
                assert!(message.contains(part), "{part}: {message}");
            }
        }
    }
}
