//! The command line: thin. Results go to standard output, everything else to standard error.

mod args;
mod study;

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

use clap::Parser;
use indicatif::{ProgressBar, ProgressStyle};

use crate::error::{Error, Result};
use crate::report::{WIDTH, wrapped};
use crate::season::Season;
use crate::simulate::{SimulateSettings, Trouble};
use crate::study::{ReportSettings, Settings};

use args::{Cli, Command, SimulateArgs};

const DONE: u8 = 0;
/// A study that had input gave no estimate at all.
const NO_ESTIMATE: u8 = 1;
/// Bad input, bad usage, or an output that cannot be written.
const BAD_INPUT: u8 = 2;

/// Reads the command line, does what it says and gives the exit code: 0 done, 1 a study that had input gave no
/// estimate at all, 2 bad input, bad usage, or an output that cannot be written.
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(words) => {
            // Help and version are no errors, and both may meet a closed pipe.
            let _ = words.print();
            return ExitCode::from(if words.use_stderr() { BAD_INPUT } else { DONE });
        }
    };
    let done = threads_can_be_made().and_then(|()| match cli.command {
        None => study::demo(cli.level),
        Some(Command::Study(args)) => study::run(&args),
        Some(Command::Check { dir }) => check(&dir),
        Some(Command::Simulate(args)) => simulate(&args),
    });
    ExitCode::from(done.unwrap_or_else(|error| {
        let _ = writeln!(std::io::stderr(), "heelwort: {error}");
        if error.is_not_estimable() { NO_ESTIMATE } else { BAD_INPUT }
    }))
}

/// Makes as many threads as the pools below will, which end the program where they cannot: those of ours and of polars, and
/// one for the progress.
fn threads_can_be_made() -> Result<()> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let gate = std::sync::Mutex::new(());
    let made = std::thread::scope(|scope| {
        let shut = gate.lock();
        let wait = || drop(gate.lock());
        let failed = (0..=2 * cores).find_map(|_| std::thread::Builder::new().spawn_scoped(scope, wait).err());
        drop(shut);
        failed.map_or(Ok(()), Err)
    });
    made.map_err(|e| Error::io("starting threads of", "the program", e))
}

/// Prints a result. A reader that has gone away (`heelwort ... | head`) is no error.
fn print(text: &str) -> Result<()> {
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Error::io("writing", "standard output", error))
        }
        _ => Ok(()),
    }
}

/// Letters in a line of the terminal, no more than read well; none where there is no terminal.
fn width() -> Option<usize> {
    console::Term::stdout().size_checked().map(|(_, columns)| usize::from(columns).clamp(40, WIDTH))
}

/// A line on standard error that says what is being done; nothing where there is no terminal.
fn progress() -> ProgressBar {
    let bar = ProgressBar::new_spinner();
    if let Ok(style) = ProgressStyle::with_template("{spinner} {elapsed:>3} {wide_msg}") {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(120));
    bar
}

/// `check DIR`: prints what became of every row; exit code 2 when nothing usable remains, and for settings in
/// `season.toml` that cannot be.
fn check(dir: &Path) -> Result<u8> {
    Settings::of_folder(dir)?;
    ReportSettings::of_folder(dir)?;
    let season = Season::load(dir)?;
    let account = season.account.to_string();
    // A table is not broken.
    let width = |line: &str| if line.contains("  ") { usize::MAX } else { width().unwrap_or(usize::MAX) };
    print(&account.lines().flat_map(|line| wrapped(line, width(line))).map(|line| line + "\n").collect::<String>())?;
    if !season.readings.is_empty() || !season.references.is_empty() {
        return Ok(DONE);
    }
    print("Nothing usable remains: no reading and no reference.\n")?;
    Ok(BAD_INPUT)
}

/// `simulate DIR`: an invented season with known truth. The folder must be new or empty, so that nobody's logs are
/// overwritten.
fn simulate(args: &SimulateArgs) -> Result<u8> {
    if std::fs::read_dir(&args.dir).is_ok_and(|mut files| files.next().is_some()) {
        let dir = args.dir.display();
        return Err(Error::Usage(format!("{dir} is not empty; wanted a new or an empty folder for the season")));
    }
    let mut settings = SimulateSettings::default();
    settings.seed = args.seed.unwrap_or(settings.seed);
    settings.batches = args.batches.unwrap_or(settings.batches);
    settings.probes = args.probes.unwrap_or(settings.probes);
    settings.troubles = troubles(&args.troubles)?;
    let progress = progress();
    progress.set_message("brewing an invented season");
    let simulated = settings.run()?;
    progress.set_message("writing it");
    simulated.write(&args.dir)?;
    progress.finish_and_clear();
    let season = &simulated.season;
    print(&format!(
        "An invented season in {}: {} batches, {} probes, {} readings, {} references; its truth is in truth/.\n",
        args.dir.display(),
        season.batches.len(),
        season.probes.len(),
        season.readings.len(),
        season.references.len()
    ))?;
    Ok(DONE)
}

/// The kinds of trouble of these names.
fn troubles(names: &[String]) -> Result<Vec<Trouble>> {
    if names.iter().any(|name| name == "all") {
        return Ok(Trouble::ALL.to_vec());
    }
    let of = |name: &String| {
        let wanted = || Trouble::ALL.map(Trouble::name).join(", ");
        Trouble::ALL.into_iter().find(|trouble| trouble.name() == name).ok_or_else(|| {
            Error::Usage(format!("there is no trouble named {name:?}; wanted all, or some of {}", wanted()))
        })
    };
    names.iter().map(of).collect()
}
