//! What may stand on the command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// From the logs of a season to gravities, drift, fermentation curves, forecasts and strains compared.
///
/// Without a command the demo season in datasets/tern-island is studied.
#[derive(Debug, Parser)]
#[command(name = "heelwort", version, about, after_help = AFTER, args_conflicts_with_subcommands = true)]
pub(super) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(super) command: Option<Command>,
    /// Level of all intervals of the demo season, 0.5 to 0.9999.
    #[arg(long)]
    pub(super) level: Option<f64>,
}

const AFTER: &str = "Examples:\n  heelwort check my-season\n  heelwort study my-season --out my-report\n  \
heelwort simulate invented --seed 7 --troubles all\n\nExit codes: 0 the study ran, 1 a part that had data gave no \
result at all, 2 the input, the call or the output folder is at fault.\n\
A forecast is never permission to package: first degassed samples, warm, must show the same gravity for at least three days.";

/// The commands.
#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Study a season and write the report.
    Study(StudyArgs),
    /// Read and tidy a season without studying it, and print what became of every row.
    Check {
        /// The season: a folder or one file.
        dir: PathBuf,
    },
    /// Write an invented season with known truth.
    Simulate(SimulateArgs),
}

/// Arguments of `study`.
#[derive(Debug, Clone, Args)]
pub(super) struct StudyArgs {
    /// The season: a folder or one file.
    pub(super) dir: PathBuf,
    /// Where the report goes: a new folder, an empty one or an earlier report.
    #[arg(long, default_value = DEFAULT_OUT)]
    pub(super) out: PathBuf,
    /// A CSV file with the columns batch and as_of, such as ti-401,2031-02-07T08:00:00Z: forecasts as of those moments.
    #[arg(long, value_name = "FILE")]
    pub(super) as_of: Option<PathBuf>,
    /// Level of all intervals, 0.5 to 0.9999; else the one in season.toml, else 0.90.
    #[arg(long)]
    pub(super) level: Option<f64>,
}

/// Where the report goes when nothing is said.
pub(super) const DEFAULT_OUT: &str = "heelwort-report";

/// Arguments of `simulate`.
#[derive(Debug, Clone, Args)]
pub(super) struct SimulateArgs {
    /// The folder to write: new or empty.
    pub(super) dir: PathBuf,
    /// Seed of the random numbers: the same seed writes the same season [default: 1].
    #[arg(long)]
    pub(super) seed: Option<u64>,
    /// How many batches [default: 36].
    #[arg(long)]
    pub(super) batches: Option<usize>,
    /// How many probes [default: 10].
    #[arg(long)]
    pub(super) probes: Option<usize>,
    /// Kinds of trouble that may happen, such as foam_load,misread; `all` for all of them [default: none].
    #[arg(long, value_delimiter = ',')]
    pub(super) troubles: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_definition_is_consistent() {
        Cli::command().debug_assert();
    }
}
