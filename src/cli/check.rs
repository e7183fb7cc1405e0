//! `check DIR`: load and tidy only, and say what became of every row.

use std::path::Path;

use crate::error::Result;
use crate::season::Season;
use crate::study::Settings;

/// Prints the row account; exit code 2 when nothing usable remains, and for settings in `season.toml` that cannot be.
pub(super) fn run(dir: &Path) -> Result<u8> {
    Settings::of_folder(dir)?;
    let season = Season::load(dir)?;
    super::print(&format!("{}\n", season.account))?;
    let usable = !season.readings.is_empty() || !season.references.is_empty();
    if usable {
        Ok(super::DONE)
    } else {
        super::print("Nothing usable remains: no reading and no reference.\n")?;
        Ok(super::BAD_INPUT)
    }
}
