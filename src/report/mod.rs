//! The season report: one page with pictures, and the tables beside it.
//!
//! The page carries its pictures and its style inside, fetches nothing and runs nothing. Beside it lie all tables as CSV
//! (times RFC 3339 with `Z`) and as Parquet (UTC timestamps), with a dictionary of all their columns, which
//! also stands in the metadata of each Parquet file. A row `*` is for every table that has no row of its own:
#![doc = concat!("```text\n", include_str!("dictionary.csv"), "```")]

mod dictionary;
mod folder;
mod page;
mod reader;
mod running;
mod summary;
mod tables;
mod trust;
mod words;

pub(crate) use folder::check_out;
pub use summary::Summary;
pub(crate) use summary::{WIDTH, wrapped};

use std::path::{Path, PathBuf};

use polars::prelude::DataFrame;

use crate::error::Result;
use crate::study::SeasonStudy;

/// Writes page and tables into `out`: new, empty or an earlier report. Gives back the folder written.
///
/// # Errors
/// [`crate::Error::Usage`] when `out` is something else; [`crate::Error::Io`] when it cannot be written; then nothing
/// of the new report stays, and an earlier one is as it was.
#[doc = example!(no_run "let out = heelwort::report::write(&study, &study.tables()?, \"my-report\".as_ref())?;\nprintln!(\"{}\", out.join(\"index.html\").display());")]
pub fn write(study: &SeasonStudy, frames: &[(String, DataFrame)], out: &Path) -> Result<PathBuf> {
    let mut staging = folder::Staging::begin(out)?;
    let dictionary = dictionary::frame(frames)?;
    for (name, frame) in frames {
        tables::write(&mut staging, name, frame, &dictionary)?;
    }
    tables::write(&mut staging, dictionary::NAME, &dictionary, &dictionary)?;
    staging.text("index.html", &page::page(study))?;
    staging.finish()
}
