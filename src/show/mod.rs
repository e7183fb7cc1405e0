//! show
