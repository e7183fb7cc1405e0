//! float
