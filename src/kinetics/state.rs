//! Where a batch stands: one state of three.

use super::batch_fit::BatchFit;
use super::status::Status;

/// Where a batch stands as of its last data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BatchState {
    /// It ferments, or has not begun.
    Running,
    /// Its gravity has come to rest, and nobody has ended it.
    AtRest,
    /// It is over, whatever its curve did last.
    Ended,
}

impl BatchFit {
    /// Where the batch stands.
    pub fn state(&self) -> BatchState {
        match (self.ended_hours, self.status) {
            (Some(_), _) => BatchState::Ended,
            (None, Status::Finished | Status::Stuck) => BatchState::AtRest,
            (None, _) => BatchState::Running,
        }
    }

    /// The state with what its curve says of it, for a reader.
    pub fn state_in_words(&self) -> &'static str {
        match (self.state(), self.status) {
            (BatchState::Ended, Status::Finished) => "ended at rest",
            (BatchState::Ended, Status::Stuck) => "ended stuck",
            (BatchState::Ended, Status::TooFewData) => "ended, too few data",
            (BatchState::Ended, _) => "ended before rest",
            (BatchState::AtRest, Status::Stuck) => "at rest, stuck",
            (BatchState::AtRest, _) => "at rest",
            (BatchState::Running, Status::TooFewData) => "running, too few data",
            (BatchState::Running, Status::NotStarted) => "running, not started",
            (BatchState::Running, Status::Lagging) => "running, lagging",
            (BatchState::Running, Status::Slowing) => "running, slowing",
            (BatchState::Running, Status::Restarted) => "running again",
            (BatchState::Running, _) => "running",
        }
    }
}
