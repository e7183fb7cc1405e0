//! All of heelwort, for the notebooks.

pub use heelwort::*;
