//! `study DIR`, and the demo season when nothing is said.

use std::path::{Path, PathBuf};

use crate::error::{Error, Result};
use crate::report::{self, Summary};
use crate::season::Season;
use crate::study::{ReportSettings, Settings, Study};

use super::args::{DEFAULT_OUT, StudyArgs};

/// Where the demo season lies in the project's folder.
const DEMO: &str = "datasets/tern-island";

/// Studies the demo season, from the project's folder or from anywhere else on the machine that built the program.
pub(super) fn demo(level: Option<f64>) -> Result<u8> {
    let built_from = Path::new(env!("CARGO_MANIFEST_DIR")).join(DEMO);
    let dir = [PathBuf::from(DEMO), built_from].into_iter().find(|dir| dir.is_dir());
    let dir = dir.ok_or_else(|| {
        Error::Usage(format!("the demo season {DEMO} is not here; run this in the project's folder, or: study DIR"))
    })?;
    run(&StudyArgs { dir, out: PathBuf::from(DEFAULT_OUT), as_of: None, level })
}

/// Studies a season, prints the summary and writes the report.
pub(super) fn run(args: &StudyArgs) -> Result<u8> {
    // What can be refused at once is refused before the work.
    report::check_out(&args.out)?;
    let mut settings = Settings::of_folder(&args.dir)?;
    settings.level = args.level.unwrap_or(settings.level);
    settings.check()?;
    let face = ReportSettings::of_folder(&args.dir)?;
    let progress = super::progress();
    let say = |doing: &str| progress.set_message(doing.to_owned());
    say("reading the season");
    let season = Season::load(&args.dir)?;
    let mut study = Study::of(season).name(name_of(&args.dir)).settings(settings).report(face).progress(say);
    if let Some(moments) = &args.as_of {
        study = study.as_of_file(moments)?;
    }
    let study = study.run()?;
    say("writing the report");
    let tables = study.tables()?;
    let out = report::write(&study, &tables, &args.out)?;
    progress.finish_and_clear();
    super::print(&format!(
        "{}\nThe report: {}\n",
        Summary::of(&study).text(super::width().unwrap_or(report::WIDTH)),
        out.join("index.html").display()
    ))?;
    Ok(if study.failures().is_empty() { super::DONE } else { super::NO_ESTIMATE })
}

/// The season's folder or file, without its path and its endings.
fn name_of(dir: &Path) -> String {
    let whole = dir.canonicalize().unwrap_or_else(|_| dir.to_path_buf());
    let name = whole.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    if whole.is_file() { name.split('.').next().unwrap_or_default().to_owned() } else { name }
}
