//! The command line: thin.

mod args;
mod progress;

pub use args::{Cli, Command, DEFAULT_OUT, SimulateArgs, StudyArgs};
pub use progress::Progress;
