//! strains
