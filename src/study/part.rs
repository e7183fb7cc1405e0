//! One part of the whole study: done, or skipped for a reason.

use crate::error::{Error, Result};

/// The result of one study, or why there is none.
#[derive(Debug, Clone)]
pub enum Part<T> {
    /// It ran.
    Done(T),
    /// It had no input: the reason, in words. The season is no worse for it.
    Skipped(String),
    /// It had input, and gave no estimate at all: the reason, in words.
    Failed(String),
}

impl<T> Part<T> {
    /// A result that may say that the data do not suffice; any other error goes on to the caller.
    ///
    /// # Errors
    /// The error, unless it says that something is not estimable.
    pub fn from_result(result: Result<T>) -> Result<Self> {
        match result {
            Ok(done) => Ok(Self::Done(done)),
            Err(error) if error.is_not_estimable() => Ok(Self::Failed(error.to_string())),
            Err(error) => Err(error),
        }
    }

    /// The result, or why there is none.
    pub fn found(&self) -> std::result::Result<&T, &str> {
        match self {
            Self::Done(done) => Ok(done),
            Self::Skipped(why) | Self::Failed(why) => Err(why),
        }
    }

    /// The result, if it ran.
    pub fn done(&self) -> Option<&T> {
        self.found().ok()
    }

    /// Why there is no result.
    pub fn why(&self) -> Option<&str> {
        self.found().err()
    }

    /// The same with another result, where there is one.
    pub(super) fn map<U>(self, of: impl FnOnce(T) -> U) -> Part<U> {
        match self {
            Self::Done(done) => Part::Done(of(done)),
            Self::Skipped(why) => Part::Skipped(why),
            Self::Failed(why) => Part::Failed(why),
        }
    }

    /// What `run` makes of the result; skipped for this reason where there is none.
    pub(super) fn then<U>(&self, without: &str, run: impl FnOnce(&T) -> Result<Part<U>>) -> Result<Part<U>> {
        self.done().map_or_else(|| Ok(Part::Skipped(without.to_owned())), run)
    }

    /// The result, unless it is empty: then skipped for this reason.
    pub(super) fn unless(is_empty: bool, why: &str, done: T) -> Self {
        if is_empty { Self::Skipped(why.to_owned()) } else { Self::Done(done) }
    }

    /// The result, or an error that says why there is none.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for a part that was skipped or failed.
    pub fn get(&self, what: &str) -> Result<&T> {
        self.found().map_err(|why| Error::not_estimable(what, why))
    }

    /// Why it gave nothing, of one that had input.
    pub(super) fn failed(&self) -> Option<&str> {
        if let Self::Failed(why) = self { Some(why) } else { None }
    }
}
