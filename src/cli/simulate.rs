//! `simulate DIR`: an invented season with known truth.

use crate::error::{Error, Result};
use crate::simulate::{SimulateSettings, Trouble};

use super::args::SimulateArgs;
use super::progress::Progress;

/// Writes the season; the folder must be new or empty, so that nobody's logs are overwritten.
pub(super) fn run(args: &SimulateArgs) -> Result<u8> {
    if std::fs::read_dir(&args.dir).is_ok_and(|mut files| files.next().is_some()) {
        let dir = args.dir.display();
        return Err(Error::Usage(format!("{dir} is not empty; wanted a new or an empty folder for the season")));
    }
    let mut settings = SimulateSettings::default();
    settings.seed = args.seed.unwrap_or(settings.seed);
    settings.batches = args.batches.unwrap_or(settings.batches);
    settings.probes = args.probes.unwrap_or(settings.probes);
    settings.troubles = troubles(&args.troubles)?;
    let progress = Progress::new();
    progress.say("brewing an invented season");
    let simulated = settings.run()?;
    progress.say("writing it");
    simulated.write(&args.dir)?;
    progress.done();
    let season = &simulated.season;
    super::print(&format!(
        "An invented season in {}: {} batches, {} probes, {} readings, {} references; its truth is in truth/.\n",
        args.dir.display(),
        season.batches.len(),
        season.probes.len(),
        season.readings.len(),
        season.references.len()
    ))?;
    Ok(super::DONE)
}

/// The kinds of these names.
fn troubles(names: &[String]) -> Result<Vec<Trouble>> {
    if names.iter().any(|name| name == "all") {
        return Ok(Trouble::ALL.to_vec());
    }
    let of = |name: &String| {
        let known = Trouble::ALL.into_iter().find(|trouble| trouble.name() == name);
        let wanted = || Trouble::ALL.map(Trouble::name).join(", ");
        known.ok_or_else(|| {
            Error::Usage(format!("there is no trouble named {name:?}; wanted all, or some of {}", wanted()))
        })
    };
    names.iter().map(of).collect()
}
