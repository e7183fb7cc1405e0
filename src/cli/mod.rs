//! The command line: thin. Results go to standard output, everything else to standard error.

mod args;
mod check;
mod progress;
mod simulate;
mod study;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

pub use args::{Cli, Command, DEFAULT_OUT, SimulateArgs, StudyArgs};
pub use progress::Progress;

use crate::error::{Error, Result};

/// It worked.
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
    let done = match cli.command {
        None => study::demo(cli.level),
        Some(Command::Study(args)) => study::run(&args),
        Some(Command::Check { dir }) => check::run(&dir),
        Some(Command::Simulate(args)) => simulate::run(&args),
    };
    ExitCode::from(done.unwrap_or_else(|error| {
        complain(&error);
        if error.is_not_estimable() { NO_ESTIMATE } else { BAD_INPUT }
    }))
}

/// Prints an error for the person who can mend it.
fn complain(error: &Error) {
    let _ = writeln!(std::io::stderr(), "heelwort: {error}");
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
