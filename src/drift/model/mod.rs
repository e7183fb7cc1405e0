//! The mixed model of the errors of all probes: line, walk and shifts of each, and what their pairs share.

mod assembly;
mod average;
mod equations;
mod fleet_model;
mod gravity_shape;
mod leave_batch_out;
pub(super) mod low_rank_update;
mod mixture;
mod pair_row;
mod prediction_targets;
mod probe_model;
mod shift_term;
mod variances;

pub(super) use average::{Averaged, METHOD};
pub(super) use equations::{MixedEquations, PredictionTarget, WhitenedBlock};
pub(super) use fleet_model::FleetModel;
pub(crate) use leave_batch_out::ProbeErrors;
pub(super) use low_rank_update::{LowRankUpdate, ShiftColumns, columns_of};
pub(super) use mixture::{NormalMixture, ln_sum};
pub(super) use pair_row::PairRow;
pub(super) use probe_model::ProbeModel;
pub(super) use shift_term::ShiftTerm;
pub(super) use variances::{Variances, ln_prior};
