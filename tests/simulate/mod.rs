//! Simulated seasons: repeatable, loadable, plausible, and unlike the curves that are fitted to them.

mod files;
mod process;
