//! The comparison of strains: against references and published yeasts, on bad input, and by simulation.

mod bad_input;
mod brewed;
mod coverage;
mod published;
mod ranking;
mod references;
mod seasons;

use brewed::{Brewed, season};
