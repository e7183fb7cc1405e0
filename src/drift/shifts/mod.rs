//! Sudden shifts: the search for those that nobody wrote down, and the sizes of those that somebody did.

mod exchanged;
mod in_pairs;
mod known;
mod misfits;
mod scan;
mod shift_average;
mod visit_gaps;

pub(crate) use exchanged::exchanged_stays;
pub(super) use misfits::find_misfits;
pub(super) use shift_average::{OVER_SHIFTS, ShiftAverage};
