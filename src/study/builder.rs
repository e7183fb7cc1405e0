//! A study that is put together step by step.

use crate::error::{Error, Result};
use crate::season::{Season, guess, list};
use crate::units::Instant;
use std::fmt;
use std::path::Path;

use super::as_of::{AsOf, read_as_of};
use super::report_settings::ReportSettings;
use super::result::SeasonStudy;
use super::settings::Settings;

/// A study of one season, before it runs.
///
/// ```
/// use heelwort::prelude::*;
/// # fn main() -> heelwort::Result<()> {
/// # let simulated = SimulateSettings { batches: 1, probes: 1, span_days: 20.0, reading_minutes: 240.0, ..Default::default() }.run()?;
/// # let season = simulated.season;
/// let first = &season.batches[0];
/// let study = Study::of(&season)
///     .name("spring")
///     .settings(Settings { level: 0.95, ..Settings::default() })
///     .as_of(&first.batch, first.pitched_at.plus_hours(72.0))
///     .progress(|doing| eprintln!("{doing}"))
///     .run()?;
/// assert_eq!(study.name, "spring");
/// # Ok(())
/// # }
/// ```
pub struct Study<'a> {
    season: Season,
    name: String,
    settings: Settings,
    report: ReportSettings,
    asked: Vec<AsOf>,
    progress: Box<dyn Fn(&str) + Sync + 'a>,
}

impl From<&Season> for Season {
    fn from(season: &Season) -> Self {
        season.clone()
    }
}

impl fmt::Debug for Study<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "study of {} with {} moments asked for", self.name, self.asked.len())
    }
}

impl<'a> Study<'a> {
    /// A study of this season with the default settings. A season that is handed over is not copied, one that is lent is.
    pub fn of(season: impl Into<Season>) -> Self {
        Self {
            season: season.into(),
            name: "season".to_owned(),
            settings: Settings::default(),
            report: ReportSettings::default(),
            asked: Vec::new(),
            progress: Box::new(|_| ()),
        }
    }

    /// The season's name in the report.
    #[must_use]
    pub fn name(self, name: impl Into<String>) -> Self {
        Self { name: name.into(), ..self }
    }

    /// Other settings.
    #[must_use]
    pub fn settings(self, settings: Settings) -> Self {
        Self { settings, ..self }
    }

    /// How the report is written.
    #[must_use]
    pub fn report(self, report: ReportSettings) -> Self {
        Self { report, ..self }
    }

    /// Forecasts a batch as of a moment too, besides the running batches as of the season's end; may be asked many times.
    #[must_use]
    pub fn as_of(mut self, batch: impl Into<String>, moment: Instant) -> Self {
        self.asked.push(AsOf { batch: batch.into(), as_of: moment });
        self
    }

    /// The same for each row of a CSV file with the columns `batch` and `as_of` (RFC 3339), split by commas, semicolons
    /// or tabs; further columns are passed over.
    ///
    /// # Errors
    /// [`Error::Io`] when the file cannot be read, [`Error::Input`] with file, line and column for anything in it that
    /// is not as it must be. A file without rows is an error: nothing would be asked.
    pub fn as_of_file(mut self, path: impl AsRef<Path>) -> Result<Self> {
        self.asked.extend(read_as_of(path.as_ref())?);
        Ok(self)
    }

    /// Calls `say` with what is being done, as in "looking for drift"; from several threads while batches are fitted.
    #[must_use]
    pub fn progress(self, say: impl Fn(&str) + Sync + 'a) -> Self {
        Self { progress: Box::new(say), ..self }
    }

    /// Runs all studies. One without input is skipped, one whose data do not suffice has failed: both say why and stop
    /// nothing else.
    ///
    /// # Errors
    /// [`Error::Usage`] for a setting out of its range and for a batch that is asked for and not in the season, with the
    /// names that are.
    pub fn run(self) -> Result<SeasonStudy> {
        let settings = self.settings.checked()?;
        let batches: Vec<&str> = self.season.batches.iter().map(|batch| batch.batch.as_str()).collect();
        if let Some(unknown) = self.asked.iter().find(|moment| !batches.contains(&moment.batch.as_str())) {
            return Err(not_there("batch", &unknown.batch, &batches));
        }
        self.report.zone()?;
        let found = settings.run(self.season, self.name, &self.asked, &self.progress)?;
        Ok(SeasonStudy { report: self.report, ..found })
    }
}

/// The error for a name that does not exist, with those that do.
pub(super) fn not_there(what: &str, wanted: &str, names: &[&str]) -> Error {
    let near = guess(wanted, names).map(|near| format!("; did you mean `{near}`?")).unwrap_or_default();
    Error::Usage(format!("no {what} `{wanted}`; there are {}{near}", list(names)))
}
