//! A simulated season with its truth.

use crate::season::Season;

use super::truth::Truth;

/// A simulated season with its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    /// The season as a user would have it after loading.
    pub season: Season,
    /// What is true.
    pub truth: Truth,
}
